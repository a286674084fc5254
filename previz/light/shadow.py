"""
Shadows by similar triangles: how soft an edge is, how light falls across it, where a point throws another.

Takes lengths in millimetres; gives lengths and shares. Knows nothing of rays: the set is not looked at.
"""

from __future__ import annotations

import numpy as np


def penumbra_width(source_mm, source_to_edge_mm, edge_to_screen_mm):
    """
    Return the full width of the soft edge that an edge throws on a screen square to the light.

    Parameters
    ----------
    source_mm : float or array
        Width of the source across the edge: a disc's diameter. [mm]
    source_to_edge_mm, edge_to_screen_mm : float or array
        Along the light. [mm]

    Returns
    -------
    float or array
        ``D b / a``, by similar triangles. On a tilted screen, divide by the cosine in the direction across the edge. [mm]
    """
    return source_mm * edge_to_screen_mm / source_to_edge_mm


def penumbra_share(across):
    """
    Return the share of a disc that is seen past a straight edge, from within its penumbra.

    Parameters
    ----------
    across : float or array
        From the crisp edge towards the light, in half widths of the penumbra: -1 dark, 1 lit; beyond, the same. [1]

    Returns
    -------
    float or array
        ``1/2 + (x sqrt(1 - x^2) + asin x) / pi``, the area of a circle's segment. [1]
    """
    x = np.clip(across, -1.0, 1.0)
    return 0.5 + (x * np.sqrt(1 - x * x) + np.arcsin(x)) / np.pi


def thrown_onto_plane(source, points, plane_point, plane_normal) -> np.ndarray:
    """
    Return where a point source throws each of `points` on a plane: the central projection.

    Parameters
    ----------
    source : (3,) or (n, 3) float array
        [mm]
    points : (n, 3) float array
        [mm]
    plane_point, plane_normal : (3,) float array
        A point of the plane, and its normal, of any length. [mm], [1]

    Returns
    -------
    (n, 3) float array
        On the plane; NaN where the light through the point goes away from the plane or along it. [mm]

    Notes
    -----
    ``x = s + t (p - s)`` with ``t = (q - s) . n / ((p - s) . n)``; a t below zero is no light.
    """
    source, points = np.asarray(source, dtype=float), np.asarray(points, dtype=float)
    travel = points - source
    height, gain = (np.asarray(plane_point) - source) @ plane_normal, travel @ plane_normal
    t = np.divide(height, gain, out=np.full(len(points), -1.0), where=gain != 0)
    return np.where((t > 0)[:, None], source + t[:, None] * travel, np.nan)
