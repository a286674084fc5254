"""
How soft an edge of light is: the width over which a lamp's face goes from wholly seen to wholly hidden.

Takes a lamp's face and a straight edge; gives a width on a flat face behind it. Knows nothing of panes or sets.
"""

from __future__ import annotations

import numpy as np


def soft_edge(emitter, through: np.ndarray, along: np.ndarray, at: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """
    Return the full width of the soft edge that straight edges throw on a flat face.

    Parameters
    ----------
    emitter : previz.light.lamps.Emitter
        Its face is a point, a disc or a panel. [mm]
    through, along : (k, 3) float arrays
        A point of each edge, on the straight line from the centre of the lamp's face to `at`, and the edge's unit
        direction. [mm], [1]
    at, normal : (3,) or (k, 3) float arrays
        The point of the face where the width is wanted, and the face's unit normal; for each edge its own, or one. [mm], [1]

    Returns
    -------
    (k,) float array
        Measured in the face, square to the image of the edge; inf where the lamp is so large that the soft edge never
        ends. [mm]

    Notes
    -----
    A point of the lamp and the edge span a plane; the two outermost of these planes touch the lamp's face, and cut the
    face's plane at the two ends of the soft edge. A disc square to the ray, with face and edge square to it too, gives
    the similar triangles ``D b / a``.
    """
    if emitter.shape == "point":
        return np.zeros(len(through))
    to_lamp = emitter.centre - through
    across = to_lamp - np.einsum("ij,ij->i", to_lamp, along)[:, None] * along
    distance = np.linalg.norm(across, axis=1)
    across /= distance[:, None]
    square = np.cross(along, across)
    # Seen along the edge, the edge is a point at the origin and the lamp's centre stands at (distance, 0).
    u = np.stack([across @ emitter.half_u, square @ emitter.half_u], axis=1)
    v = np.stack([across @ emitter.half_v, square @ emitter.half_v], axis=1)
    outermost, bounded = (_of_disc if emitter.shape == "disc" else _of_panel)(distance, u, v)
    # Where each outermost plane cuts the line in the face that is square to the edge's image.
    centre_plane = np.cross(along, to_lamp)
    image = np.cross(normal, centre_plane)
    measure = np.cross(normal, image)
    measure /= np.linalg.norm(measure, axis=1)[:, None]
    ends = []
    for point in outermost:
        plane = np.cross(along, point[:, :1] * across + point[:, 1:] * square)
        slope = np.einsum("ij,ij->i", plane, measure)
        bounded &= slope * np.einsum("ij,ij->i", centre_plane, measure) > 0
        ends.append(np.einsum("ij,ij->i", plane, through - at) / np.where(slope == 0, 1.0, slope))
    return np.where(bounded, np.abs(ends[0] - ends[1]), np.inf)


def _of_disc(distance, u, v):
    """Return the two points (k, 2) of the ellipse c + u cos + v sin that tangents from the origin touch, and where they exist."""
    # Tangent: cross(p, dp) = 0, that is cross(c, v) cos - cross(c, u) sin = - cross(u, v).
    by_cos, by_sin = distance * v[:, 1], -distance * u[:, 1]
    level = -(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    radius = np.hypot(by_cos, by_sin)
    edge_on = radius == 0
    share = np.where(edge_on, 0.0, level / np.where(edge_on, 1.0, radius))
    centre = np.column_stack([distance, np.zeros_like(distance)])
    half = np.arccos(np.clip(share, -1, 1))
    angles = [np.arctan2(by_sin, by_cos) + side * half for side in (1, -1)]
    return [centre + np.cos(a)[:, None] * u + np.sin(a)[:, None] * v for a in angles], np.abs(share) < 1


def _of_panel(distance, u, v):
    """Return the two outermost corners (k, 2) of a panel seen from the origin, and where it lies ahead of the origin."""
    centre = np.column_stack([distance, np.zeros_like(distance)])
    corners = np.stack([centre + i * u + j * v for i in (1, -1) for j in (1, -1)], axis=1)
    angle = np.arctan2(corners[:, :, 1], corners[:, :, 0])
    picks = [angle.argmax(axis=1), angle.argmin(axis=1)]
    return [corners[np.arange(len(u)), pick] for pick in picks], (corners[:, :, 0] > 0).all(axis=1)
