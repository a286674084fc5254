"""
The report of `previz check`: the study and its findings as plain values, ready for JSON.

Takes a study; gives dictionaries, lists, text and finite numbers. Anything endless is null.

    patches[]   lamp, opening, pane [column, row], on, outline_mm [[x, y, z], ...], centre_mm, area_mm2, lux, penumbra_mm, lit_share
    lamps[]     name, candela (on the axis), lumens, beam_deg, field_deg, kelvin, readings [{at_mm, lux, computed_lux, residual_stops}], factor_stops
    shots[]     name, clip_s, take_s, slowdown, capture_fps, playback_fps, clearance, framing, focus, exposure, shafts, shown, rig, haze,
                swirls (contrast, size_mm, and drift_mm_s as it is, on screen and at scale),
                lift (carries, from_mm, to_mm, peaks, light: patches along the take, targets: how the light moves on what it falls on), hand (shake in pixels a frame, sway)
    findings[]  level, about, says, remedy
"""

from __future__ import annotations

import json
import math
from dataclasses import asdict, fields

import numpy as np

from previz.check import fit, focus, seen, gear, rigging, light, shown, wander, thickness, clock, pace, flicker, day, cautions  # noqa: F401, I001  (importing registers their rules, in this order)
from previz.check.finding import findings
from previz.check.study import Study, Taken
from previz.check.swirls import swirls_entry
from previz.light.colour import luminance
from previz.light.distribution import BEAM_SHARE, FIELD_SHARE
from previz.light.lamps import intensity, lumens, width_deg

SCHEMA = 1
CLOCK_STEP = 40
"""Every so many points of a haze clock's curve are enough to draw it."""

FIGURES = 6
"""Significant figures kept in JSON: more than any of them is known to."""


def report(study: Study) -> dict:
    """Return the whole report of `study`."""
    return plain(
        {
            "schema": SCHEMA,
            "scene": study.scene.title,
            "scale": study.scene.scale,
            "patches": [patch_entry(patch) for patch in study.patches],
            "lamps": [lamp_entry(emitter, lamp, study.calibrations) for emitter, lamp in zip(study.emitters, study.scene.lamp)],
            "shots": [shot_entry(taken, study.scene.lift and study.scene.lift.carries) | swirls_entry(study.scene, taken.shot) for taken in study.shots],
            "day": study.day and asdict(study.day),
            "findings": [asdict(finding) for finding in findings(study)],
        }
    )


def patch_entry(patch) -> dict:
    """Return one patch, its fields as they are named."""
    return {field.name: getattr(patch, field.name) for field in fields(patch)}


def lamp_entry(emitter, lamp, calibrations) -> dict:
    """Return the figures of one lamp, at the level that its readings set, gel and dim included."""
    measured = next((one for one in calibrations if one.lamp == emitter.name), None)
    readings = zip(measured.at_mm, measured.lux, measured.factor * measured.computed, measured.residual_stops) if measured else ()
    return {
        "name": emitter.name,
        "candela": luminance(emitter.candela) * intensity(emitter, [emitter.normal])[0],
        "lumens": lumens(emitter),
        "beam_deg": width_deg(emitter, BEAM_SHARE),
        "field_deg": width_deg(emitter, FIELD_SHARE),
        "kelvin": lamp.kelvin,
        "readings": [{"at_mm": at, "lux": lux, "computed_lux": computed, "residual_stops": residual} for at, lux, computed, residual in readings],
        "factor_stops": math.log2(measured.factor) if measured else 0.0,
    }


def lift_entry(taken: Taken, carries: str | None) -> dict | None:
    """Return what the lift does in a shot, and where the light lands where that changes with it; None where there is no lift."""
    if carries is None:
        return None
    low, high = taken.demand.lift_mm
    light = [{"at_take_s": then.at_take_s, "lift_mm": then.lift_mm, "patches": [patch_entry(patch) for patch in then.patches]} for then in taken.light]
    speeds = {"peak_speed_mm_s": taken.demand.peak_lift_mm_s, "peak_accel_mm_s2": taken.demand.peak_lift_mm_s2}
    return {"carries": carries, "from_mm": low, "to_mm": high, **speeds, "light": light, "targets": [asdict(found) for found in taken.wanders]}


def hand_entry(taken: Taken) -> dict:
    """Return how a hand-held shot shakes."""
    held = taken.held
    wander = {"px_frame": held.px_frame, "px_frame_unslowed": held.px_frame_unslowed}
    return {**wander, "steady_clearance_mm": held.steady.min_mm, "sway_mm": held.sway_mm}


def focus_entry(found) -> dict:
    """Return what is sharp along the take, and the pull."""
    worst = found.worst
    return {
        "pull": [asdict(mark) for mark in found.pull],
        "pull_mm_s": found.pull_mm_s,
        "subject_sharp_share": None if worst is None else found.sharp_share[worst],
        "subject_sharp_at_take_s": None if worst is None else found.take_s[worst],
        "subject_mm": None if worst is None else found.subject_mm[worst],
        **{name: getattr(found, name) for name in ("stop", "effective_stop", "magnification", "hyperfocal_mm", "airy_mm", "coc_mm", "pixel_mm", "balanced_stop")},
        "along": {name: getattr(found, name) for name in ("take_s", "distance_mm", "near_mm", "far_mm")},
    }


def clock_entry(found, shot) -> dict:
    """Return the haze clock of a shot; its fields are null where there is none."""
    if found is None:
        return dict.fromkeys(("usable_from_s", "usable_to_s", "takes_that_fit", "spray_again_s", "clock")) | {"reset_s": shot.reset}
    thinned = slice(None, None, CLOCK_STEP)
    drawn = {"lamp": found.lamp, "opening": found.opening, "after_spray_s": found.after_spray_s, "contrast_stops": found.contrast_stops, "veil": found.veil}
    curve = {"times_s": found.times_s[thinned], "over_enough_stops": found.curve[thinned]}
    fits = {"takes_that_fit": found.takes, "spray_again_s": found.spray_again_s, "reset_s": shot.reset}
    return {"usable_from_s": found.usable_from_s, "usable_to_s": found.usable_to_s, **fits, "clock": drawn | curve}


def shot_entry(taken: Taken, carries: str | None = None) -> dict:
    """Return the figures of one shot, on a lift that `carries` set or camera."""
    shot, speeds = taken.shot, taken.speeds
    return {
        "name": shot.name,
        "lamps": list(taken.lamps),
        "patches": [patch_entry(patch) for patch in taken.light[0].patches] if shot.lamps else None,
        "pace": asdict(taken.pace),
        "flicker": taken.flicker and asdict(taken.flicker),
        "clip_s": shot.clip,
        "take_s": shot.take_s,
        "slowdown": shot.fps / shot.playback,
        "capture_fps": shot.fps,
        "playback_fps": shot.playback,
        "clearance": taken.clearance and {key: getattr(taken.clearance, key) for key in ("min_mm", "at_take_s", "between")},
        "framing": taken.framing and {key: getattr(taken.framing, key) for key in ("subject", "worst_margin", "hidden_share")},
        "focus": {"distance_mm": taken.focus_mm, "near_mm": taken.near_mm, "far_mm": taken.far_mm} | focus_entry(taken.sharpness),
        "exposure": taken.exposure and asdict(taken.exposure),
        "shafts": [asdict(shaft) for shaft in taken.shafts],
        "rig": {key: getattr(speeds, key) for key in ("peak_speed_mm_s", "peak_accel_mm_s2", "peak_pan_deg_s", "travel_mm")}
        | {key: getattr(taken.demand, key) for key in ("carriage_mm", "pan_deg", "tilt_deg", "peak_pan_accel_deg_s2", "tip_swing_mm", "axis_mm", "tip_mm")},
        "lift": lift_entry(taken, carries),
        "seen": asdict(taken.seen),
        "gear": asdict(taken.gear),
        "shown": taken.shown and asdict(taken.shown),
        "hand": taken.held and hand_entry(taken),
        "haze": {
            "extinction_at_roll_per_m": taken.extinction_at_roll_per_m,
            "optical_depth_across": taken.thickness.across,
            "optical_depth_to_subject": taken.thickness.to_subject,
            "picture_within": taken.thickness.within,
            **clock_entry(taken.clock, shot),
        },
    }


def plain(value):
    """Return `value` with arrays as lists, numbers as Python's own to `FIGURES` figures, and None for what is not finite."""
    if isinstance(value, dict):
        return {key: plain(entry) for key, entry in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [plain(entry) for entry in value]
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        # + 0.0 turns a negative zero, which would read as a direction, into zero.
        return float(f"{value:.{FIGURES}g}") + 0.0 if math.isfinite(value) else None
    return value


def report_json(figures: dict) -> str:
    """Return the report as JSON text, indented to be read by a person too."""
    return json.dumps(figures, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
