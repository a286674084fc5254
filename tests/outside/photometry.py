"""
Photometry in closed form: the light that a point, a disc, a rectangle or a polygon throws on a small flat receiver.

Takes positions in millimetres and candela; gives lux. Nothing stands in the way here: shadows are the ray engine's.

configuration factor   share of the light leaving a receiver's small area evenly (Lambert) that would meet the face;
                       by reciprocity the illuminance there is pi L times it, L the face's even luminance [1]
offset, tilt           of the receiver against the face's axis [mm], [rad]
"""

from __future__ import annotations

import numpy as np

from previz.light.units import LUX_PER_CANDELA_MM2


def point_illuminance(candela, source, points, normals) -> np.ndarray:
    """
    Return the illuminance by a source too small to matter.

    Parameters
    ----------
    candela : float or (n,) float array
        Intensity towards each point. [cd]
    source : (3,) float array
        [mm]
    points, normals : (n, 3) float array
        Of the receivers; the normals are made unit. [mm], [1]

    Returns
    -------
    (n,) float array
        ``I cos / d^2``, 0 where the source is behind the receiver. [lx]

    References
    ----------
    Photometric distance law, CIE S 017 e-ILV term 17-25-104 (excerpt seen).
    """
    to_source = np.asarray(source, dtype=float) - np.asarray(points, dtype=float)
    distance = np.linalg.norm(to_source, axis=-1)
    cos = np.sum(to_source * _unit(normals), axis=-1) / distance
    return LUX_PER_CANDELA_MM2 * candela * np.maximum(cos, 0.0) / distance**2


def face_illuminance(luminance_cd_m2, factor):
    """Return the illuminance ``pi L F`` by a face of even luminance, F its configuration factor. [cd/m2], [1] -> [lx]"""
    return np.pi * luminance_cd_m2 * factor


def face_luminance(candela, area_mm2):
    """Return the luminance along its axis of a face that gives `candela` there. [cd], [mm2] -> [cd/m2]"""
    return LUX_PER_CANDELA_MM2 * candela / area_mm2


def disc_factor(radius_mm, distance_mm, offset_mm=0.0):
    """
    Return the configuration factor of a disc for a receiver that is parallel to it and faces it.

    Parameters
    ----------
    radius_mm, distance_mm : float or array
        Of the disc; from its plane to the receiver's, greater than zero. [mm]
    offset_mm : float or array
        Of the receiver from the disc's axis. [mm]

    Returns
    -------
    float or array
        0 to 1. [1]

    Notes
    -----
    ``[1 - (a^2 + d^2 - R^2) / sqrt((a^2 + d^2 + R^2)^2 - 4 a^2 R^2)] / 2``; on the axis ``R^2 / (R^2 + d^2)``. Written
    with the difference of root and numerator turned into a quotient, so that small discs far away lose no digits.

    References
    ----------
    J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors, B-12 and B-14 (seen second-hand).
    """
    radius2, offset2 = np.square(radius_mm), np.square(offset_mm)
    beyond = offset2 + np.square(distance_mm) - radius2
    root = np.sqrt(np.square(beyond + 2 * radius2) - 4 * offset2 * radius2)
    # root^2 - beyond^2 = 4 R^2 d^2
    return np.where(beyond > 0, 2 * radius2 * np.square(distance_mm) / (root * (root + np.abs(beyond))), (1 - beyond / root) / 2)


def tilted_disc_factor(radius_mm, distance_mm, tilt):
    """
    Return the configuration factor of a disc for a receiver on its axis that is turned by `tilt` from facing it.

    Parameters
    ----------
    radius_mm, distance_mm : float or array
        [mm]
    tilt : float or array
        At most atan(d / R), so that the receiver sees the whole disc. [rad]

    Returns
    -------
    float or array
        ``cos(tilt) R^2 / (R^2 + d^2)``. [1]

    Raises
    ------
    ValueError
        If the receiver's horizon cuts the disc.

    References
    ----------
    J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors, B-13 (seen second-hand).
    """
    if np.any(np.abs(tilt) > np.arctan2(distance_mm, radius_mm)):
        raise ValueError("the receiver does not see the whole disc: its tilt is more than atan(distance / radius)")
    return np.cos(tilt) * disc_factor(radius_mm, distance_mm)


def rectangle_factor(across, up, distance_mm):
    """
    Return the configuration factor of a rectangle for a receiver that is parallel to it and faces it.

    Parameters
    ----------
    across, up : pair of float or array
        Where the rectangle begins and ends, from the foot of the receiver's normal. [mm]
    distance_mm : float or array
        From the rectangle's plane to the receiver, greater than zero. [mm]

    Returns
    -------
    float or array
        0 to 1. [1]

    Notes
    -----
    The signed sum of four rectangles that have a corner at the foot.

    References
    ----------
    J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors, B-3 (seen second-hand).
    """
    (x0, x1), (y0, y1) = np.asarray(across) / distance_mm, np.asarray(up) / distance_mm
    return _facing_corner(x1, y1) - _facing_corner(x0, y1) - _facing_corner(x1, y0) + _facing_corner(x0, y0)


def upright_rectangle_factor(across, up, distance_mm):
    """
    Return the configuration factor of a rectangle that stands at right angles to the receiver's plane.

    Parameters
    ----------
    across : pair of float or array
        Where the rectangle begins and ends along the receiver's plane, from the foot of the perpendicular. [mm]
    up : pair of float or array
        The same along the receiver's normal; what lies below 0 is behind the receiver and does not count. [mm]
    distance_mm : float or array
        From the rectangle's plane to the receiver, greater than zero. [mm]

    Returns
    -------
    float or array
        0 to 0.5. [1]

    References
    ----------
    J. R. Howell, A Catalog of Radiation Heat Transfer Configuration Factors, B-4 (seen second-hand).
    """
    x0, x1 = np.asarray(across) / distance_mm
    z0, z1 = np.maximum(np.asarray(up) / distance_mm, 0.0)
    return _standing_corner(x1, z1) - _standing_corner(x0, z1) - _standing_corner(x1, z0) + _standing_corner(x0, z0)


def polygon_factor(corners, points, normals) -> np.ndarray:
    """
    Return the configuration factor of a flat convex polygon for receivers anywhere.

    Parameters
    ----------
    corners : (k, 3) float array
        Of the polygon, in either sense of turning. [mm]
    points, normals : (n, 3) float array
        Of the receivers; the normals are made unit. [mm], [1]

    Returns
    -------
    (n,) float array
        0 to 1; the part of the polygon behind a receiver does not count. Both sides of the polygon do. [1]

    Notes
    -----
    ``|sum_i angle_i (n . g_i)| / (2 pi)``: each edge by the angle that it subtends and the unit normal g of the plane
    through it and the receiver, after clipping at the receiver's horizon.

    References
    ----------
    J. H. Lambert, Photometria, 1760; D. Baum, H. Rushmeier and J. Winget, SIGGRAPH 1989 (both from memory).
    """
    normals = _unit(np.atleast_2d(normals))[:, None]
    start = np.asarray(corners, dtype=float) - np.atleast_2d(points)[:, None]
    end = np.roll(start, -1, axis=1)
    first, last = np.sum(start * normals, axis=-1), np.sum(end * normals, axis=-1)
    crossing = _at_horizon(start, end, first, last)
    sets, rises = (first > 0) & (last <= 0), (first <= 0) & (last > 0)
    begin = np.where((first > 0)[..., None], start, crossing)
    finish = np.where((last > 0)[..., None], end, crossing)
    edges = np.where((first > 0) | (last > 0), _edge_terms(begin, finish, normals), 0.0).sum(axis=1)
    leave, enter = (np.sum(crossing * which[..., None], axis=1, keepdims=True) for which in (sets, rises))
    return np.abs(edges + _edge_terms(leave, enter, normals)[:, 0]) / (2 * np.pi)


def _facing_corner(a, b):
    """B-3: a rectangle of sides a and b times the distance, one corner opposite the receiver; odd in both. [1]"""
    root_a, root_b = np.sqrt(1 + a * a), np.sqrt(1 + b * b)
    return (a / root_a * np.arctan(b / root_a) + b / root_b * np.arctan(a / root_b)) / (2 * np.pi)


def _standing_corner(w, h):
    """B-4: sides w along the receiver's plane, h along its normal, times the distance; odd in w. [1]"""
    root = np.sqrt(1 + h * h)
    return (np.arctan(w) - np.arctan(w / root) / root) / (2 * np.pi)


def _unit(vectors) -> np.ndarray:
    vectors = np.asarray(vectors, dtype=float)
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)


def _at_horizon(start, end, first, last) -> np.ndarray:
    """Return where each edge (n, k, 3) crosses height 0, given its ends' heights (n, k); its start where it does not. [mm]"""
    fall = first - last
    share = np.divide(first, fall, out=np.zeros_like(first), where=(first > 0) != (last > 0))
    return start + share[..., None] * (end - start)


def _edge_terms(begin, finish, normals) -> np.ndarray:
    """Return angle times (n . g) of each edge (n, k, 3), 0 where its ends are one direction. [rad]"""
    turn = np.cross(begin, finish)
    size = np.linalg.norm(turn, axis=-1)
    angle = np.arctan2(size, np.sum(begin * finish, axis=-1))
    along = np.sum(turn * normals, axis=-1)
    return np.divide(angle * along, size, out=np.zeros_like(size), where=size > 0)
