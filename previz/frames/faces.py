"""
Lamps in the picture: the emitting faces that the lens sees, as bright as they are.

Takes a lit set and the rays of a tile; gives where they end on a face and the luminance there. A disc or panel of I
candela in a direction shows there I over its area in that direction. A point has no face, so it cannot be seen; nor can
the back of a lamp or its housing, which the scene does not describe. Tracing paper is drawn with the set.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from previz.camera.view import View
from previz.rays.lit import LitSet
from previz.rays.papers import lamp_of

_GRAZING = 1e-3


def faces_ahead(lit: LitSet, views: Sequence[View]) -> list[int]:
    """Return the lamps, by number, whose faces may be in frame and look towards the lens in any of `views`."""
    return [number for number, lamp in enumerate(lit.emitters) if lamp.shape != "point" and lamp_of(lamp) == lamp.name and any(_ahead(lamp, view) for view in views)]


def _ahead(lamp, view: View) -> bool:
    """Whether any of the ball around a lamp's face is in the frame, the pupil's width allowed for, and its front is turned to the lens."""
    offset = lamp.centre - view.position
    radius = float(np.sqrt(np.sum(lamp.half_u**2) + np.sum(lamp.half_v**2))) + view.pupil_radius
    if -offset @ lamp.normal < -view.pupil_radius or offset @ view.forward < -radius:
        return False
    # From outside a plane of the frame's pyramid by more than the ball, blurred by the pupil as it may be.
    blur = view.pupil_radius * (1 + abs(offset @ view.forward) / view.focus_mm)
    for side, half in ((view.right, view.half_width), (view.up, view.half_height)):
        beyond = abs(offset @ side) - half * (offset @ view.forward)
        if beyond > (radius + blur) * np.hypot(1, half):
            return False
    return True


def met(lit: LitSet, number: int, origins: np.ndarray, directions: np.ndarray, far: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """
    Return the rays that end on the front of a lamp's face.

    Parameters
    ----------
    number : int
        Of the lamp.
    origins, directions : (n, 3) float arrays
        Unit directions. [mm], [1]
    far : (n,) float array
        Where the rays end in the set. [mm]

    Returns
    -------
    rays : (k,) int array
    distance : (k,) float array
        [mm]
    cos : (k,) float array
        Between each ray, turned back, and the lamp's axis. [1]
    """
    lamp = lit.emitters[number]
    cos = -(directions @ lamp.normal)
    rays = np.flatnonzero(cos > _GRAZING)
    distance = ((origins[rays] - lamp.centre) @ lamp.normal) / cos[rays]
    on_face = origins[rays] + distance[:, None] * directions[rays] - lamp.centre
    u, v = on_face @ lamp.half_u / (lamp.half_u @ lamp.half_u), on_face @ lamp.half_v / (lamp.half_v @ lamp.half_v)
    inside = (u * u + v * v <= 1) if lamp.shape == "disc" else (np.maximum(abs(u), abs(v)) <= 1)
    seen = inside & (distance > 0) & (distance < far[rays])
    return rays[seen], distance[seen], cos[rays[seen]]


def shine(lit: LitSet, number: int, origins: np.ndarray, directions: np.ndarray, distance: np.ndarray, cos: np.ndarray) -> np.ndarray:
    """
    Return the luminance that rays which end on a lamp's face bring, per candela on its axis, in clear air.

    Parameters
    ----------
    origins, directions, distance, cos
        Of those rays, as `met` gives them. [mm], [1], [mm], [1]

    Returns
    -------
    (n, tints * lamps) float array
        Behind each tint; 0 for all other lamps, and where something or a pane stops the light. [1/m2]

    Notes
    -----
    The illuminance from a small part of the face is ``L A cos / d^2``; the shadow ray that finds it passes glass, tints
    and props as all direct light does, so ``L = E d^2 / (A cos)``.
    """
    lamp = lit.emitters[number]
    area = (np.pi if lamp.shape == "disc" else 4.0) * np.linalg.norm(lamp.half_u) * np.linalg.norm(lamp.half_v)
    on_lamps = np.repeat((origins + distance[:, None] * directions)[None, :, None], len(lit.emitters), axis=0)
    light = lit.direct(origins, np.zeros_like(origins), np.arange(len(origins)), np.ascontiguousarray(on_lamps), extinction_per_m=0.0)
    own = np.arange(light.shape[1]) % len(lit.emitters) == number
    return np.where(own, light, 0.0) * (distance**2 / (area * cos))[:, None]
