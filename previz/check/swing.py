"""
The swing of the lens in plan, as a small drawing for the page: rail, lens at five moments, and the path of its tip.

Takes the rig's figures of one shot from the report; gives SVG. The drawing is to scale in itself, north up.
"""

from __future__ import annotations

import numpy as np

from previz.check.text import millimetres, swings

MOST, EDGE = np.array([420.0, 260.0]), 8.0
"""The drawing is no wider and no higher than this, its margin included. [pixel]"""

LENSES = 5


def swing_drawing(rig: dict) -> str:
    """
    Return the drawing of a shot whose tip swings; "" for one whose does not.

    Parameters
    ----------
    rig : dict
        `shots[].rig` of the report: axis_mm and tip_mm, (n, 3) each and evenly through the take, and tip_swing_mm. [mm]
    """
    if not swings(rig):
        return ""
    axis, tip = (np.array(rig[key])[:, :2] for key in ("axis_mm", "tip_mm"))
    place, (wide, high) = _fitted(np.concatenate([axis, tip]))
    lenses = np.linspace(0, len(tip) - 1, LENSES).astype(int)
    parts = [
        *(_line(place(np.array([axis[i], tip[i]])), "lens") for i in lenses),
        _line(place(axis), "rail"),
        _line(place(tip), "tip"),
        *(_dot(place(axis[[i]])[0]) for i in (0, -1)),
    ]
    says = f"From above: rail, lens at {LENSES} moments, path of the tip, which goes {millimetres(rig['tip_swing_mm'])} mm sideways"
    box = f'viewBox="0 0 {wide:.1f} {high:.1f}" width="{wide:.0f}" height="{high:.0f}"'
    return f'<figure class="swing"><svg xmlns="http://www.w3.org/2000/svg" {box} role="img" aria-label="{says}">{"".join(parts)}</svg><figcaption>{says}</figcaption></figure>'


def _fitted(points):
    """Return a function from plan (n, 2) [mm] to drawing (n, 2) [pixel], and the drawing's size: one scale both ways, all of `points` inside the margin, y up."""
    low, high = points.min(axis=0), points.max(axis=0)
    scale = float(((MOST - 2 * EDGE) / np.maximum(high - low, 1e-6)).min())
    size = scale * (high - low) + 2 * EDGE
    return lambda plan: size / 2 + scale * (plan - (low + high) / 2) * [1, -1], size


def _line(points, called: str) -> str:
    return f'<polyline class="{called}" points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in points)}"/>'


def _dot(point) -> str:
    return f'<circle cx="{point[0]:.1f}" cy="{point[1]:.1f}" r="3"/>'
