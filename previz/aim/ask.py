"""
A question asked backwards, as typed: names looked up, the question put, the answer ready to print or to write.

Takes a scene file, its built set and what was typed; gives what was found with its text, its plain values and the scene
file changed by it. Knows nothing of terminals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from previz.aim.lamp import Found, aim
from previz.aim.limits import Ground
from previz.aim.wishes import Wish, target, wish
from previz.aim.words import aim_text, aim_values, lamp_changes
from previz.build.built import BuiltSet
from previz.light.lamps import emitters
from previz.scene.faults import OptionFault
from previz.scene.read import SceneFile
from previz.scene.rewrite import rewritten


@dataclass(frozen=True)
class Asked:
    """What was found for lamp `number` of a scene file."""

    file: SceneFile
    ground: Ground
    number: int
    wishes: tuple[Wish, ...]
    found: Found

    @property
    def text(self) -> str:
        """For a person, 80 columns wide."""
        return aim_text(self.ground, self.file.scene.lamp[self.number].name, self.wishes, self.found)

    @property
    def values(self) -> dict:
        """For a program."""
        return aim_values(self.ground, self.file.scene.lamp[self.number].name, self.wishes, self.found)

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
    return Asked(file, ground, number, wanted, aim(ground, emitter, wanted, tuple(target(built, text) for text in dark)))


def _named(kind: str, name: str | None, known: list[str]) -> int:
    if not known:
        raise OptionFault(f"the scene has no {kind}", f"Add a [[{kind}]].")
    if name is None:
        return 0
    if name not in known:
        raise OptionFault(f'--{kind} "{name}": the scene has no {kind} of that name', f"It has {', '.join(known)}.")
    return known.index(name)
