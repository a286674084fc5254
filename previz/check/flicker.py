"""
Lamps that pulse against the shutter: how much the picture flickers, and which shutters and frame rates are safe.

Takes lamps, a frame rate and an exposure time; gives figures, and a rule that judges them. Knows nothing of geometry.

Light on the mains follows each half-wave, so it pulses at twice the mains frequency f. Averaged over an exposure t, a sinusoid
of depth m keeps ``m |sin(pi f t) / (pi f t)|``: nothing where t is a whole number of pulses, n / f. Where f is a whole multiple
of the frame rate every frame sees the same part of a pulse, whatever the shutter. (sinc average of a sinusoid, derived; the
shutter and frame-rate tables of camera assistants' handbooks, from memory, hold the same n / f.) A lamp dimmed by short
flashes gives a frame either of two neighbouring whole numbers of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from previz.check.finding import Finding, rule
from previz.check.text import number
from previz.scene.model import Lamp, Seconds, Shot
from previz.scene.shots import scene_of

SEEN_STOPS = 0.05
"""Frames that differ by less do not flicker to the eye (own choice: a few hundredths of the light)."""

SPOILS_STOPS = 0.3
"""Frames that differ by this much cannot be saved by grading every frame (own choice)."""

SAFE_SHOWN = 6
_EVEN = 1e-6


@dataclass(frozen=True)
class Flicker:
    """
    How the worst lamp of a shot flickers.

    lamp             its name
    pulses_hz        of its light [1/s]
    ripple_stops     between the brightest and the darkest frame; infinite where frames can miss the light [stops]
    beat_hz          of frames against pulses, in real time; 0 where all frames are alike [1/s]
    safe_shutters_s  exposures that all lamps of the shot are even in, longest first [s]
    safe_fps         frame rates at which every frame is like the last, whatever the shutter, highest first [1/s]
    """

    lamp: str
    pulses_hz: float
    ripple_stops: float
    beat_hz: float
    safe_shutters_s: tuple[float, ...]
    safe_fps: tuple[float, ...]


def pulses_hz(lamp: Lamp) -> float:
    """Return how often a lamp pulses; 0 for steady light. [1/s]"""
    return lamp.pulse or 2 * lamp.mains


def beat_hz(pulses: float, fps: float) -> float:
    """Return how often brightness comes and goes against the frames: to the nearest multiple of the frame rate. [1/s]"""
    return abs(pulses - round(pulses / fps) * fps)


def left_of_ripple(pulses: float, exposure_s: float, ripple: float) -> float:
    """Return what an exposure keeps of a sinusoid's ripple, about its mean: ``m |sin(pi f t) / (pi f t)|``. [1]"""
    angle = math.pi * pulses * exposure_s
    return ripple * abs(math.sin(angle) / angle) if angle else ripple


def ripple_stops(lamp: Lamp, fps: float, exposure_s: float) -> float:
    """Return how far the frames of a lamp's light lie apart at worst. [stops]"""
    pulses = pulses_hz(lamp)
    if not pulses or round(pulses / fps) and beat_hz(pulses, fps) < _EVEN * pulses:
        return 0.0
    if lamp.pulse:
        least, most = math.floor(pulses * exposure_s + _EVEN), math.ceil(pulses * exposure_s - _EVEN)
        return math.log2(most / least) if least else math.inf
    left = left_of_ripple(pulses, exposure_s, lamp.ripple)
    return math.log2((1 + left) / (1 - left)) if left < 1 else math.inf


def flicker(lamps, shot: Shot) -> Flicker | None:
    """Return how the worst of `lamps` flickers in a shot; None where all are steady."""
    pulsing = [lamp for lamp in lamps if pulses_hz(lamp) and lamp.dim]
    if not pulsing:
        return None
    worst = max(pulsing, key=lambda lamp: ripple_stops(lamp, shot.fps, shot.exposure_s))
    return Flicker(
        worst.name, pulses_hz(worst), ripple_stops(worst, shot.fps, shot.exposure_s), beat_hz(pulses_hz(worst), shot.fps),
        tuple(_safe_shutters(pulsing, shot.fps)), tuple(_safe_rates(pulsing, shot)),
    )  # fmt: skip


def _safe_shutters(lamps, fps):
    """Whole numbers of pulses that fit into a frame, even for every lamp."""
    slowest = min(pulses_hz(lamp) for lamp in lamps)
    most = math.floor(slowest / fps + _EVEN)
    times = [n / slowest for n in range(most, 0, -1)]
    return [t for t in times if all(ripple_stops(lamp, fps, t) < SEEN_STOPS for lamp in lamps)][: max(SAFE_SHOWN, 1)]


def _safe_rates(lamps, shot):
    """Frame rates that divide the pulses of every lamp, from twice the shot's down to what it is shown at."""
    slowest = min(pulses_hz(lamp) for lamp in lamps)
    first = max(1, math.ceil(slowest / (2 * shot.fps) - _EVEN))
    rates = [slowest / k for k in range(first, first + 200) if slowest / k >= shot.playback * (1 - _EVEN)]
    even = [fps for fps in rates if all(ripple_stops(lamp, fps, _exposure_at(shot, fps)) < SEEN_STOPS for lamp in lamps)]
    return even[:SAFE_SHOWN]


def _exposure_at(shot, fps):
    return min(shot.shutter.seconds, 1 / fps) if isinstance(shot.shutter, Seconds) else shot.shutter / (360 * fps)


@rule("flicker")
def lamps_flicker(study):
    """Lamps that pulse give each frame the same light."""
    for taken in study.shots:
        yield from flicker_findings(scene_of(study.scene, taken.shot).lamp, taken.shot)


def flicker_findings(lamps, shot: Shot):
    """Yield what is to be said of pulsing lamps in one shot."""
    found = flicker(lamps, shot)
    if found is None:
        return
    about = f"shot {shot.name}"
    if found.ripple_stops < SEEN_STOPS:
        yield Finding("ok", about, f"{found.lamp} pulses {number(found.pulses_hz)} times a second, and every frame gets the same of it.")
        return
    apart = "some frames miss its light altogether" if math.isinf(found.ripple_stops) else f"frames differ by up to {number(found.ripple_stops, 2)} stops"
    says = f"{found.lamp} pulses {number(found.pulses_hz)} times a second against {number(shot.fps)} frames of 1/{number(1 / shot.exposure_s)} s: {apart}."
    yield Finding("stop" if found.ripple_stops >= SPOILS_STOPS else "care", about, says, _remedy(found, shot))


def _remedy(found, shot):
    ways = []
    if found.safe_shutters_s:
        nearest = min(found.safe_shutters_s, key=lambda t: abs(math.log(t / shot.exposure_s)))
        ways.append(f"open the shutter for {nearest:.6g} s, shutter = {{ seconds = {nearest:.8g} }}")
    if found.safe_fps and not found.safe_shutters_s:
        nearest = min(found.safe_fps, key=lambda fps: abs(math.log(fps / shot.fps)))
        ways.append(f"shoot at fps = {nearest:.8g}, with any shutter")
    text = ", or ".join([*ways, f"run {found.lamp} on a supply that gives steady light"])
    return text[0].upper() + text[1:] + "."
