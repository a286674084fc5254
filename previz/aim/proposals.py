"""
Layouts as proposals: each lit, looked at through the lens, and ready to be written as a scene file with its picture.

Takes layouts that were found and a shot; gives the contrast that each shaft has in the middle of it. Judges by the same figures
as `previz check`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from previz.aim.layout import Layout
from previz.build.assemble import build_set
from previz.check.shaft import SIZE, seen_shafts
from previz.frames.still import lit_at_roll, still, view_of
from previz.rays.lit import light_set
from previz.rig.moves import plan_move
from previz.scene.model import Shot
from previz.scene.rewrite import rewritten

PICTURE = (640, 360)
_TEXELS, _RAYS = 12_000, 96
"""A proposal is lit coarser than a picture that is kept: its figures are within a few hundredths of a stop (own choice)."""


@dataclass(frozen=True)
class Proposal:
    """A layout; the contrast of each of its shafts in the middle of the shot, by opening [stops]; and its picture (rows, columns, 3) uint8."""

    layout: Layout
    contrast_stops: dict[str, float]
    rgb: np.ndarray

    @property
    def least_stops(self) -> float:
        """Of the shaft that shows least. [stops]"""
        return min(self.contrast_stops.values())


def proposed(layouts: Iterable[Layout], folder, shot: Shot, lamp: str, *, workers: int | None = None, progress: Callable[[float], None] | None = None) -> list[Proposal]:
    """Return each layout lit and looked at, the plainest shafts first."""
    layouts, found = list(layouts), []
    for number, layout in enumerate(layouts, start=1):
        built = build_set(layout.scene, folder)
        lit = lit_at_roll(light_set(layout.scene, built, texels=_TEXELS, rays=_RAYS, workers=workers), shot)
        move = plan_move(layout.scene, shot, built)
        middle = move.take_s / 2
        seen = seen_shafts(lit, view_of(lit, move, middle, SIZE), workers)
        stops = {opening: seen[lamp, opening].contrast_stops if (lamp, opening) in seen else 0.0 for opening in layout.lands_mm2}
        found.append(Proposal(layout, stops, still(lit, shot, move, middle, PICTURE, quality="draft", workers=workers).rgb))
        if progress:
            progress(number / len(layouts))
    return sorted(found, key=lambda proposal: -proposal.least_stops)


def proposal_text(text: str, proposal: Proposal, lamp: int) -> str:
    """Return the scene file's `text` with a proposal's lamp and openings in it, everything else as typed."""
    changed = proposal.layout.scene.lamp[lamp]
    changes: dict = {("lamp", lamp, "at"): list(changed.at), ("lamp", lamp, "toward"): list(changed.toward)}
    rows = typed_openings(text)
    changes |= {("opening", rows[opening.name], "at"): list(opening.at) for opening in proposal.layout.openings}
    return rewritten(text, changes)


def typed_openings(text: str) -> dict[str, int]:
    """Return the number of each [[opening]] by the name that is typed; the members of a row made with `repeat` have none of their own."""
    return {row.get("name"): number for number, row in enumerate(tomllib.loads(text).get("opening", [])) if "repeat" not in row}
