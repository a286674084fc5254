"""
The scene as one shot sees it: its lamps and its haze where they differ from the file's.

Takes a scene and a shot; gives the scene with that shot's changes made. Also the rules on such changes, as for all cross
references: takes a Draft, gives Problems. The set itself is the same in every shot, so what is stored about it stays true.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from previz.scene.draft import Draft, Problem, is_name, listed, nearest, quoted
from previz.scene.kit import INSTEAD
from previz.scene.model import Lamp, Scene, Shot
from previz.scene.values import Table

_NEAR_MM = 1e-3


def scene_of(scene: Scene, shot: Shot) -> Scene:
    """
    Return `scene` as `shot` sees it: lamps that are out left away, others changed, haze changed; `scene` itself where the shot changes nothing.

    What one key says instead of another takes its place: `candela` that of `lux_at_1m`. Changing a changed scene again changes nothing.
    """
    if not shot.lamps and shot.haze is None:
        return scene
    lamps = tuple(_lamp_of(lamp, shot) for lamp in scene.lamp if shot.lamps.get(lamp.name, True) is not False)
    haze = scene.haze if shot.haze is None else changed("haze", scene.haze, shot.haze)
    return scene.model_copy(update={"lamp": lamps, "haze": haze})


def _lamp_of(lamp: Lamp, shot: Shot) -> Lamp:
    change = shot.lamps.get(lamp.name, True)
    return lamp if isinstance(change, bool) else changed("lamp", lamp, change)


def changed(table: str, row: Table, change: Table) -> Table:
    """Return a row with the keys that `change` sets written on top, what they stand instead of gone back to its default."""
    update = {key: getattr(change, key) for key in change.model_fields_set}
    for group in INSTEAD.get(table, ()):
        if any(key in update for key in group):
            update |= {key: type(row).model_fields[key].get_default() for key in group if key not in update}
    return row.model_copy(update=update)


def changes_refer(draft: Draft) -> Iterator[Problem]:
    """A shot changes lamps that there are, and points them at what there is."""
    lamps, things = draft.names_typed("lamp"), draft.names_typed("opening", "prop")
    for i, shot in draft.typed_rows("shot"):
        changes = shot.get("lamps")
        for name, change in changes.items() if isinstance(changes, dict) else ():
            path = ("shot", i, "lamps", name)
            if name not in lamps:
                close = nearest(name, lamps)
                remedy = f'Did you mean "{close}"?' if close else f"Lamps here: {quoted(lamps)}." if lamps else "Add a [[lamp]] of that name."
                yield Problem(path, "there is no lamp of that name", remedy, "", True)
            toward = change.get("toward") if isinstance(change, dict) else None
            if is_name(toward) and toward not in things:
                close = nearest(toward, things)
                remedy = f'Did you mean "{close}"?' if close else f"Names here: {quoted(things)}." if things else "Give a point [x, y, z]."
                yield Problem((*path, "toward"), "there is no opening or prop of that name", remedy)


def changes_say_one(draft: Draft) -> Iterator[Problem]:
    """A change says each thing once, and nothing that is known already from a file or a meter."""
    lamps = {lamp.name: lamp for _, lamp in draft.rows.get("lamp", [])}
    for i, shot in draft.rows.get("shot", []):
        if shot.haze is not None:
            yield from _twice("haze", shot.haze, ("shot", i, "haze"))
        for name, change in shot.lamps.items():
            path = ("shot", i, "lamps", name)
            if not isinstance(change, bool):
                yield from _twice("lamp", change, path)
                yield from _against(lamps[name], change, path) if name in lamps else ()


def _twice(table, change, path):
    for group in INSTEAD.get(table, ()):
        given = [key for key in group if key in change.model_fields_set]
        for key in given[1:]:
            yield Problem((*path, key), f"{given[0]} says this already", f"Keep one of {listed(group, ' and')}.", None, True)


def _against(lamp, change, path):
    """What a lamp cannot become."""
    if lamp.kind == "ies" and "beam" in change.model_fields_set:
        yield Problem((*path, "beam"), "the photometric file says this already", "Take beam out.", None, True)
    if lamp.measured:
        for key in INSTEAD["lamp"][0]:
            if key in change.model_fields_set:
                yield Problem((*path, key), "a meter's readings set this lamp's level", "Use dim or gel for this shot.", None, True)
    new = changed("lamp", lamp, change)
    if isinstance(new.toward, tuple) and math.dist(new.toward, new.at) < _NEAR_MM:
        key = "toward" if "toward" in change.model_fields_set else "at"
        yield Problem((*path, key), "the lamp would stand at the point that it shines at", "Give another place, or another point to shine at.")
    if new.kelvin is None and new.gel_mired:
        yield Problem((*path, "gel" if "gel" in change.model_fields_set else "colour"), "mired shift a colour given in kelvin, and this lamp's is not", "Leave mired out, or give the colour in kelvin.")


RULES = (changes_refer, changes_say_one)
