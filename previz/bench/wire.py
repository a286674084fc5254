"""
What goes over the wire: the messages of the socket, the bodies of HTTP, each checked key by key.

A key of the file is written [table, row's name, key, ...]: ["lamp", "key", "at"], ["haze", "extinction"], ["scale"]; numbers
count the items of a list. Values are those that TOML has; null takes a key away, or a whole row. Lengths are set
millimetres, times real seconds of the take.
"""

from __future__ import annotations

import json
import math
from typing import Annotated, Any, Literal, Union

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

LARGEST_MESSAGE_BYTES = 64 * 1024
_DEEPEST, _LARGEST_NUMBER, _DIGITS = 16, 1e12, 6

Json = Any


class Unreadable(Exception):
    """A message that cannot be read; `str()` says why."""


def plain_value(value: Json, depth: int = 0) -> Json:
    """
    Return a value as TOML will hold it: numbers of at most six decimals, whole ones as integers, no null inside.

    Raises
    ------
    ValueError
        Where TOML, or a file in UTF-8, could not hold it.
    """
    if depth > _DEEPEST:
        raise ValueError("brackets nest too deep")
    if isinstance(value, dict):
        return {_plain_text(key): plain_value(item, depth + 1) for key, item in value.items() if item is not None}
    if isinstance(value, (list, tuple)):
        if any(item is None for item in value):
            raise ValueError("a list has no empty places")
        return [plain_value(item, depth + 1) for item in value]
    if isinstance(value, str):
        return _plain_text(value)
    if isinstance(value, bool) or value is None:
        return value
    if abs(value) > _LARGEST_NUMBER or not math.isfinite(value):
        raise ValueError("no number is this large")
    rounded = round(value, _DIGITS)
    return int(rounded) if rounded == int(rounded) else rounded


def _plain_text(text: str) -> str:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise ValueError("half a character stands in a text") from None
    return text


class Wired(BaseModel):
    """A message: nothing but its own keys, text never a number."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


Part = Union[Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_plain_text)], Annotated[int, Field(ge=0, le=100_000)]]
Key = Annotated[list[Part], Field(min_length=1, max_length=8)]
Value = Annotated[Json, AfterValidator(plain_value)]
Called = Annotated[str, Field(min_length=1, max_length=80), AfterValidator(_plain_text)]
Words = Annotated[str, Field(max_length=200), AfterValidator(_plain_text)]
Rev = Annotated[int, Field(ge=0, le=2**53)]


class Change(Wired):
    """One key and what it holds from now on; null takes it away."""

    key: Key
    to: Value = None


Changes = Annotated[list[Change], Field(max_length=500)]


class Hello(Wired):
    """Who this is (kept in the browser), and the revision it shows; first on each connection."""

    do: Literal["hello"]
    who: Called
    rev: Union[Rev, None] = None


class Edit(Wired):
    """Changes on top of revision `base`; `id` is the client's own, so that an edit sent twice counts once."""

    do: Literal["edit"]
    id: Called
    base: Rev
    changes: Annotated[list[Change], Field(min_length=1, max_length=500)]
    says: Words = ""


class Try(Wired):
    """What is on screen while something is dragged: never stored, the latest wins; no changes end it."""

    do: Literal["try"]
    seq: Rev
    changes: Changes


class Undo(Wired):
    """
    Take this client's own last edit back.

    Where another has changed the same since, the server asks first; `answer` "mine" with `base` the current revision
    takes it back all the same, "theirs" leaves it and goes on to the edit before it.
    """

    do: Literal["undo"]
    id: Called
    base: Union[Rev, None] = None
    answer: Union[Literal["mine", "theirs"], None] = None


class Redo(Wired):
    """Put back what this client undid last; as Undo."""

    do: Literal["redo"]
    id: Called
    base: Union[Rev, None] = None
    answer: Union[Literal["mine", "theirs"], None] = None


class BackTo(Wired):
    """Restore the text of an earlier revision, as a new one."""

    do: Literal["back_to"]
    id: Called
    rev: Rev


class Look(Wired):
    """What this client's lens paper shows, until it says otherwise."""

    do: Literal["look"]
    shot: Annotated[str, Field(max_length=200), AfterValidator(_plain_text)]
    take_s: Annotated[float, Field(ge=0, le=1e7)]
    width: Annotated[int, Field(ge=160, le=1920)]


ToServer = Union[Hello, Edit, Try, Undo, Redo, BackTo, Look]
_TO_SERVER = TypeAdapter(Annotated[ToServer, Field(discriminator="do")])


def read_message(text: str) -> ToServer:
    """Return a message of the socket; raise Unreadable where it is none."""
    if len(text.encode("utf-8", "surrogatepass")) > LARGEST_MESSAGE_BYTES:
        raise Unreadable(f"a message is at most {LARGEST_MESSAGE_BYTES // 1024} kB")
    try:
        return _TO_SERVER.validate_python(json.loads(text, parse_constant=_no_constant))
    except ValidationError as error:
        raise Unreadable(first_fault(error)) from None
    except (ValueError, RecursionError) as error:
        raise Unreadable(f"this is no message: {error}") from None


def id_of(text: str) -> str | None:
    """Return the id of a message that cannot be read otherwise, or None."""
    try:
        found = json.loads(text)["id"]
    except (ValueError, RecursionError, KeyError, TypeError, IndexError):
        return None
    return found if isinstance(found, str) and len(found) <= 80 and _encodes(found) else None


def _encodes(text):
    try:
        return bool(_plain_text(text))
    except ValueError:
        return False


def _no_constant(name):
    raise ValueError(f"{name} is no number")


def first_fault(error: ValidationError) -> str:
    """Return what is wrong with a message, in one line."""
    first = error.errors(include_url=False, include_context=False, include_input=False)[0]
    where = ".".join(str(part) for part in first["loc"])
    says = first["msg"].removeprefix("Value error, ").encode("utf-8", "replace").decode()
    return f"{where}: {says}"[:300] if where else says[:300]


class Told(Wired):
    """A message of the server."""

    def plain(self) -> dict:
        """Return it as plain values."""
        return self.model_dump(mode="json")


class FaultTold(Told):
    """One thing wrong: where in the file, what, and what to do about it. `key` is null for the file as a whole, `line` 0."""

    key: Union[list[Union[str, int]], None]
    says: str
    remedy: str
    line: int


class Conflict(Told):
    """A key that two have changed: what it held, what it holds now, what was wanted, and by whom it was changed."""

    key: list[Union[str, int]]
    was: Json
    theirs: Json
    yours: Json
    by: str


class Welcome(Told):
    """Answers hello."""

    did: Literal["hello"] = "hello"
    rev: int
    clients: int
    file: str
    share: bool


class Edited(Told):
    """A revision that counts from now on, and is in the journal; told to all."""

    did: Literal["edit"] = "edit"
    rev: int
    changes: list[Change]
    by: str
    id: str
    says: str


class Saved(Told):
    """The file on the disk holds this revision."""

    did: Literal["saved"] = "saved"
    rev: int


class Refused(Told):
    """A message that changed nothing, and why; `seq` where it was a try."""

    did: Literal["refused"] = "refused"
    id: Union[str, None] = None
    seq: Union[int, None] = None
    faults: list[FaultTold]


class Asked(Told):
    """An edit that waits for an answer: others have changed the same keys since."""

    did: Literal["asked"] = "asked"
    id: str
    conflicts: list[Conflict]


class Outside(Told):
    """The file was changed by hand and taken up."""

    did: Literal["outside"] = "outside"
    rev: int
    says: str


class OutsideFault(Told):
    """The file on the disk has faults: it is left alone, and edits wait until it is put right."""

    did: Literal["outside_fault"] = "outside_fault"
    faults: list[FaultTold]


class Trying(Told):
    """Another client is dragging something; no changes end it."""

    did: Literal["try"] = "try"
    by: str
    changes: list[Change]


class Full(Told):
    """A limit was hit: what, and how long to wait where waiting helps."""

    did: Literal["full"] = "full"
    id: Union[str, None] = None
    says: str
    wait_s: float = 0.0


class Here(Told):
    """How many clients are on this scene now."""

    did: Literal["here"] = "here"
    clients: int


class Wrong(Told):
    """Something else went wrong, in words."""

    did: Literal["fault"] = "fault"
    says: str


class PairBody(Wired):
    """The one-time code, as shown in the terminal."""

    code: Annotated[str, Field(min_length=1, max_length=100)]


class JobBody(Wired):
    """A verb of the command line and its options, without the dashes."""

    verb: Literal["make", "sheet", "cut", "aim", "explore", "export", "frame", "reel", "check"]
    options: Annotated[dict[Annotated[str, Field(max_length=40)], Json], Field(max_length=40)] = {}


class SceneReply(Told):
    """The scene as it stands: its text, its tables with defaults written out (repeats left as one row), its names, its faults."""

    rev: int
    file: str
    text: str
    scene: dict[str, Json]
    names: dict[str, list[str]]
    faults: list[FaultTold]


class Version(Told):
    """One revision of the history."""

    rev: int
    by: str
    says: str
    when: str
    kind: str
    keys: list[list[Union[str, int]]]


class Paired(Told):
    """The code was right; the cookie is set."""

    paired: bool


class Shared(Told):
    """A fresh one-time code for another device: address, code, both as one link, and the link as a QR symbol, rows of 0 and 1."""

    address: str
    code: str
    link: str
    expires_s: int
    qr: list[list[int]]


class Uploaded(Told):
    """A file that now lies beside the scene file."""

    file: str
    bytes: int


class Reason(Told):
    """Why a request was refused, in words."""

    says: str
