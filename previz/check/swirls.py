"""
Uneven haze in figures: how fast it drifts in the set, on screen, and at the scale of the set.

Figures of light (contrast of shafts, exposure, lux) are those of even haze, which is the mean of the uneven: what swirls add or take
passes in a second or two.
"""

from __future__ import annotations

from previz.check.finding import Finding, rule
from previz.check.fit import about
from previz.check.text import number
from previz.light.units import MM_PER_M
from previz.scene.model import Scene, Shot
from previz.scene.shots import scene_of


def swirls_entry(scene: Scene, shot: Shot) -> dict:
    """
    Return the field `swirls` of a shot: None in even haze.

    drift_mm_s is real; screen_mm_s is how far the haze goes in the set in a second of the clip; scale_mm_s the same in the world that
    the set stands for.
    """
    swirls = scene_of(scene, shot).haze.uneven
    if swirls is None:
        return {"swirls": None}
    screen = swirls.drift * shot.playback / shot.fps
    return {
        "swirls": {
            "contrast": swirls.contrast,
            "size_mm": swirls.size,
            "drift_mm_s": swirls.drift,
            "screen_mm_s": screen,
            "scale_mm_s": screen * scene.scale,
        }
    }


@rule("uneven haze")
def uneven_haze(study):
    """How fast does the haze drift on screen?"""
    if not study.has_haze:
        return
    for taken in study.shots:
        swirls = swirls_entry(study.scene, taken.shot)["swirls"]
        if swirls is None or swirls["contrast"] == 0:
            continue
        if swirls["drift_mm_s"] == 0:
            yield Finding("ok", about(taken), "The haze is uneven and stands still.")
            continue
        yield Finding(
            "ok",
            about(taken),
            f"Haze that drifts {number(swirls['drift_mm_s'])} mm/s goes {number(swirls['screen_mm_s'])} mm in a second on screen: at 1:{number(study.scene.scale)} "
            f"that reads as {number(swirls['scale_mm_s'] / MM_PER_M, 2)} m/s.",
        )
