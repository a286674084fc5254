"""
Files that a maker puts beside the scene from the page: photographs and meshes, told by what they are, not by their name.

Takes bytes; writes a new file in the scene's folder, never over another one. What is none of these kinds is refused.

Sources of the first bytes: PNG (W3C, section 5.2), JPEG (ITU-T T.81, B.1.1.3), glTF 2.0 (binary container), PLY and STL and
OBJ as their writers have them (common practice).
"""

from __future__ import annotations

import io
import re
from pathlib import Path

from previz.check.folder import file_stem
from previz.scene.faults import OptionFault
from previz.scene.files import outside, replacing

MOST_PIXELS = 200_000_000
KINDS = {"photo": "a PNG or JPEG picture", "mesh": "an STL, OBJ, PLY or GLB mesh"}


def suffix_of(kind: str, data: bytes) -> str | None:
    """Return the suffix of what `data` is, ".png" or ".stl", or None where it is nothing of that kind."""
    if kind == "photo":
        suffix = ".png" if data.startswith(b"\x89PNG\r\n\x1a\n") else ".jpg" if data.startswith(b"\xff\xd8\xff") else None
        return suffix if suffix and _opens(data) else None
    if data.startswith(b"glTF") and len(data) >= 12 and int.from_bytes(data[8:12], "little") == len(data):
        return ".glb"
    if re.match(rb"ply\r?\n", data) and b"end_header" in data[:100_000]:
        return ".ply"
    if len(data) >= 84 and len(data) == 84 + 50 * int.from_bytes(data[80:84], "little"):
        return ".stl"
    head = data[:100_000]
    if re.match(rb"\s*solid\b", head) and b"facet" in head and b"\0" not in head:
        return ".stl"
    if b"\0" not in head and re.search(rb"^v[ \t]+[-+.\d]", head, re.M) and re.search(rb"^f[ \t]+\d", data, re.M):
        return ".obj"
    return None


def put_beside(scene: Path, kind: str, name: str, data: bytes) -> Path:
    """
    Write an uploaded file beside a scene and return its path.

    Raises
    ------
    OptionFault
        If it is nothing of its kind.
    OutsideFault
        If it cannot be written.
    """
    suffix = suffix_of(kind, data)
    if suffix is None:
        raise OptionFault(f"this is not {KINDS[kind]}", "Save it as one and send it again.")
    stem = file_stem(Path(name.replace("\\", "/")).stem)
    for number in range(1, 10_000):
        path = scene.parent / f"{stem}{f'-{number}' if number > 1 else ''}{suffix}"
        try:
            # The name is taken first, so that nothing is written over.
            with outside(path):
                path.open("xb").close()
        except OptionFault:
            if path.exists():
                continue
            raise
        try:
            with replacing(path) as temporary:
                temporary.write_bytes(data)
        except OptionFault:
            path.unlink(missing_ok=True)
            raise
        return path
    raise OptionFault(f"there are too many files called {stem}", "Give it another name.")


def _opens(data: bytes) -> bool:
    """Whether the picture's own header can be read, and is of a size that can be shown."""
    from PIL import Image

    try:
        with Image.open(io.BytesIO(data), formats=("PNG", "JPEG")) as picture:
            return picture.width * picture.height <= MOST_PIXELS
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError, Image.DecompressionBombWarning):
        return False
