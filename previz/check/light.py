"""
Rules about light: does each lamp land, is there haze for its shafts, is there enough for the camera?

Takes a study; yields findings. The figures come from the rows before; nothing is computed here but differences in stops.
"""

from __future__ import annotations

import numpy as np

from previz.check.finding import Finding, rule
from previz.check.text import number

UNDER_STOPS = 1.0
"""A subject this far under the meter still reads as lit, but dark (common practice)."""


@rule("lamps land")
def lamps_land(study):
    """Each lamp outside should throw light through an opening onto something in the set."""
    landing = {patch.lamp for patch in study.patches}
    for lamp in study.scene.lamp:
        if lamp.name in landing or study.inside_set(lamp.at):
            continue
        level = "care" if landing else "stop"
        if lamp.dim == 0:
            yield Finding(level, lamp.name, "The lamp is dimmed to nothing.", "Set dim above 0, or take the lamp out of the file.")
        elif study.built.apertures:
            yield Finding(level, lamp.name, "None of its light lands in the set: no opening lets it through.", _turn_it_round(study, lamp))
    if landing:
        count = len(study.patches)
        yield Finding("ok", "light", f"{_listed(sorted(landing))} {'lands' if len(landing) == 1 else 'land'} in the set, in {count} patch{'es' if count != 1 else ''}.")


def _turn_it_round(study, lamp) -> str:
    """Return what to change: stand outside the nearest opening's face if the lamp is behind all of them, else aim at it."""
    at = np.array(lamp.at)
    facing = [a for a in study.built.apertures if (at - a.origin) @ a.axes[2] > a.thickness]
    if not facing:
        return "Stand it on the outer side of an opening: it is behind all of them."
    nearest = min(facing, key=lambda a: float(np.linalg.norm(at - a.origin)))
    return f'Set toward = "{nearest.opening}", the nearest opening that faces it, and see that nothing stands between.'


AGREE_STOPS = 0.5
"""Readings further apart than this contradict each other (own choice; good meters agree to a third of a stop, common practice)."""


@rule("readings")
def readings(study):
    """Do a lamp's readings agree with each other and with where its light goes?"""
    for one in study.calibrations:
        left, seen = one.residual_stops, one.computed > 0
        if not seen.any():
            yield Finding("care", one.lamp, "None of its light reaches the places of its readings, so they cannot set its level.", "Check at of the readings, and at and toward of the lamp.")
            continue
        for k in np.flatnonzero(~seen):
            yield Finding("care", one.lamp, f"None of its light should reach the reading at {_place(one.at_mm[k])}, so that one is left out.", "Check at of that reading, and what stands before it.")
        high, low = int(np.nanargmax(left)), int(np.nanargmin(left))
        apart = left[high] - left[low]
        if apart > AGREE_STOPS:
            yield Finding(
                "care",
                one.lamp,
                f"Its readings contradict each other: {number(one.lux[high])} lux at {_place(one.at_mm[high])} says {number(apart, 2)} stops more light than "
                f"{number(one.lux[low])} lux at {_place(one.at_mm[low])}; its level is set between them.",
                "Read both again in clear air, with the other lamps out, the meter towards the lamp and nobody in the light, and measure where it stood.",
            )
        else:
            count, over = int(seen.sum()), float(np.log2(one.factor))
            agree = f", and they agree within {number(max(apart, 0.1), 1)} stop" if count > 1 else ""
            yield Finding("ok", one.lamp, f"{count} reading{'s set' if count > 1 else ' sets'} its level, {number(abs(over), 2)} stops {'over' if over >= 0 else 'under'} the file's{agree}.")


def _place(at) -> str:
    return f"[{', '.join(f'{x:g}' for x in at)}]"


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


@rule("openings known")
def openings_known(study):
    """Patches need openings; a set from a mesh has none by name."""
    if study.scene.mesh is not None and study.scene.lamp:
        yield Finding(
            "care",
            "the set",
            "A set from a mesh has no openings by name, so where its light lands is not listed.",
            "Look at previz frame, whose light is right all the same, or write the rooms and openings into the file.",
        )


@rule("haze")
def haze(study):
    """Without haze no shaft shows."""
    if not study.scene.lamp:
        yield Finding("stop", "light", "There is no lamp in the file, so every picture is black.", "Add a [[lamp]] with name, kind, at, toward and lux_at_1m.")
    if not study.has_haze:
        yield Finding("care", "haze", "The air is clear, so no shaft will show.", "Give [haze] an extinction of about 0.5 to 1.5 per metre, or take extinction = 0 out.")
        return
    for taken in study.shots:
        left = taken.extinction_at_roll_per_m / study.fresh_extinction_per_m
        if left < 0.25:
            yield Finding(
                "care",
                f"shot {taken.shot.name}",
                f"Only {100 * left:.0f} % of the haze is left when the camera rolls.",
                "Lower start_after, or spray again before the take.",
            )
    yield Finding("ok", "haze", f"Fresh haze takes {number(study.fresh_extinction_per_m, 2)} per metre out of a ray.")


@rule("shafts")
def shafts(study):
    """A shaft is what the set is built for: does it stand out from what is behind it?"""
    for taken in study.shots:
        about = f"shot {taken.shot.name}"
        if not taken.shafts:
            continue
        reading = [shaft for shaft in taken.shafts if shaft.reads]
        weak = [shaft for shaft in taken.shafts if not shaft.reads and shaft.frame_share > 0]
        if reading:
            best = reading[0]
            more = f", and {len(reading) - 1} more" if len(reading) > 1 else ""
            yield Finding("ok", about, f"The shaft of {_shaft(best)} reads: {number(best.contrast_stops, 2)} stops over {number(100 * best.frame_share, 2)} % of the frame{more}.")
        elif not weak:
            yield Finding("stop", about, "No shaft shows in the middle of the take: no light through an opening crosses the frame.", _into_the_frame(taken.shafts))
        for shaft in weak:
            yield Finding(
                "care",
                about,
                f"The shaft of {_shaft(shaft)} will hardly be seen: {number(shaft.contrast_stops, 2)} stops over {number(100 * shaft.frame_share, 2)} % of the frame.",
                _thicker(shaft) or "Thicker haze does not bring it out: let it cross something darker, turn the lens more towards the lamp, or make the opening larger.",
            )


def _shaft(shaft) -> str:
    return f"{shaft.lamp} through {shaft.opening}" if shaft.opening else shaft.lamp


def _thicker(shaft) -> str:
    """Return the haze at which it was found to read, empty where there is none."""
    found = shaft.reads_at_extinction_per_m
    return f"Spray to {number(found, 2)} per metre, where it reads." if found else ""


def _into_the_frame(shafts) -> str:
    found = [shaft for shaft in shafts if shaft.reads_at_extinction_per_m]
    if found:
        nearest = min(found, key=lambda shaft: shaft.reads_at_extinction_per_m)
        return f"Spray to {number(nearest.reads_at_extinction_per_m, 2)} per metre, where {_shaft(nearest)} reads."
    return "Aim a lamp through an opening so that its light passes before the lens, or turn the lens to where it does: thicker haze alone does not bring it."


@rule("exposure")
def exposure(study):
    """Is there light enough at the highest ISO that the maker accepts?"""
    for taken in study.shots:
        if taken.exposure is None:
            continue
        about, body = f"shot {taken.shot.name}", study.scene.body
        over, under = taken.exposure.stops_over_iso_max, taken.exposure.stops_under(taken.shot.iso)
        if over is None:
            yield Finding("stop", about, "No light at all comes from where the meter looks.", "Let a lamp or its bounce reach the subject, or meter on something lit by naming it as subject.")
        elif over > 0:
            yield Finding(
                "stop" if over > UNDER_STOPS else "care",
                about,
                f"The subject as mid-tone needs ISO {number(taken.exposure.iso_needed, 2)}, {number(over, 2)} stops over the ISO {number(body.iso_max)} that you accept.",
                more_light(taken.exposure.ways),
            )
        elif abs(under) > UNDER_STOPS:
            yield Finding(
                "care",
                about,
                f"At ISO {number(taken.shot.iso)} the subject comes out {number(abs(under), 2)} stops {'under' if under > 0 else 'over'} the meter's mid-tone.",
                f"Set iso = {number(taken.exposure.iso_needed, 2).replace(',', '')} for the mid-tone, or keep it if you want the subject {'dark' if under > 0 else 'bright'}.",
            )
        else:
            yield Finding("ok", about, f"ISO {number(taken.shot.iso)} is within {number(UNDER_STOPS)} stop of the meter (ISO {number(taken.exposure.iso_needed, 2)}).")


def more_light(ways) -> str:
    """Return what would buy the stops back: all that is enough alone, else everything, to be added up."""
    enough = [way for way in ways if way.enough]
    if enough:
        return f"{'Any one of these' if len(enough) > 1 else 'This'} is enough: {'; '.join(_way(way) for way in enough)}."
    if ways:
        return f"None of these is enough alone, so add up: {'; '.join(_way(way) for way in ways)}."
    return "Stop, shutter, frame rate and lamps are at their limit: take a stronger lamp or a paler finish, or accept a higher iso_max."


def _way(way) -> str:
    done = {
        "lamp": lambda: f"stand {way.of} at [{', '.join(number(x, 4).replace(',', '') for x in way.to)}], {number(way.by_mm)} mm nearer",
        "stop": lambda: f"open to f/{number(way.to)}",
        "shutter": lambda: f"set the shutter to {number(way.to)} degrees",
        "fps": lambda: f"shoot {number(way.to)} frames a second",
        "haze": lambda: f"spray to {number(way.to, 2)} per metre",
    }
    return f"{done[way.change]()} ({number(way.buys_stops, 2)} stops)"


@rule("shutter")
def shutter(study):
    """An exposure cannot last longer than the frame that it is for."""
    for taken in study.shots:
        frame_s = 1 / taken.shot.fps
        if taken.shot.exposure_s > frame_s * (1 + 1e-9):
            yield Finding(
                "stop",
                f"shot {taken.shot.name}",
                f"An exposure of {number(taken.shot.exposure_s)} s does not fit into a frame of 1/{number(taken.shot.fps)} s.",
                f"Set shutter = 180, or fewer than {number(1 / taken.shot.exposure_s)} frames a second.",
            )
