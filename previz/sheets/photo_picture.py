"""
A marked copy of a photo: what was marked, and where the set and its patches lie by the file.

Takes what was found and the built set; gives a picture: the photo, at most `LONGEST` pixels a side, the set's edges drawn over
it as the camera that was found sees them, points by number, patches as marked and as planned, and their names below.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import trimesh
from PIL import Image, ImageDraw

from previz.build.built import BuiltSet
from previz.camera.view import View
from previz.frames.contact import INK, PAPER, SOFT, Words, broken, cut_to, height_of, width_of
from previz.frames.lettering import printable
from previz.frames.outlines import AMBER, with_outlines
from previz.rays.tracer import Tracer
from previz.sheets.photo import FoundLamp, PhotoCheck
from previz.sheets.photo_words import move_words

LONGEST = 1600
"""Pixels of the photo's longer side in its copy (own choice)."""
SMOOTH = 2
"""Marks are drawn this many times larger and brought down, so that their edges are smooth."""
_CREASE = np.radians(30)
_SET, _MARK, _RIM = (214, 232, 240), (255, 255, 255), (20, 18, 15)
_TEXT, _MARGIN, _COLUMN = 17, 20, 390
_ROUND = ("lower left", "lower right", "upper right", "top", "upper left")


def marked_copy(check: PhotoCheck, built: BuiltSet) -> np.ndarray:
    """Return the marked copy, (rows, columns, 3) uint8 sRGB."""
    columns, rows = check.photo.size
    scale = min(1.0, LONGEST / max(columns, rows))
    size = max(1, round(columns * scale)), max(1, round(rows * scale))
    view = replace(check.camera.view, columns=size[0], rows=size[1])
    rgb = np.array(Image.fromarray(check.photo.rgb).resize(size, Image.Resampling.LANCZOS))
    rgb = with_outlines(rgb, view, _depth(view, built), _edges(built), _SET)
    page = Image.fromarray(rgb).resize((SMOOTH * size[0], SMOOTH * size[1]), Image.Resampling.BICUBIC)
    _draw_marks(ImageDraw.Draw(page), check, view, scale)
    picture = page.resize(size, Image.Resampling.LANCZOS)
    numbers = _numbers(check, scale, size)
    draw = ImageDraw.Draw(picture)
    for words in numbers:
        left, top, right, bottom = words.box
        draw.rectangle((left - 3, top - 1, right + 2, bottom), fill=_RIM)
        words.draw_on(draw)
    return np.vstack([np.array(picture), _legend(check, size[0])])


def _depth(view: View, built: BuiltSet) -> np.ndarray:
    """Return (rows, columns) depth of the set. [mm]"""
    x, y = np.meshgrid(np.arange(view.columns) + 0.5, np.arange(view.rows) + 0.5)
    ways = view.directions(x.ravel(), y.ravel())
    hits = Tracer(built.vertices, built.triangles).hit(np.broadcast_to(view.position, ways.shape), ways)
    return (hits.distance * (ways @ view.forward)).reshape(view.rows, view.columns)


def _edges(built: BuiltSet) -> list[np.ndarray]:
    """Return (2, 3) each edge of the set at which its surface turns. [mm]"""
    mesh = trimesh.Trimesh(built.vertices, built.triangles, process=False)  # Solids that touch would share edges, and lose them.
    return list(mesh.vertices[mesh.face_adjacency_edges[mesh.face_adjacency_angles > _CREASE]])


def _draw_marks(draw: ImageDraw.ImageDraw, check: PhotoCheck, view: View, scale: float) -> None:
    """Draw patches as planned, dashed, and as marked, and a ring round each point with a dot where the set has it."""
    for lamp in check.lamps:
        for patch, corners in lamp.patches:
            ring = sorted(corners, key=lambda corner: _ROUND.index(corner.name))
            x, y, _ = view.project(np.array([corner.planned for corner in ring]))
            _outline(draw, np.column_stack([x, y]), dashed=True)
            _outline(draw, np.array([corner.pixel * scale for corner in ring]), dashed=False)
    points = check.points.points
    seen = np.column_stack(view.project(np.array([point.at for point in points]))[:2])
    for point, at in zip(points, seen):
        _circle(draw, point.pixel * scale, 7, None, _MARK)
        _circle(draw, at, 2, _MARK, _MARK)


def _outline(draw: ImageDraw.ImageDraw, corners: np.ndarray, dashed: bool) -> None:
    """A line round a patch in the amber of light with a dark rim, and a dot at each of its corners; of two corners the line between."""
    if not np.isfinite(corners).all():
        return
    ends = np.roll(corners, -1, axis=0) if len(corners) > 2 else corners[1:]
    for start, end in zip(corners, ends):
        for a, b in _dashes(start, end) if dashed else [(start, end)]:
            for colour, width in ((_RIM, 4), (AMBER, 2)):
                draw.line([*(SMOOTH * a), *(SMOOTH * b)], fill=colour, width=SMOOTH * width)
    for corner in corners:
        _circle(draw, corner, 4, None if dashed else AMBER, AMBER if dashed else _RIM)


def _dashes(start: np.ndarray, end: np.ndarray, dash: float = 9.0, gap: float = 6.0):
    length = float(np.linalg.norm(end - start))
    for at in np.arange(0.0, min(length, 20_000.0), dash + gap):
        yield start + (end - start) * at / length, start + (end - start) * min(at + dash, length) / length


def _circle(draw: ImageDraw.ImageDraw, middle, radius: float, fill, line) -> None:
    if not np.isfinite(middle).all():
        return
    for grown, colour, width in ((1.0, _RIM, 4.0), (0.0, line, 2.0)):
        box = [*(SMOOTH * (np.asarray(middle) - radius - grown)), *(SMOOTH * (np.asarray(middle) + radius + grown))]
        draw.ellipse(box, fill=fill, outline=colour, width=round(SMOOTH * width))


def _numbers(check: PhotoCheck, scale: float, size: tuple[int, int]) -> list[Words]:
    """The number of each point beside its ring, where no other number or ring is."""
    rings = [point.pixel * scale for point in check.points.points]
    taken: list[tuple[float, float, float, float]] = [(x - 9, y - 9, x + 9, y + 9) for x, y in rings]
    lit = [corner.pixel * scale for lamp in check.lamps for _, corners in lamp.patches for corner in corners]
    taken += [(x - 6, y - 6, x + 6, y + 6) for x, y in lit]
    found = []
    for number, (x, y) in enumerate(rings, start=1):
        wide, high = width_of(str(number), _TEXT), height_of(_TEXT)
        places = [(x + dx * (wide / 2 + reach) - wide / 2, y + dy * (high / 2 + reach) - high / 2) for reach in (14, 30, 50) for dx, dy in ((1, -1), (1, 1), (-1, -1), (-1, 1), (0, -1), (0, 1))]
        fitting = [place for place in places if 4 <= place[0] <= size[0] - wide - 4 and 2 <= place[1] <= size[1] - high - 2]
        free = [place for place in fitting if not any(_meet((place[0] - 3, place[1] - 1, place[0] + wide + 3, place[1] + high + 1), box) for box in taken)]
        left, top = (free or fitting or places)[0]
        found.append(Words(str(number), left, top, _TEXT, _MARK))
        taken.append(found[-1].box)
    return found


def _meet(a, b) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _legend(check: PhotoCheck, columns: int) -> np.ndarray:
    """The strip below the photo: what the marks mean, the points by number, what to do."""
    wide = columns - 2 * _MARGIN
    lines = [("Pale lines: edges of the set by the file. Ring: as marked; dot in it: by the file. Amber: patch as marked; dashed: where the lamp of the file puts it.", SOFT)]
    lines += [(f"{lamp.planned.name}: {_move(lamp)}", INK) for lamp in check.lamps]
    across = max(1, wide // _COLUMN)
    listed = [f"{n}  {point.name}, {np.linalg.norm(off):.1f} pixels" for n, (point, off) in enumerate(zip(check.points.points, check.camera.off), start=1)]
    step, top, words = height_of(_TEXT) + 6, _MARGIN, []
    for text, colour in lines:
        for line in broken(printable(text), _TEXT, wide):
            words.append(Words(line, _MARGIN, top, _TEXT, colour))
            top += step
    top += step // 2
    for i, text in enumerate(listed):
        left = _MARGIN + (i % across) * (wide // across)
        words.append(Words(cut_to(printable(text), _TEXT, wide // across - 16), left, top + (i // across) * step, _TEXT, SOFT))
    bottom = top + -(-len(listed) // across) * step + _MARGIN
    page = Image.new("RGB", (columns, int(bottom)), PAPER)
    draw = ImageDraw.Draw(page)
    for one in words:
        one.draw_on(draw)
    return np.array(page)


def _move(lamp: FoundLamp) -> str:
    words = move_words(lamp)
    return words[0].lower() + words[1:]
