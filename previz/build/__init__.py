"""From the scene to solid geometry: walls, openings, roofs and props as triangles, and panes for the light."""
