"""
`previz export`: the set, the light and the moves as files that other programs read.

Takes a lit set; writes glTF, USD, the moves as CSV and JSON, and the patches as JSON and DXF, each whole or not at all.

    set.glb, set.usda          SHOT-move.csv, SHOT-move.json          patches.json, patches.dxf
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from previz.check.folder import file_stems, write_text
from previz.check.study import light_along
from previz.frames.still import lit_at_roll
from previz.rays.patches import patches
from previz.rig.moves import plan_move
from previz.scene.faults import OptionFault
from previz.scene.files import outside, replacing
from previz.sheets.export_gltf import set_glb
from previz.sheets.export_move import move_csv, move_json
from previz.sheets.export_patches import patches_dxf, patches_json
from previz.sheets.export_usd import set_usda, usd_is_there

KINDS = ("gltf", "usd", "csv", "json", "patches")


def wanted_kinds(text: str | None) -> tuple[str, ...]:
    """Return the kinds of "gltf,csv", or all that can be written here; OptionFault where one is none, or needs what is not installed."""
    if text is None:
        return tuple(kind for kind in KINDS if kind != "usd" or usd_is_there())
    names = tuple(dict.fromkeys(name.strip().lower() for name in text.split(",")))
    for name in names:
        if name not in KINDS:
            raise OptionFault(f"--only {text}: {name!r} is not one of {', '.join(KINDS)}", "Write it like --only gltf,csv.")
    if "usd" in names and not usd_is_there():
        raise OptionFault("--only usd: the library that writes USD is not installed", 'Install it with pip install "previz[usd]" (157 MB), or leave usd out.')
    return names


def write_open_files(lit, folder: Path, *, kinds: tuple[str, ...] = KINDS, tick: Callable[[float], None] | None = None) -> list[Path]:
    """
    Write the files of `kinds` into `folder`; return their paths in the order written.

    Parameters
    ----------
    lit : LitSet
        Scene, built set and lamps; patches ask it for direct light only.
    tick : callable, optional
        Called with the share done.
    """
    moves = [(shot, plan_move(lit.scene, shot, lit.built)) for shot in lit.scene.shot]
    contents = list(_contents(lit, moves, kinds))
    for done, (name, content) in enumerate(contents, start=1):
        _write(folder / name, content())
        if tick:
            tick(done / len(contents))
    return [folder / name for name, _ in contents]


def _contents(lit, moves, kinds):
    """Yield the name of each file with what gives its text or bytes."""
    scene = lit.scene
    stems = file_stems(shot.name for shot, _ in moves)
    if "gltf" in kinds:
        yield "set.glb", lambda: set_glb(lit, moves)
    if "usd" in kinds:
        yield "set.usda", lambda: set_usda(lit, moves)
    for kind, written in (("csv", move_csv), ("json", move_json)):
        if kind in kinds:
            yield from ((f"{stems[shot.name]}-move.{kind}", lambda shot=shot, move=move, written=written: written(lit, lit_at_roll(lit, shot), shot, move)) for shot, move in moves)
    if "patches" in kinds:
        found = patches(lit.built, lit.emitters, lit)
        own = [(shot, then) for shot, move in moves for then in light_along(lit_at_roll(lit, shot), shot, move)]
        yield "patches.json", lambda: patches_json(scene, found, own)
        yield "patches.dxf", lambda: patches_dxf(scene, found, own)


def _write(path: Path, content: str | bytes) -> None:
    if isinstance(content, str):
        return write_text(path, content)
    with replacing(path) as temporary, outside(path):
        temporary.write_bytes(content)
