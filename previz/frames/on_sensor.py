"""
What the lens does to a picture on its way to the sensor: less light towards the corners, and diffraction.

Takes the light of a frame as the entrance pupil sees it, whole or in layers; gives it as the sensor gets it, still as
luminance. Both are linear and the same for all light, so layers mix afterwards as before.
"""

from __future__ import annotations

import numpy as np

from previz.camera.diffraction import diffracted
from previz.camera.exposure import stop_used, working_stop
from previz.camera.view import View, cos_fourth
from previz.scene.model import Scene, Shot


def on_sensor(light: np.ndarray, scene: Scene, shot: Shot, view: View, focus_mm: float) -> np.ndarray:
    """
    Return the light of a frame as it lies on the sensor.

    Parameters
    ----------
    light : (..., rows, columns, 3) float32 array
        Linear RGB. [cd/m2]
    view : View
        Of the picture.
    focus_mm : float
        Focused distance, from the entrance pupil. [mm]

    Returns
    -------
    (..., rows, columns, 3) float32 array
        [cd/m2]
    """
    if scene.lens.falloff == "cos4":
        light = light * cos_fourth(view).astype(np.float32)[..., None]
    body = scene.body
    return diffracted(light, float(working_stop(scene.lens, stop_used(scene.lens, shot), focus_mm)), body.sensor[0] / body.crop / view.columns)
