"""
Kit by name: pieces that stand on a shelf, written once in a kit file and named in scenes.

Takes the plain values of a scene file that name pieces (`body = "NAME"`, `lens = {kit = "NAME", stop = 22}`, `kit = "NAME"`
in a lamp); gives the values with the pieces written out, what the scene types itself on top. Pieces are looked for in the
folder kit/ beside the scene file, then among the packaged examples. A kit file holds tables `[lens."NAME"]`; a piece may
begin from another one with `kit = "OTHER"`.

Knows nothing of what the values mean: the scene's checks see the whole, and faults in a kit file have its own lines.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from previz.scene.draft import Problem, is_name, nearest, quoted
from previz.scene.explain import keys_of, row_class, single_class, table_problems
from previz.scene.faults import Fault, SceneFaults
from previz.scene.located import located
from previz.scene.marks import Marks
from previz.scene.model import KINDS
from previz.scene.syntax import values_of
from previz.scene.text import text_of

TABLES = ("body", "lens", "slider", "lift", "lamp")
"""The tables of a scene whose pieces may come from a shelf."""

PLACED = {"slider": ("from", "to", "rides"), "lamp": ("name", "at", "toward", "rides", "measured")}
"""What only a scene can say: where a piece stands there, and what was measured there."""

INSTEAD = {"lamp": (("lux_at_1m", "candela", "lumens"),), "lens": (("stop", "t_stop"), ("focusing", "macro")), "haze": (("extinction", "visibility"), ("g", "droplets"))}
"""Keys that say the same thing in several ways: one written on top takes the others of its group away. A T-number belongs to its stop."""

MOST_FILES = 100
FOLDER = "kit"


@dataclass(frozen=True)
class Piece:
    """
    One piece of kit as it stands in its file.

    table, name  "lens", "20 mm probe"
    values       as typed, `kit` left in
    shelf        the file
    """

    table: str
    name: str
    values: dict
    shelf: "Shelf"

    @property
    def line(self) -> int:
        """Line of its header in the file, from 1."""
        return self.line_of(())

    def line_of(self, keys: tuple) -> int:
        """Return the line of one of its keys, else of its header."""
        _, mark = self.shelf.marks.nearest((self.table, self.name, *keys))
        return self.shelf.marks.line_at(mark.key[0]) if mark else 0


@dataclass(frozen=True)
class Shelf:
    """One kit file: its path, marks and plain values; `example` for those that come with previz."""

    path: Path
    marks: Marks
    typed: dict
    example: bool

    def pieces(self) -> Iterator[Piece]:
        """Yield its pieces in the order of the file."""
        for table in TABLES:
            for name, values in self.typed.get(table, {}).items():
                yield Piece(table, name, values, self)

    def fault(self, table: str, name: str, keys: tuple, allowed: str, remedy: str, found: str | None = None, on_key: bool = False) -> Fault:
        """Return a fault about a piece, or about one of its keys."""
        called = " ".join([f'[{table}."{name}"]', ".".join(key for key in keys if isinstance(key, str))]).rstrip()
        return located(Problem((table, name, *keys), allowed, remedy, found, on_key), self.path, self.marks, self.typed, called)


def example_folder() -> Path:
    """Return the folder of the examples that come with previz: in the package, or in the source tree that it runs from."""
    packaged = Path(__file__).parent / "examples"
    return packaged if packaged.is_dir() else Path(__file__).parents[2] / "scenes" / FOLDER


def shelves(folder: Path) -> tuple[list[Shelf], list[Fault]]:
    """
    Return the kit files for scenes in `folder`, those of its own kit/ first, and what is wrong with them.

    Files are read in the order of their names. The examples come last, and are not read twice where `folder` is their own.
    """
    own, examples = Path(folder) / FOLDER, example_folder()
    found, faults = [], []
    for place in [own, *([examples] if own.resolve() != examples.resolve() else [])]:
        for path in sorted(place.glob("*.toml"))[:MOST_FILES] if place.is_dir() else ():
            shelf, wrong = _shelf(path, place.resolve() == examples.resolve())
            faults += wrong
            if shelf:
                found.append(shelf)
    return found, faults + _twice(found)


def _shelf(path, example):
    """(the kit file, None where it cannot be read; what is wrong with its layout)."""
    try:
        typed, marks = values_of(text_of(path), path)
    except SceneFaults as faults:
        return None, faults.faults
    faults = [located(problem, path, marks, typed, f"[{problem.path[0]}]") for problem in _layout_problems(typed)]
    sound = {table: {n: v for n, v in pieces.items() if is_name(n) and isinstance(v, dict)} for table, pieces in typed.items() if isinstance(pieces, dict)}
    return Shelf(path, marks, sound, example), faults


def _layout_problems(typed):
    """A kit file holds named pieces and nothing else."""
    for table, pieces in typed.items():
        header = f'[{table}."NAME"]'
        if table not in TABLES:
            close = nearest(table, TABLES)
            remedy = f"Did you mean {close}?" if close else "A kit file holds " + ", ".join(f"[{name}.NAME]" for name in TABLES) + "."
            yield Problem((table,), "is no table of a kit file", remedy, "", True)
        elif not isinstance(pieces, dict):
            yield Problem((table,), f"a kit file names each piece: {header}", f"Write {header} on a line of its own, then its keys.", "", True)
        else:
            for name, values in pieces.items():
                if not isinstance(values, dict):
                    yield Problem((table, name), f"a kit file names each piece: {header}", f"Write {header} above its keys.", "", True)
                elif not is_name(name):
                    yield Problem((table, name), "a name is 1 to 80 printable characters without a full stop", "Give it a shorter, plain name.", "", True)


def _twice(shelves):
    """Two files of one folder that name the same piece."""
    seen: dict[tuple, Piece] = {}
    faults = []
    for piece in (piece for shelf in shelves for piece in shelf.pieces()):
        key = (piece.table, piece.name, piece.shelf.path.parent)
        first = seen.setdefault(key, piece)
        if first is not piece:
            says = f"{first.shelf.path.name} has this name already, on line {first.line}"
            faults.append(piece.shelf.fault(piece.table, piece.name, (), says, "Keep one of the two, or give it another name.", "", True))
    return faults


class Kit:
    """
    The pieces that scenes of one folder can name.

    Parameters
    ----------
    folder : Path
        Of the scene file.

    Raises
    ------
    SceneFaults
        If a kit file cannot be read or holds something else than named pieces.
    """

    def __init__(self, folder: Path):
        found, faults = shelves(folder)
        if faults:
            raise SceneFaults(faults)
        self._folder = Path(folder)
        self.pieces: dict[tuple[str, str], Piece] = {}
        for piece in (piece for shelf in found for piece in shelf.pieces()):
            self.pieces.setdefault((piece.table, piece.name), piece)

    def names(self, table: str) -> list[str]:
        """Return the names of the pieces of one table."""
        return [name for kind, name in self.pieces if kind == table]

    def whole(self, table: str, name: str) -> tuple[dict, dict[str, Piece]]:
        """
        Return a piece written out, those that it begins from first, and which piece each key comes from.

        Raises
        ------
        KeyError
            If there is no such piece.
        SceneFaults
            With everything that is wrong with it in its own file.
        """
        chain = self._chain(table, name)
        values: dict = {}
        origin: dict[str, Piece] = {}
        for piece in reversed(chain):
            own = {key: value for key, value in piece.values.items() if key != "kit"}
            values = on_top(table, values, own)
            origin |= dict.fromkeys(own, piece)
        if faults := [fault for piece in chain for fault in _piece_faults(piece, values)]:
            raise SceneFaults(faults)
        if table == "lamp" and "file" in values:
            values["file"] = self._seen_from_scene(origin["file"].shelf.path.parent / values["file"])
        return values, {key: piece for key, piece in origin.items() if key in values}

    def _chain(self, table, name):
        """The piece, the one that it begins from, and so on."""
        chain = [self.pieces[table, name]]
        while "kit" in (last := chain[-1]).values:
            base = last.values["kit"]
            if not isinstance(base, str) or (table, base) not in self.pieces:
                raise SceneFaults([last.shelf.fault(table, last.name, ("kit",), *_no_such(table, base, self.names(table)))])
            if base in [piece.name for piece in chain]:
                says = "begins from itself: " + " > ".join([*(piece.name for piece in chain), base])
                raise SceneFaults([last.shelf.fault(table, last.name, ("kit",), says, "Write the keys of one of them out, and take its kit away.")])
            chain.append(self.pieces[table, base])
        return chain

    def _seen_from_scene(self, path):
        """A path as the scene file would write it."""
        return path.relative_to(self._folder).as_posix() if path.is_relative_to(self._folder) else str(path.resolve())


def _no_such(table, name, names):
    """(what is wrong, remedy) where a name is not on any shelf."""
    if not isinstance(name, str):
        return f"must be the name of a {table} in the kit, in quotes", "`previz kit` lists what there is."
    close = nearest(name, names)
    remedy = f'Did you mean "{close}"?' if close else f"The kit has {quoted(names)}; `previz kit` lists it." if names else f'Add [{table}."{name[:40]}"] to a file in {FOLDER}/.'
    return f"there is no {table} of that name in the kit", remedy


def _piece_faults(piece, whole):
    """What is wrong with a piece by itself: keys that do not belong, values that cannot be."""
    table, placed = piece.table, PLACED.get(piece.table, ())
    where, path = f'[{table}."{piece.name}"]', (table, piece.name)
    for key in piece.values:
        if key in placed:
            yield piece.shelf.fault(table, piece.name, (key,), "belongs in the scene, not on the shelf", f"Take {key} out here, and write it where the scene uses this piece.", "", True)
    values = {key: value for key, value in piece.values.items() if key not in placed}
    model = (row_class(table, whole) or KINDS[table][0]) if table in KINDS else single_class(table)
    kinds = {key for _, classes in [KINDS[table]] for cls in classes.values() for key in keys_of(cls)} if table in KINDS else set()
    for problem in table_problems(model, values, path, where):
        if problem.path == path or (model is KINDS.get(table, (None,))[0] and problem.path[2] in kinds):
            continue  # A piece need not say everything, and one that has no kind yet is checked where it gets one.
        yield piece.shelf.fault(table, piece.name, problem.path[2:], problem.allowed, problem.remedy, problem.found, problem.on_key)


def on_top(table: str, below: dict, above: dict) -> dict:
    """Return the values of `below` with those of `above` written on top, what they stand instead of taken away."""
    kept = dict(below)
    for group in INSTEAD.get(table, ()):
        if any(key in above for key in group):
            for key in group:
                kept.pop(key, None)
    return {**kept, **above}


@dataclass(frozen=True)
class Equipped:
    """
    The plain values of a scene with its kit written out.

    typed     tables of every piece as if they had been typed in the scene
    problems  names that are on no shelf
    faults    what is wrong in kit files
    origin    piece by key path of the scene, for values that come from the shelf
    """

    typed: dict
    problems: list[Problem]
    faults: list[Fault]
    origin: dict[tuple, Piece]

    def sourced(self, problem: Problem) -> Problem:
        """Return a problem about a value from the shelf with where that value stands."""
        for length in range(len(problem.path), 0, -1):
            piece = self.origin.get(problem.path[:length])
            if piece is not None:
                keys = problem.path[length - 1 :]
                return problem._replace(found=f'from "{piece.name}", {piece.shelf.path.name} line {piece.line_of(keys)}')
        return problem


def equipped(typed: dict, folder: Path) -> Equipped:
    """Return the plain values of a scene in `folder` with the kit that it names; kit files are read only where it names any."""
    result = Equipped(dict(typed), [], [], {})
    named = list(_named(result.typed))
    if not named:
        return result
    try:
        kit = Kit(folder)
    except SceneFaults as faults:
        return replace(result, faults=faults.faults)
    for path, table, values in named:
        _equip(result, kit, path, table, values)
    return result


def _named(typed):
    """Yield (key path, table, values) for every table of the scene that names a piece; `body = "NAME"` becomes a table."""
    for table in TABLES:
        if table == "lamp":
            rows = typed.get("lamp")
            if isinstance(rows, list):
                typed["lamp"] = list(rows)
                yield from ((("lamp", i), "lamp", row) for i, row in enumerate(rows) if isinstance(row, dict) and "kit" in row)
            continue
        if isinstance(typed.get(table), str):
            typed[table] = {"kit": typed[table]}
        if isinstance(typed.get(table), dict) and "kit" in typed[table]:
            yield (table,), table, typed[table]


def _equip(result, kit, path, table, values):
    """Write one piece out below what the scene types."""
    name = values["kit"]
    if not isinstance(name, str) or (table, name) not in kit.pieces:
        result.problems.append(Problem((*path, "kit"), *_no_such(table, name, kit.names(table))))
        return
    try:
        whole, origin = kit.whole(table, name)
    except SceneFaults as faults:
        result.faults.extend(fault for fault in faults.faults if fault not in result.faults)
        return
    merged = on_top(table, whole, values)
    if len(path) == 1:
        result.typed[table] = merged
    else:
        result.typed[table][path[1]] = merged
    result.origin.update({(*path, key): piece for key, piece in origin.items() if key not in values and key in merged})
