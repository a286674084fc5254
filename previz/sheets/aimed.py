"""
A map of where a lamp may stand: the set from above, the places that do, and the answers by number.

Takes what was asked and found; gives a drawing. Light is the one accent: where it is pale the target is somewhere in the
light, and along the answers the middle of the light lands on it.
"""

from __future__ import annotations

import numpy as np
import shapely

from previz.aim.ask import Asked
from previz.sheets.drawing import Drawing
from previz.sheets.labels import Label
from previz.sheets.leaves import AMBER, INK, LIGHT, SOFT
from previz.sheets.plan import plan_level
from previz.sheets.projected import ABOVE, seen_flat, seen_set
from previz.sheets.window import caption, datum, dot, figures_below, figures_beside, name_beside, page_for, page_window

_CELLS = 60
"""Steps of the map over its longer side: how fine the region is drawn (own choice)."""
_MARGIN = 0.04


def aim_map(asked: Asked, page: tuple[float, float]) -> Drawing:
    """Return the map of a question that was asked for a lamp, as large as a page lying on its side. [mm]"""
    ground, answers = asked.ground, asked.found.answers
    lamp = ground.scene.lamp[asked.number]
    places, does = asked.region
    shown = np.concatenate([ground.built.bounds, places[does], *(answer.at[None] for answer in answers), np.array([lamp.at])])
    flat = seen_flat(ABOVE, shown)
    margin = _MARGIN * np.ptp(flat, axis=0).max()
    drawing = page_for("aim-map", f"Where {lamp.name} may stand: {', '.join(f'{w.through} > {w.onto.name}' for w in asked.wishes)}", page)
    window = page_window(drawing, ABOVE, np.array([flat.min(axis=0) - margin, flat.max(axis=0) + margin]), below=True, left=True)
    drawing.geometry(window.geometry(_spread(places[does], np.ptp(flat, axis=0).max() / _CELLS)), pen=0.1, colour=AMBER, fill=LIGHT)
    seen = seen_set(ground.built, ABOVE, plan_level(ground.scene, ground.built))
    drawing.geometry(window.geometry(seen.lines), pen=0.1, colour=SOFT)
    drawing.cut(window.geometry(seen.cut), pen=0.25)
    labels = [Label("datum", tuple(window.at([[0, 0, 0]])[0]))]
    labels += [Label(f"target: {wish.onto.name}", tuple(window.at([wish.onto.point])[0])) for wish in asked.wishes]
    for wish in asked.wishes:
        for answer in answers[:1]:
            drawing.line(window.at([answer.at, wish.onto.point]), pen=0.25, colour=AMBER, dash="dashed")
    for number, answer in enumerate(answers, start=1):
        at = window.at([answer.at])[0]
        dot(drawing, at, 1.3, pen=0.3, colour=AMBER, fill="#ffffff")
        labels.append(Label(f"{number}: {answer.at[2] - ground.floor_z:.0f} above floor", tuple(at)))
    now = window.at([lamp.at])[0]
    dot(drawing, now, 0.9, pen=0.25, colour=INK, fill=INK)
    labels.append(Label(f"{lamp.name} as it stands", tuple(now)))
    datum(drawing, window)
    name_beside(drawing, window, labels, left=True)
    figures_below(drawing, window, [(0.0, "0 datum"), *((a.at[0], f"{a.at[0]:.0f} for {i}") for i, a in enumerate(answers, start=1))], "from the datum along x")
    figures_beside(drawing, window, [(0.0, "0 datum"), *((a.at[1], f"{a.at[1]:.0f} for {i}") for i, a in enumerate(answers, start=1))], "from the datum along y")
    none = "" if answers else f" No place does: {asked.found.obstacle.says}."
    caption(drawing, window, f"Seen from above. Pale: places, at some height, from which the target is in the light.{none}")
    return drawing


def _spread(places: np.ndarray, step: float) -> shapely.Geometry:
    """Return the area that places (n, 3) cover seen from above, on a grid of `step`, smoothed. [mm]"""
    cells = np.unique(np.round(places[:, :2] / step).astype(int), axis=0) * step
    squares = shapely.box(cells[:, 0] - 0.75 * step, cells[:, 1] - 0.75 * step, cells[:, 0] + 0.75 * step, cells[:, 1] + 0.75 * step)
    whole = shapely.union_all(squares)
    return shapely.buffer(shapely.buffer(whole, step), -step)
