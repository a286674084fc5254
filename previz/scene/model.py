"""
The scene as checked tables: one class a table of the file, one field a key.

Takes the plain values of a TOML file; gives frozen objects whose every number is finite and in range.
The classes are the only list of keys: the reader's hints, the starter file and the documentation tests read them.

Lengths are millimetres and angles degrees, as typed; `Field(description=...)` says so key by key.
"""

from __future__ import annotations

from typing import Annotated, Literal, Union

from pydantic import Discriminator, Field, Tag

from previz.scene.gear import Body, Hand, Lens, Lift, Slider, Stand, Worktop
from previz.scene.values import Colour, Coordinate, Degrees, Length, Name, Offset, Outline2, Point2, Point3, Share, Table, Tilt, TintRows


class Slab(Table):
    """A ceiling or floor whose thickness differs from the walls'."""

    thickness: Length = Field(description="mm, upward for a ceiling, downward for a floor")


class Pitch(Table):
    """A gabled roof: eaves at the room's height, ridge over the middle of the plan's bounding box."""

    pitch: Annotated[float, Field(ge=1, le=80)] = Field(description="degrees from the horizontal")
    ridge: Literal["x", "y"] = Field(description="axis that the ridge runs along")


class Room(Table):
    """A room: inner plan, walls outward from it."""

    name: Name = Field(description="used as the first half of room.wall")
    plan: Outline2 = Field(description="inner outline [[x, y], ...], mm, anticlockwise seen from above")
    height: Length = Field(description="mm, floor to ceiling or to the eaves")
    wall: Length = Field(5.0, description="mm, thickness of the walls, outward from the plan")
    walls: tuple[Name, ...] = Field((), description='a name for each edge of the plan, in order; default "1", "2", ...')
    open: tuple[Name, ...] = Field((), description="names of walls left off")
    ceiling: Union[bool, Slab] = Field(True, description="true, false or {thickness}; ignored under a pitched roof but for its thickness")
    floor: Union[bool, Slab] = Field(True, description="true, false or {thickness}")
    roof: Union[Literal["flat"], Pitch] = Field("flat", description='"flat" or {pitch, ridge}')
    finish: Union[Name, dict[Name, Name]] = Field("plain", description='a finish name, or {walls, floor, ceiling, slopes, reveals, WALL = finish}')

    @property
    def wall_names(self) -> tuple[str, ...]:
        """The name of each edge of the plan, in order."""
        return self.walls or tuple(str(i + 1) for i in range(len(self.plan)))

    def finish_of(self, *kinds: str) -> str:
        """Return the finish of the first of `kinds` (a wall's name, "walls", "floor", ...) that the room names."""
        if isinstance(self.finish, str):
            return self.finish
        for kind in kinds:
            if kind in self.finish:
                return self.finish[kind]
        return self.finish.get("walls", "plain")


class Bars(Table):
    """Glazing bars, centred in the wall's thickness."""

    columns: Annotated[int, Field(ge=1, le=100)] = Field(1, description="panes across")
    rows: Annotated[int, Field(ge=1, le=100)] = Field(1, description="panes up")
    width: Length = Field(description="mm, as seen from outside")
    depth: Length = Field(description="mm, along the wall's thickness")


class Slats(Table):
    """Louvres or shutters: level boards across the opening, tilted about their length."""

    count: Annotated[int, Field(ge=1, le=200)] = Field(description="number of slats, evenly spaced")
    width: Length = Field(description="mm, of a slat across its face")
    thickness: Length = Field(description="mm, of a slat")
    angle: Annotated[float, Field(ge=-90, le=90)] = Field(0.0, description="degrees; 0 lies flat, positive drops the outer edge")


class OutlineShape(Table):
    """A free outline of an opening."""

    outline: Outline2 = Field(description="[[along, up], ...], mm, from the lower left corner given by at")


class Repeat(Table):
    """A row of the same thing, named name-1, name-2, ..."""

    count: Annotated[int, Field(ge=1, le=1000)] = Field(description="how many, the first included")
    step: Annotated[tuple[Coordinate, ...], Field(min_length=2, max_length=3)] = Field(
        description="mm from one to the next: [dx, dy, dz]; for an opening [along, up]"
    )


class Opening(Table):
    """A hole cut in a wall, a ceiling or a roof slope."""

    name: Name = Field(description="used in the report")
    wall: Annotated[str, Field(min_length=1, max_length=200)] = Field(
        description='"room.wall", "room.ceiling", "room.floor", "room.slope" (over the first eaves wall) or "room.slope.WALL" (over that wall)'
    )
    shape: Union[Literal["rect", "arch", "lancet", "round"], OutlineShape] = Field("rect", description='"rect", "arch", "lancet", "round" or {outline}')
    at: Point2 = Field(description="[along, up] of the lower left corner of its bounding box, seen from outside, mm")
    size: Union[tuple[Length, Length], Length, None] = Field(None, description="[width, height], or the diameter of a round one, mm")
    bars: Union[Bars, None] = Field(None, description="{columns, rows, width, depth}")
    slats: Union[Slats, None] = Field(None, description="{count, width, thickness, angle}")
    glass: Share = Field(1.0, description="transmittance of a pane at normal incidence; 1 is no glass")
    tint: Union[Colour, TintRows] = Field(
        "#ffffff",
        description='what its panes let through of each colour, "#rrggbb", sRGB coded, on top of glass; or a list of colours for each row of panes, the top row first',
    )
    diffuser: Union[Share, None] = Field(
        None, description="what tracing paper over the opening, taped to the inner face of the wall, lets through of the light that falls on it; none is no paper"
    )
    repeat: Union[Repeat, None] = Field(None, description="{count, step}")

    @property
    def room(self) -> str:
        """The room's name."""
        return self.wall.split(".", 1)[0]

    @property
    def panel(self) -> str:
        """The wall, "ceiling", "floor", "slope" or "slope.WALL" within the room."""
        return self.wall.partition(".")[2]


class PropTable(Table):
    """What every prop has."""

    name: Name = Field(description="used in the report")
    at: Point3 = Field(description="[x, y, z] of the centre of the footprint, at the height of the lowest point, mm")
    turn: Degrees = Field(0.0, description="degrees about z, anticlockwise seen from above")
    scale: Annotated[float, Field(gt=0, le=1e4)] = Field(1.0, description="multiplies its size")
    finish: Name = Field("plain", description="a finish name")
    repeat: Union[Repeat, None] = Field(None, description="{count, step = [dx, dy, dz]}")


class BoxProp(PropTable):
    """A box."""

    kind: Literal["box"]
    size: tuple[Length, Length, Length] = Field(description="[width, depth, height], mm")


class CylinderProp(PropTable):
    """A standing cylinder."""

    kind: Literal["cylinder"]
    size: tuple[Length, Length] = Field(description="[diameter, height], mm")


class SphereProp(PropTable):
    """A ball."""

    kind: Literal["sphere"]
    size: Length = Field(description="diameter, mm")


class LatheProp(PropTable):
    """A profile turned about z: columns, lamps, bottles."""

    kind: Literal["lathe"]
    profile: Annotated[tuple[tuple[Offset, Coordinate], ...], Field(min_length=2, max_length=500)] = Field(
        description="[[radius, height], ...] from the bottom up, mm"
    )


class CutoutProp(PropTable):
    """A flat outline with a thickness: railings, signs, hulls."""

    kind: Literal["cutout"]
    outline: Outline2 = Field(description="[[x, y], ...], mm")
    thickness: Length = Field(description="mm")
    upright: bool = Field(False, description="true stands it up: the outline's y becomes z")


class MeshProp(PropTable):
    """A mesh from a file."""

    kind: Literal["mesh"]
    file: Annotated[str, Field(min_length=1, max_length=1000)] = Field(description="STL, OBJ, PLY or GLB, relative to the scene file")
    units: Literal["mm", "cm", "m", "inch"] = Field("mm", description="unit of the file's numbers")


PROP_KINDS = {"box": BoxProp, "cylinder": CylinderProp, "sphere": SphereProp, "lathe": LatheProp, "cutout": CutoutProp, "mesh": MeshProp}


def _kind_of(value):
    return value.get("kind") if isinstance(value, dict) else getattr(value, "kind", None)


Prop = Annotated[Union[tuple(Annotated[cls, Tag(kind)] for kind, cls in PROP_KINDS.items())], Discriminator(_kind_of)]


class SetMesh(Table):
    """A whole set scanned or drawn elsewhere, instead of rooms."""

    file: Annotated[str, Field(min_length=1, max_length=1000)] = Field(description="STL, OBJ, PLY or GLB, relative to the scene file")
    scale: Annotated[float, Field(gt=0, le=1e6)] = Field(1.0, description="multiplies the file's numbers")
    units: Literal["mm", "cm", "m", "inch"] = Field("mm", description="unit of the file's numbers")
    turn: Degrees = Field(0.0, description="degrees about z")
    at: Point3 = Field((0.0, 0.0, 0.0), description="where the file's origin goes, mm")
    finish: Name = Field("plain", description="a finish name")


class Finish(Table):
    """How a surface reflects: matt, by share of light or by colour."""

    reflect: Union[Share, None] = Field(None, description="diffuse reflectance, 0 to 1")
    colour: Union[Colour, None] = Field(None, description='diffuse reflectance as "#rrggbb", sRGB coded')


COOLEST_K, HOTTEST_K, DAYLIGHT_FROM_K = 1000.0, 25000.0, 4000.0
"""The whites that a lamp may have, and where the CIE daylight locus begins (CIE 015:2018)."""

Kelvin = Annotated[float, Field(ge=COOLEST_K, le=HOTTEST_K)]


class Temperature(Table):
    """A colour of light by its temperature, on a locus of the maker's choice."""

    kelvin: Kelvin = Field(description="kelvin")
    locus: Literal["planckian", "daylight"] = Field(description='"planckian" (a black body) or "daylight" (from 4000 K up)')


class Gel(Table):
    """A filter in front of a lamp."""

    stops: Annotated[float, Field(ge=0, le=20)] = Field(0.0, description="stops of light taken away")
    mired: Annotated[float, Field(ge=-500, le=500)] = Field(0.0, description="mired by which it shifts a colour given in kelvin; positive is warmer")


class Reading(Table):
    """What a meter read with one lamp alone alight, in clear air."""

    at: Point3 = Field(description="[x, y, z] of the meter, mm")
    lux: Annotated[float, Field(gt=0, le=1e9)] = Field(description="lux")
    facing: Union[Point3, None] = Field(None, description="[x, y, z] that the meter looks at; default the lamp")


class Diffusion(Table):
    """A diffusing sheet square to a lamp's axis."""

    distance: Length = Field(description="mm from the emitting face to the sheet, along the axis")
    size: tuple[Length, Length] = Field(description="[width, height] of the sheet, its first side level, mm")
    transmittance: Share = Field(0.5, description="share of the light caught that comes out in front")


class LampTable(Table):
    """What every lamp has."""

    name: Name = Field(description="used in the report")
    kit: Union[Name, None] = Field(None, description="a piece of kit by its name, which says what is not written here")
    at: Point3 = Field(description="[x, y, z] of the centre of the emitting face, mm")
    toward: Union[Point3, Name] = Field(description="[x, y, z], or the name of an opening or a prop")
    lux_at_1m: Union[Annotated[float, Field(gt=0, le=1e9)], None] = Field(None, description="lux on the axis at 1 m, far field")
    candela: Union[Annotated[float, Field(gt=0, le=1e9)], None] = Field(None, description="candela on the axis")
    lumens: Union[Annotated[float, Field(gt=0, le=1e9)], None] = Field(None, description="lumens from the whole face")
    beam: Annotated[float, Field(ge=1, le=170)] = Field(120.0, description="degrees, full angle between the half-intensity directions")
    colour: Union[Colour, Kelvin, Temperature] = Field(
        "#ffffff", description='"#rrggbb", sRGB coded, or kelvin (a black body below 4000, daylight from there up), or {kelvin, locus}; its luminance is that of the figures given'
    )
    gel: Union[Annotated[float, Field(ge=0, le=20)], Gel] = Field(0.0, description="stops of light taken away, or {stops, mired}")
    dim: Share = Field(1.0, description="0 dark, 1 full")
    diffusion: Union[Diffusion, None] = Field(
        None, description="{distance, size, transmittance}: a diffusing sheet before the lamp, which then is the light; what passes beside it is taken to be masked off"
    )
    rides: Union[Literal["floor", "lift"], None] = Field(
        None, description='"floor" or "lift": what it stands on; default the floor, but a lamp inside a set that the lift carries goes with it'
    )
    measured: Annotated[tuple[Reading, ...], Field(max_length=100)] = Field(
        (), description="[{at, lux, facing}, ...]: a meter's readings, this lamp alone alight in clear air, gel and dim as here; they set its level"
    )
    mains: Annotated[float, Field(ge=0, le=1000)] = Field(0.0, description="hertz of the mains, 50 or 60, whose every half-wave its light follows; 0 is steady light")
    pulse: Annotated[float, Field(ge=0, le=1e6)] = Field(0.0, description="flashes a second of a lamp dimmed by pulses; 0 is none")
    ripple: Share = Field(1.0, description="how deep light on the mains ripples about its mean, as a share: 1 goes out in between, a thick filament is near 0.1")

    @property
    def gel_stops(self) -> float:
        """Stops of light that the gel takes away."""
        return self.gel.stops if isinstance(self.gel, Gel) else self.gel

    @property
    def gel_mired(self) -> float:
        """Mired by which the gel shifts the lamp's kelvin."""
        return self.gel.mired if isinstance(self.gel, Gel) else 0.0

    @property
    def kelvin(self) -> float | None:
        """The temperature of the light behind the gel, inf past the blue end; None for a colour that has none."""
        bare = self.colour.kelvin if isinstance(self.colour, Temperature) else self.colour
        if isinstance(bare, str):
            return None
        mired = 1e6 / bare + self.gel_mired
        return 1e6 / mired if mired > 0 else float("inf")


class PointLamp(LampTable):
    """A lamp too small to matter."""

    kind: Literal["point"]


class DiscLamp(LampTable):
    """A round emitting face."""

    kind: Literal["disc"]
    diameter: Length = Field(description="mm, of the emitting face")


class PanelLamp(LampTable):
    """A rectangular emitting face, its first side level."""

    kind: Literal["panel"]
    size: tuple[Length, Length] = Field(description="[width, height] of the emitting face, mm")


class IesLamp(LampTable):
    """A lamp as measured: intensity by direction and the emitting face from a photometric file."""

    kind: Literal["ies"]
    file: Annotated[str, Field(min_length=1, max_length=1000)] = Field(description="photometric file (LM-63, .ies), relative to the scene file")
    turn: Degrees = Field(0.0, description="degrees about its axis, anticlockwise as the lamp looks; at 0 the file's horizontal angle 0 points to its left")


LAMP_KINDS = {"point": PointLamp, "disc": DiscLamp, "panel": PanelLamp, "ies": IesLamp}
Lamp = Annotated[Union[tuple(Annotated[cls, Tag(kind)] for kind, cls in LAMP_KINDS.items())], Discriminator(_kind_of)]


KINDS = {"prop": (PropTable, PROP_KINDS), "lamp": (LampTable, LAMP_KINDS)}


class Droplets(Table):
    """What the haze is made of: transparent droplets of many sizes (log-normal)."""

    diameter: Annotated[float, Field(ge=0.1, le=10)] = Field(description="micrometres, median by number: half of the droplets are smaller")
    spread: Annotated[float, Field(ge=1, le=2)] = Field(1.4, description="geometric standard deviation: two thirds lie within this factor of the diameter; 1 is all alike")
    index: Annotated[float, Field(ge=1.1, le=1.8)] = Field(1.45, description="refractive index; glycols 1.43, glycerol and mineral oil 1.47")


class Swirls(Table):
    """Haze that is thicker here and thinner there, and drifts."""

    contrast: Annotated[float, Field(ge=0, le=1)] = Field(description="standard deviation of the density over its mean; 0 is even, 0.3 gentle, 1 thick wisps in thin air")
    size: Length = Field(description="mm of a swirl")
    drift: Annotated[float, Field(ge=0, le=10_000)] = Field(0.0, description="mm/s at which the swirls are carried about, in real time, not on screen")


class Haze(Table):
    """The air in the set."""

    extinction: Union[Annotated[float, Field(ge=0, le=1000)], None] = Field(None, description="per metre")
    visibility: Union[Annotated[float, Field(gt=0, le=1e6)], None] = Field(None, description="metres, 3.912 / extinction")
    albedo: Share = Field(1.0, description="share of the light taken from a ray that is scattered, not absorbed")
    g: Annotated[float, Field(ge=-0.98, le=0.98)] = Field(0.75, description="mean cosine of scattering; positive is forward")
    droplets: Union[Droplets, None] = Field(None, description="{diameter, spread, index}: how droplets of these sizes scatter, instead of g")
    half_life: Union[Annotated[float, Field(gt=0, le=1e6)], None] = Field(None, description="seconds until half of it is gone")
    uneven: Union[Swirls, None] = Field(None, description="{contrast, size, drift}: swirls that drift, instead of even haze")
    fills: Union[Literal["rooms"], tuple[Point3, Point3]] = Field("rooms", description='"rooms", or a box [[x0, y0, z0], [x1, y1, z1]], mm')


class Heading(Table):
    """A direction to look in."""

    pan: Degrees = Field(description="degrees, anticlockwise seen from above, 0 along x")
    tilt: Tilt = Field(0.0, description="degrees, up is positive")


class Seconds(Table):
    """An exposure time."""

    seconds: Annotated[float, Field(gt=0, le=10)] = Field(description="seconds of exposure")


class FocusMark(Table):
    """Where focus is at one moment of a take."""

    at: Annotated[float, Field(ge=0, le=100000)] = Field(description="seconds of the take")
    focus: Union[Length, Point3, Name] = Field(description="mm from the entrance pupil, [x, y, z] or a prop's name")


class LampChange(Table):
    """What one shot has different about a lamp."""

    at: Union[Point3, None] = Field(None, description="[x, y, z] of the centre of the emitting face, mm")
    toward: Union[Point3, Name, None] = Field(None, description="[x, y, z], or the name of an opening or a prop")
    lux_at_1m: Union[Annotated[float, Field(gt=0, le=1e9)], None] = Field(None, description="lux on the axis at 1 m, far field")
    candela: Union[Annotated[float, Field(gt=0, le=1e9)], None] = Field(None, description="candela on the axis")
    lumens: Union[Annotated[float, Field(gt=0, le=1e9)], None] = Field(None, description="lumens from the whole face")
    beam: Union[Annotated[float, Field(ge=1, le=170)], None] = Field(None, description="degrees, full angle between the half-intensity directions")
    colour: Union[Colour, Kelvin, Temperature, None] = Field(None, description='"#rrggbb", kelvin or {kelvin, locus}')
    gel: Union[Annotated[float, Field(ge=0, le=20)], Gel, None] = Field(None, description="stops of light taken away, or {stops, mired}")
    dim: Union[Share, None] = Field(None, description="0 dark, 1 full")
    diffusion: Union[Diffusion, None] = Field(None, description="{distance, size, transmittance}: a diffusing sheet before the lamp")


class HazeChange(Table):
    """What one shot has different about the haze; it fills the same air in every shot."""

    extinction: Union[Annotated[float, Field(ge=0, le=1000)], None] = Field(None, description="per metre")
    visibility: Union[Annotated[float, Field(gt=0, le=1e6)], None] = Field(None, description="metres, 3.912 / extinction")
    albedo: Union[Share, None] = Field(None, description="share of the light taken from a ray that is scattered, not absorbed")
    g: Union[Annotated[float, Field(ge=-0.98, le=0.98)], None] = Field(None, description="mean cosine of scattering; positive is forward")
    droplets: Union[Droplets, None] = Field(None, description="{diameter, spread, index}: how droplets of these sizes scatter, instead of g")
    half_life: Union[Annotated[float, Field(gt=0, le=1e6)], None] = Field(None, description="seconds until half of it is gone")
    uneven: Union[Swirls, None] = Field(None, description="{contrast, size, drift}: swirls that drift; contrast 0 is even haze")


class Shot(Table):
    """One take: where the lens goes, what it looks at, how it is exposed."""

    name: Name = Field(description="used in the report")
    clip: Annotated[float, Field(gt=0, le=3600)] = Field(5.0, description="screen seconds")
    move: Literal["still", "slide", "arc", "lift", "path", "hand"] = Field(
        "still", description='"still", "slide", "arc" (a slide whose pan holds what it looks at), "lift", "path" or "hand" (a path, hand-held)'
    )
    from_: Union[Point3, Coordinate] = Field(alias="from", description="entrance pupil [x, y, z], or mm along the rail from its first end")
    to: Union[Point3, Coordinate, None] = Field(None, description="where the move ends, as from")
    via: Annotated[tuple[Point3, ...], Field(max_length=200)] = Field((), description="points between, for a path or by hand")
    lift: Union[Coordinate, tuple[Coordinate, Coordinate]] = Field(0.0, description="height of the lift, mm, or [from, to] over the take")
    look: Union[Point3, Name, Heading] = Field(description="[x, y, z], a prop's name or {pan, tilt}")
    subject: Union[Name, None] = Field(None, description="the prop to keep in frame; default look, where that is a prop")
    focus: Union[Length, Point3, Name, Annotated[tuple[FocusMark, ...], Field(min_length=2, max_length=100)], None] = Field(
        None, description="mm from the entrance pupil, [x, y, z] or a prop's name; or a pull, [{at, focus}, ...] in seconds of the take; default the subject, else the point looked at"
    )
    ease: Annotated[float, Field(ge=0, le=0.5)] = Field(0.25, description="share of the take spent speeding up, and the same slowing down")
    fps: Annotated[float, Field(gt=0, le=10000)] = Field(120.0, description="frames a second shot")
    playback: Annotated[float, Field(gt=0, le=240)] = Field(24.0, description="frames a second shown")
    shutter: Union[Annotated[float, Field(gt=0, le=360)], Seconds] = Field(180.0, description="degrees, or {seconds}")
    iso: Annotated[float, Field(gt=0, le=1e7)] = Field(800.0, description="ISO set on the body")
    stop: Union[Annotated[float, Field(gt=0.3, le=200)], None] = Field(None, description="f-number; default the lens's")
    white: Union[Annotated[float, Field(ge=1000, le=25000)], Name, None] = Field(
        None, description="what the white balance makes white: kelvin, or a lamp's name for its light; default 6504 K daylight, the screen's white, so light keeps its colour"
    )
    start_after: Annotated[float, Field(ge=0, le=1e6)] = Field(0.0, description="seconds between the spray and the roll")
    lamps: dict[Name, Union[bool, LampChange]] = Field({}, description="lamps that differ in this shot, by name: false is out, {at, toward, dim, gel, ...} is changed")
    haze: Union[HazeChange, None] = Field(None, description="what differs about the haze in this shot: {extinction, half_life, ...}")
    reset: Annotated[float, Field(ge=0, le=1e6)] = Field(20.0, description="seconds from the end of a take to the next roll: the slider goes back, props are set right")

    @property
    def take_s(self) -> float:
        """Real seconds of the take: clip_s * playback_fps / capture_fps. [s]"""
        return self.clip * self.playback / self.fps

    @property
    def move_called(self) -> str:
        """The move in the maker's words: a camera is hand-held."""
        return "hand-held" if self.move == "hand" else self.move

    @property
    def lift_ends(self) -> tuple[float, float]:
        """Height of the lift at the start and at the end of the take. [mm]"""
        return self.lift if isinstance(self.lift, tuple) else (self.lift, self.lift)

    @property
    def exposure_s(self) -> float:
        """Exposure time of a frame, angle / (360 fps) (the cine shutter's definition, common practice). [s]"""
        return self.shutter.seconds if isinstance(self.shutter, Seconds) else self.shutter / (360 * self.fps)

    @property
    def subject_name(self) -> str | None:
        """The prop to keep in frame, if any."""
        return self.subject or (self.look if isinstance(self.look, str) else None)


class Scene(Table):
    """A set, its light and its shots: the whole file."""

    title: Annotated[str, Field(max_length=200)] = Field("untitled", description="shown on every paper and picture")
    scale: Annotated[float, Field(gt=0, le=1e4)] = Field(12.0, description="12 is 1:12")
    seed: Annotated[int, Field(ge=0, le=2**31 - 1)] = Field(1, description="of every random choice")
    room: tuple[Room, ...] = Field((), description="the rooms")
    opening: tuple[Opening, ...] = Field((), description="the openings")
    prop: tuple[Prop, ...] = Field((), description="the props")
    mesh: Union[SetMesh, None] = Field(None, description="a whole set from a file, instead of rooms")
    finish: dict[Name, Finish] = Field({}, description="the finishes, by name")
    lamp: tuple[Lamp, ...] = Field((), description="the lamps")
    haze: Haze = Field(Haze(), description="the air in the set")
    body: Body = Field(Body(), description="the camera body")
    lens: Lens = Field(Lens(), description="the lens")
    slider: Union[Slider, None] = Field(None, description="the slider")
    lift: Union[Lift, None] = Field(None, description="the lift")
    hand: Hand = Field(Hand(), description="the hands that hold the camera")
    table: Worktop = Field(Worktop(), description="the table under the set")
    stand: Stand = Field(Stand(), description="the stand of a lamp that is to be placed")
    shot: tuple[Shot, ...] = Field((), description="the shots")
