"""
Pictures as files: 8-bit sRGB in the format that the file's name ends in, PNG or JPEG.

Takes a picture and a path; gives the file. Knows nothing of what is shown.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from previz.scene.faults import OptionFault
from previz.scene.files import outside, replacing

KINDS = {".png": {"format": "PNG"}, ".jpg": {"format": "JPEG", "quality": 92}, ".jpeg": {"format": "JPEG", "quality": 92}}


def picture_kind(path: Path) -> str:
    """Return the ending of `path`, in small letters; OptionFault unless it is one of `KINDS`."""
    kind = Path(path).suffix.lower()
    if kind not in KINDS:
        raise OptionFault(f"{path}: the name of a picture ends in {kind or 'nothing'}, and must end in {', '.join(KINDS)}", "Name it like frame.png.")
    return kind


def write_picture(path: Path, rgb: np.ndarray) -> None:
    """
    Write a picture, whole or not at all.

    Parameters
    ----------
    path : Path
        Ends in one of `KINDS`.
    rgb : (rows, columns, 3) uint8 array
        sRGB.

    Raises
    ------
    OptionFault, OutsideFault
        As `picture_kind` and `previz.scene.files.replacing`.
    """
    options = KINDS[picture_kind(path)]
    with replacing(path) as temporary:
        Image.fromarray(np.ascontiguousarray(rgb)).save(temporary, **options)


def read_picture(path: Path) -> np.ndarray:
    """Return the picture in a file as (rows, columns, 3) uint8 sRGB; OutsideFault where it cannot be read."""
    with outside(path), Image.open(path) as picture:
        return np.array(picture.convert("RGB"))
