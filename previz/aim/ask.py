"""
A question asked backwards, as typed: names looked up, the question put, the answer ready to print or to write.

Takes a scene file, its built set and what was typed; gives what was found with its text, its plain values and the scene
file changed by it. Knows nothing of terminals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from previz.aim.lamp import Found, aim, region
from previz.aim.limits import Ground
from previz.aim.layout import Request, Search, layouts
from previz.aim.offs import Off, off
from previz.aim.opening import Cut, NoCut, open_for, wanted
from previz.aim.proposals import Proposal, proposal_text, proposed, typed_openings
from previz.aim.tolerance import Tolerance, tolerance
from previz.aim.tolerance_words import tolerance_text, tolerance_values
from previz.aim.wishes import Target, Wish, target, wish
from previz.aim.words import aim_text, aim_values, lamp_changes, layout_text, layout_values, opening_keys, opening_text, opening_values
from previz.build.built import BuiltSet
from previz.light.lamps import Emitter, emitters
from previz.scene.faults import OptionFault
from previz.scene.read import SceneFile
from previz.scene.rewrite import rewritten

SHAPES = ("rect", "arch", "lancet", "round")


@dataclass(frozen=True)
class Asked:
    """What was found for lamp `number` of a scene file."""

    file: SceneFile
    ground: Ground
    number: int
    lamp: Emitter
    wishes: tuple[Wish, ...]
    dark: tuple[Target, ...]
    found: Found

    @property
    def text(self) -> str:
        """For a person, 80 columns wide."""
        return aim_text(self.ground, self.file.scene.lamp[self.number].name, self.wishes, self.found)

    @property
    def values(self) -> dict:
        """For a program."""
        return aim_values(self.ground, self.file.scene.lamp[self.number].name, self.wishes, self.found)

    @property
    def region(self) -> tuple[np.ndarray, np.ndarray]:
        """Places (n, 3) all over the light's way, and (n,) whether the lamp may stand there. [mm]"""
        return region(self.ground, self.lamp, self.wishes, self.dark)

    def scene_with(self, number: int) -> str:
        """Return the scene file's text with the lamp where answer `number`, from 1, puts it; OptionFault where there is none."""
        if not 1 <= number <= len(self.found.answers):
            raise OptionFault(f"--answer {number}: there are {len(self.found.answers)} answers", "Leave it out for the first.")
        return rewritten(self.file.text, lamp_changes(self.number, self.found.answers[number - 1]))


def ask_for_lamp(file: SceneFile, built: BuiltSet, wishes: Sequence[str], dark: Sequence[str], lamp: str | None, shot: str | None) -> Asked:
    """
    Return where a lamp of the scene must stand.

    Parameters
    ----------
    wishes, dark : sequence of str
        As typed; see `previz.aim.wishes`.
    lamp, shot : str or None
        Their names; the first lamp, and every shot.

    Raises
    ------
    OptionFault
        For a name that the scene does not have.
    """
    scene = file.scene
    number = _named("lamp", lamp, [row.name for row in scene.lamp])
    shots = scene.shot if shot is None else [scene.shot[_named("shot", shot, [row.name for row in scene.shot])]]
    wanted = tuple(wish(built, text) for text in wishes)
    emitter = emitters(scene, built)[number]
    ground = Ground.of(scene, built, emitter, shots)
    shaded = tuple(target(built, text) for text in dark)
    return Asked(file, ground, number, emitter, wanted, shaded, aim(ground, emitter, wanted, shaded))


@dataclass(frozen=True)
class AskedOpening:
    """What was found for an opening in `wall` of a scene file."""

    file: SceneFile
    lamp: str
    wall: str
    onto: str
    found: Cut | NoCut

    @property
    def text(self) -> str:
        """For a person, 80 columns wide."""
        return opening_text(self.lamp, self.wall, self.onto, self.found)

    @property
    def values(self) -> dict:
        """For a program."""
        return opening_values(self.lamp, self.wall, self.onto, self.found)

    def scene_with(self) -> str:
        """Return the scene file's text with the opening added."""
        return rewritten(self.file.text, {("opening", len(self.file.scene.opening)): opening_keys(self.found.opening)})


def ask_for_opening(file: SceneFile, built: BuiltSet, wall: str, onto: str, patch: str, shape: str, bars: str | None, lamp: str | None) -> AskedOpening:
    """
    Return where an opening must be cut for a lamp that stands already.

    Parameters
    ----------
    wall, onto, patch, shape, bars, lamp
        As typed: "attic.east", a target on a flat face, "60x45", an opening's shape, "2x3,4" for columns x rows and the
        bars' width, and a lamp's name or None for the first.

    Raises
    ------
    OptionFault
        For a name that the scene does not have, or a size that is none.
    """
    scene = file.scene
    number = _named("lamp", lamp, [row.name for row in scene.lamp])
    if shape not in SHAPES:
        raise OptionFault(f"--shape {shape}: an opening is cut as {', '.join(SHAPES)}", "Leave it out for rect.")
    size = _numbers("--patch", patch, "60x45", 2)
    want = wanted(scene, wall, target(built, onto), size, shape, _bars(bars))
    return AskedOpening(file, scene.lamp[number].name, wall, onto, open_for(scene, built, built.folder, emitters(scene, built)[number], want))


@dataclass(frozen=True)
class AskedLayout:
    """What was found for `shafts` on `onto`, at least `contrast` stops plain; `best` is how near the search came, 0 is there."""

    file: SceneFile
    number: int
    onto: str
    shafts: int
    contrast: float
    proposals: tuple[Proposal, ...]
    best: float

    @property
    def text(self) -> str:
        """For a person, 80 columns wide."""
        return layout_text(self.file.scene.lamp[self.number].name, self.onto, self.shafts, self.contrast, self.proposals, self.best)

    @property
    def solved(self) -> bool:
        """Whether any shows its shafts as plainly as was asked."""
        return any(proposal.least_stops >= self.contrast for proposal in self.proposals)

    @property
    def values(self) -> dict:
        """For a program."""
        return layout_values(self.file.scene.lamp[self.number].name, self.onto, self.shafts, self.contrast, self.proposals)

    def scenes(self) -> list[str]:
        """Return the scene file's text with each proposal in it."""
        return [proposal_text(self.file.text, proposal, self.number) for proposal in self.proposals]


def ask_for_layout(
    file: SceneFile, built: BuiltSet, onto: str, shafts: int, contrast: float, dark: Sequence[str], free: str | None, lamp: str | None, shot: str | None,
    *, workers: int | None = None, watch=None,
) -> AskedLayout:  # fmt: skip
    """
    Return layouts of lamp and openings that give so many shafts on a target.

    Parameters
    ----------
    free : str or None
        Names of the openings that may be moved, with commas between; all that stand by themselves.
    shot : str or None
        The shot in whose middle the shafts are looked at; the first.

    Raises
    ------
    OptionFault
        For a name that the scene does not have, or a number that is none.
    """
    scene = file.scene
    number = _named("lamp", lamp, [row.name for row in scene.lamp])
    looked = scene.shot[_named("shot", shot, [row.name for row in scene.shot])]
    if not 1 <= shafts <= 20:
        raise OptionFault(f"--shafts {shafts}: it is a number of openings, 1 to 20", "Write it like --shafts 3.")
    alone = typed_openings(file.text)
    chosen = tuple(alone) if free is None else tuple(part.strip() for part in free.split(",") if part.strip())
    for name in chosen:
        if name not in alone:
            raise OptionFault(f"--free {name}: there is no opening of that name that stands by itself", f"There are {', '.join(alone)}.")
    emitter = emitters(scene, built)[number]
    search = Search(Ground.of(scene, built, emitter, [looked]), emitter, Request(shafts, target(built, onto), tuple(target(built, text) for text in dark), chosen))
    found, best = layouts(search, built.folder, progress=watch("layouts") if watch else None)
    seen = proposed(found, built.folder, looked, scene.lamp[number].name, workers=workers, progress=watch("pictures") if watch else None)
    return AskedLayout(file, number, onto, shafts, contrast, tuple(seen), best)


@dataclass(frozen=True)
class AskedTolerance:
    """How exact one must be with a lamp of a scene, for a wish and a shot."""

    lamp: str
    wish: str
    shot: str | None
    off: Off
    found: Tolerance

    @property
    def text(self) -> str:
        """For a person, 80 columns wide."""
        return tolerance_text(self.lamp, self.wish, self.shot, self.off, self.found)

    @property
    def values(self) -> dict:
        """For a program."""
        return tolerance_values(self.lamp, self.wish, self.shot, self.off, self.found)


def ask_for_tolerance(file: SceneFile, built: BuiltSet, text: str, lamp: str | None, shot: str | None, within_mm: float | None, *, workers=None, watch=None) -> AskedTolerance:
    """
    Return how far lamp, cut, haze and rail may be off for a wish as typed, as they stand in the scene.

    Parameters
    ----------
    lamp, shot : str or None
        Their names; the first lamp, and the first shot where there is one.
    within_mm : float or None
        How far the middle of the light may be off.
    watch : callable, optional
        Given a label, returns a function called with the share done.

    Raises
    ------
    OptionFault
        For a name that the scene does not have, or where no light lands.
    """
    scene = file.scene
    if within_mm is not None and not 0 < within_mm < 1000:
        raise OptionFault(f"--within {within_mm:g}: that is no distance to be off by", "Give millimetres above 0, like --within 5.")
    number = _named("lamp", lamp, [row.name for row in scene.lamp])
    chosen = scene.shot[_named("shot", shot, [row.name for row in scene.shot])] if scene.shot or shot else None
    ticks = (watch("light"), watch("deviations")) if watch else (None, None)
    may_be = off(scene, built, text, number, chosen, within_mm, workers=workers, progress=ticks[0])
    found = tolerance(may_be.quantities, may_be.figures, scene.seed, ticks[1])
    return AskedTolerance(scene.lamp[number].name, text, chosen.name if chosen else None, may_be, found)


def _bars(text: str | None) -> dict | None:
    if text is None:
        return None
    columns, rows, width = _numbers("--bars", text, "2x3,4", 3)
    return {"columns": int(columns), "rows": int(rows), "width": width, "depth": width}


def _numbers(option: str, text: str, like: str, count: int) -> tuple[float, ...]:
    parts = text.lower().replace(",", "x").split("x")
    try:
        values = tuple(float(part) for part in parts)
    except ValueError:
        values = ()
    if len(values) != count or not all(0 < value < 10_000 for value in values):
        raise OptionFault(f"{option} {text}: that is not {count} sizes", f"Write it like {option} {like}.")
    return values


def _named(kind: str, name: str | None, known: list[str]) -> int:
    if not known:
        raise OptionFault(f"the scene has no {kind}", f"Add a [[{kind}]].")
    if name is None:
        return 0
    if name not in known:
        raise OptionFault(f'--{kind} "{name}": the scene has no {kind} of that name', f"It has {', '.join(known)}.")
    return known.index(name)
