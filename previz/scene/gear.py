"""
The maker's kit as checked tables: body, lens, slider, lift, hands, table and stand.

Takes the plain values of a TOML file; gives frozen objects. Knows no set and no shot.
"""

from __future__ import annotations

from typing import Annotated, Literal, Union

from pydantic import AfterValidator, Field

from previz.scene.values import Coordinate, Degrees, Length, Name, Offset, Point2, Point3, Table, Tilt, in_order


class Body(Table):
    """The camera body."""

    kit: Union[Name, None] = Field(None, description="a piece of kit by its name, which says what is not written here")
    sensor: tuple[Length, Length] = Field((36.0, 24.0), description="[width, height], mm")
    crop: Annotated[float, Field(ge=1, le=20)] = Field(1.0, description="how much narrower the used width is than the sensor's at this frame rate")
    box: tuple[Length, Length, Length] = Field((130.0, 90.0, 80.0), description="[width, height, depth] of the body, mm")
    resolution: tuple[Annotated[int, Field(ge=16, le=16384)], Annotated[int, Field(ge=16, le=16384)]] = Field((1920, 1080), description="[columns, rows]")
    iso_max: Annotated[float, Field(gt=0, le=1e7)] = Field(3200.0, description="the highest that the maker accepts")
    coc: Union[Length, None] = Field(None, description="circle of confusion, mm; default sensor diagonal / 1500")

    @property
    def coc_mm(self) -> float:
        """Circle of confusion. [mm]"""
        return self.coc or (self.sensor[0] ** 2 + self.sensor[1] ** 2) ** 0.5 / 1500


class Macro(Table):
    """What a lens's maker says of it close up."""

    magnification: Annotated[float, Field(gt=0, le=25)] = Field(description="image size over object size; 1 is life size")
    distance: Offset = Field(description="mm from the front of the barrel to the object at which it has that")


class Lens(Table):
    """The lens, measured from the front of its barrel."""

    kit: Union[Name, None] = Field(None, description="a piece of kit by its name, which says what is not written here")
    focal: Length = Field(24.0, description="mm")
    widest: Annotated[float, Field(gt=0.3, le=200)] = Field(14.0, description="f-number wide open")
    stop: Union[Annotated[float, Field(gt=0.3, le=200)], None] = Field(None, description="f-number used; default widest")
    t_stop: Union[Annotated[float, Field(gt=0.3, le=200)], None] = Field(None, description="T-number at the stop used, where known")
    focusing: Union[Literal["unit", "internal"], None] = Field(
        None, description='"unit" (the lens moves as a whole, as a thin lens does) or "internal" (glass moves inside, as in most probe lenses: it sees as wide near as far); default unit'
    )
    macro: Union[Macro, None] = Field(None, description="{magnification, distance}: how large it draws close up, as published or measured, instead of focusing")
    falloff: Literal["none", "cos4"] = Field("none", description='"none", or "cos4": pictures get darker towards the corners by cos^4 of the angle from the axis')
    near: Offset = Field(20.0, description="closest focus from the front of the barrel, mm")
    pull_time: Union[Annotated[float, Field(gt=0, le=3600)], None] = Field(
        None, description="seconds that the focus motor takes from endless to closest focus, flat out; none is a motor that is quick enough"
    )
    pupil: Offset = Field(0.0, description="entrance pupil behind the front of the barrel, mm")
    barrel: Annotated[tuple[tuple[Length, Length], ...], Field(min_length=1, max_length=50)] = Field(
        ((250.0, 20.0), (100.0, 60.0)), description="[[length, diameter], ...] from the front back, mm"
    )


class Slider(Table):
    """The motorised slider: rail, carriage, pan."""

    kit: Union[Name, None] = Field(None, description="a piece of kit by its name, which says what is not written here")
    from_: Point3 = Field(alias="from", description="[x, y, z] of one end of the rail, mm")
    to: Point3 = Field(description="[x, y, z] of the other end, mm")
    length: Union[Length, None] = Field(None, description="mm that the carriage can travel on the rail as built; from and to lie no farther apart")
    max_speed: Length = Field(200.0, description="mm/s")
    max_accel: Length = Field(400.0, description="mm/s2")
    pan_speed: Annotated[float, Field(gt=0, le=3600)] = Field(60.0, description="degrees/s")
    pan_accel: Annotated[float, Field(gt=0, le=1e6)] = Field(300.0, description="degrees/s2")
    pan_range: Union[tuple[Degrees, Degrees], None] = Field(None, description="[low, high] that the pan turns between, degrees as look.pan counts them; none is all round")
    tilt_range: tuple[Tilt, Tilt] = Field((-90.0, 90.0), description="[low, high] that the tilt turns between, degrees, up is positive")
    reach: Coordinate = Field(0.0, description="pan axis to entrance pupil, forward, mm")
    rise: Coordinate = Field(0.0, description="rail to entrance pupil, upward, mm")
    rides: Union[Literal["floor", "lift"], None] = Field(None, description='"floor" or "lift": what it stands on; default the lift where that carries the camera, else the floor')


class Lift(Table):
    """A lift under the set or the camera. All of the file is written with it at 0."""

    kit: Union[Name, None] = Field(None, description="a piece of kit by its name, which says what is not written here")
    carries: Literal["set", "camera"] = Field(description='"set" or "camera": what it raises; lamps and slider stay on the floor unless they ride on it')
    range: tuple[Coordinate, Coordinate] = Field((0.0, 100.0), description="[lowest, highest], mm above its 0, at which everything stands as written here")
    speed: Length = Field(20.0, description="mm/s")
    accel: Length = Field(60.0, description="mm/s2")


class Hand(Table):
    """How a camera held in the hands shakes: each figure is the root mean square of one axis."""

    shake_mm: Annotated[float, Field(ge=0, le=100)] = Field(1.0, description="mm, along each of x, y and z")
    shake_deg: Annotated[float, Field(ge=0, le=30)] = Field(0.3, description="degrees, of pan and of tilt")


class Worktop(Table):
    """The table that the set stands on, for heights that a tape can take from it and from the floor."""

    height: Length = Field(750.0, description="mm, from the floor to the table's top")
    riser: Union[Offset, None] = Field(None, description="mm, from the table's top up to z = 0; default the set stands on the table itself")


class Stand(Table):
    """The stand of a lamp that is yet to be placed: where it may be put up, and how high."""

    height: Annotated[tuple[Offset, Offset], AfterValidator(in_order)] = Field((300.0, 2200.0), description="[lowest, highest], mm, of the lamp above the floor")
    distance: Annotated[tuple[Length, Length], AfterValidator(in_order)] = Field((300.0, 3000.0), description="[nearest, furthest], mm, from the opening to the lamp")
    base: Length = Field(600.0, description="mm, diameter of the stand's feet")
    reach: Offset = Field(0.0, description="mm, how far the lamp may hang out sideways from the stand's column")
    room: Union[tuple[Point2, Point2], None] = Field(None, description="[[x, y], [x, y]], mm, two corners of the floor that stands may be put on; default any")
