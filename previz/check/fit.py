"""
Rules about fit: does the lens pass and frame along the move?

Takes a study; gives findings.
"""

from __future__ import annotations

from previz.check.finding import Finding, rule
from previz.check.text import millimetres, number

CLEAR_MM = 5.0
"""Less air than this between lens and set asks for a slow rehearsal: a long barrel sways on a slider (common practice)."""

SURE_MM = 0.5
"""A clearance that is certified to no better than this is said with its doubt (own choice)."""

HIDDEN_SHARE = 0.25
"""More of the subject than this behind other things is worth a look (own choice)."""

EDGE_SHARE = 0.1
"""A subject nearer to the frame's edge than this share of half the frame looks cut (common practice: a safe area of 90 %)."""


def about(taken) -> str:
    """Return what a finding about a shot is about."""
    return f"shot {taken.shot.name}"


def when(taken, at_take_s: float) -> str:
    """Return a moment in words, of the take and of the clip. [s]"""
    return f"{number(at_take_s, 2)} s into the take ({number(at_take_s * taken.shot.fps / taken.shot.playback, 2)} s of the clip)"


@rule("clearance")
def clearance(study):
    """The lens must not touch the set."""
    for taken in study.shots:
        found = taken.clearance
        if found is None:
            continue
        rig_part, set_part = found.between
        at = when(taken, found.at_take_s)
        if found.min_mm <= 0:
            yield Finding("stop", about(taken), f"The {rig_part} touches {set_part} {at}.", f"Lead the move around {set_part}, or move {set_part} aside.")
        elif found.min_mm < CLEAR_MM:
            yield Finding(
                "care",
                about(taken),
                f"Only {number(found.min_mm, 2)} mm between {rig_part} and {set_part}, {at}.",
                f"Rehearse it slowly by hand, or give it {number(CLEAR_MM)} mm (common practice).",
            )
        elif found.certified_to_mm > SURE_MM:
            yield Finding(
                "care",
                about(taken),
                f"The nearest seen is {number(found.min_mm, 2)} mm between {rig_part} and {set_part}, but it may be {number(found.certified_to_mm, 2)} mm nearer.",
                "Make the mesh coarser, or the move shorter, so that the search can finish.",
            )
        else:
            yield Finding("ok", about(taken), f"Clear of everything by {millimetres(found.min_mm)} mm or more; nearest are {rig_part} and {set_part}.")


@rule("framing")
def framing(study):
    """The subject stays in the frame and in sight."""
    for taken in study.shots:
        found = taken.framing
        if found is None:
            continue
        if found.worst_margin < 0:
            yield Finding(
                "stop" if found.worst_margin < -EDGE_SHARE else "care",
                about(taken),
                f"{found.subject} leaves the frame by {100 * -found.worst_margin:.0f} % of half its width, {when(taken, found.at_take_s)}.",
                "Stand farther back, use a wider lens, or look at the subject's middle.",
            )
        elif found.worst_margin < EDGE_SHARE:
            yield Finding("care", about(taken), f"{found.subject} comes within {100 * found.worst_margin:.0f} % of the frame's edge.", "Stand a little farther back, or aim a little towards it.")
        else:
            yield Finding("ok", about(taken), f"{found.subject} stays {100 * found.worst_margin:.0f} % or more inside the frame.")
        if found.hidden_share > HIDDEN_SHARE:
            yield Finding("care", about(taken), f"At worst {100 * found.hidden_share:.0f} % of {found.subject} is hidden.", "Move what stands before it, or raise the lens.")


@rule("times")
def times(study):
    """What is shot, in real seconds, against what is seen."""
    for taken in study.shots:
        shot = taken.shot
        pace = shot.fps / shot.playback
        if pace < 1:
            yield Finding(
                "care",
                about(taken),
                f"Shot at {number(shot.fps)} and shown at {number(shot.playback)} frames a second, haze drifts {number(1 / pace, 2)} times too fast.",
                f"Raise fps to {number(shot.playback)} or more; small sets want several times as much (common practice).",
            )
        else:
            yield Finding("ok", about(taken), f"A clip of {number(shot.clip)} s is a take of {number(shot.take_s)} s, slowed {number(pace)} times.")
