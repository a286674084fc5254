"""
Values of the scene file: the numbers, points, names and colours that keys take, and the table that holds them.

Takes plain values; gives checked ones, each finite and in range. Knows no table of the file.
"""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

FARTHEST_MM = 100_000.0

Length = Annotated[float, Field(gt=0, le=FARTHEST_MM)]
Offset = Annotated[float, Field(ge=0, le=FARTHEST_MM)]
Coordinate = Annotated[float, Field(ge=-FARTHEST_MM, le=FARTHEST_MM)]
Degrees = Annotated[float, Field(ge=-360, le=360)]
Tilt = Annotated[float, Field(ge=-90, le=90)]
Share = Annotated[float, Field(ge=0, le=1)]
Point2 = tuple[Coordinate, Coordinate]
Point3 = tuple[Coordinate, Coordinate, Coordinate]
Outline2 = Annotated[tuple[Point2, ...], Field(min_length=3, max_length=2000)]


def plain_name(name: str) -> str:
    """Return `name`; raise ValueError where it could not be told apart inside `room.wall`."""
    if not name.strip() or "." in name or len(name) > 80 or not name.isprintable():
        raise ValueError("a name is 1 to 80 printable characters without a full stop")
    return name


Name = Annotated[str, AfterValidator(plain_name)]


def hex_colour(text: str) -> str:
    """Return `text`; raise ValueError where it is no colour."""
    if not re.fullmatch(r"#[0-9a-fA-F]{6}", text):
        raise ValueError('a colour is written "#rrggbb", six hexadecimal digits after #')
    return text


Colour = Annotated[str, AfterValidator(hex_colour)]
TintRow = Annotated[tuple[Colour, ...], Field(min_length=1, max_length=100)]
TintRows = Annotated[tuple[TintRow, ...], Field(min_length=1, max_length=100)]


def in_order(pair: tuple[float, float]) -> tuple[float, float]:
    """Return `pair`; raise ValueError where its first is above its second."""
    if pair[0] > pair[1]:
        raise ValueError("the first is the least, the second the most")
    return pair


class Table(BaseModel):
    """
    A table of the scene file: unknown keys are faults, values are frozen.

    The reader validates strictly (text never becomes a number, true never 1); code that builds a table may pass lists.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True, str_max_length=4000)
