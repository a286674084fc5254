"""
Frames as numbers: linear RGB in cd/m2, for other programs to read.

Takes a frame and a file name; the name's ending chooses NumPy's .npy or OpenEXR. Knows nothing of cameras or exposure.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from previz.scene.faults import OptionFault
from previz.scene.files import replacing

KINDS = (".npy", ".exr")


def linear_kind(path: Path) -> str:
    """Return the ending of `path`, in small letters; OptionFault unless it is one of `KINDS`."""
    kind = Path(path).suffix.lower()
    if kind not in KINDS:
        raise OptionFault(f"--linear {path}: the name ends in {kind or 'nothing'}, and must end in {' or '.join(KINDS)}", "Name it like frame.npy or frame.exr.")
    return kind


def write_linear(path: Path, frame: np.ndarray) -> None:
    """
    Write a frame as it is.

    Parameters
    ----------
    path : Path
        .npy: the array itself. .exr: channels R, G, B, with `whiteLuminance` 1, so that values are cd/m2
        (OpenEXR, Standard Attributes; Rec. 709 primaries are its default).
    frame : (rows, columns, 3) float32 array
        Linear RGB, Rec. 709 primaries. [cd/m2]

    Raises
    ------
    OptionFault, OutsideFault
        As `linear_kind` and `previz.scene.files.replacing`.
    """
    kind = linear_kind(path)
    with replacing(path) as temporary:
        if kind == ".npy":
            np.save(temporary, frame)
        else:
            import OpenEXR

            header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage, "whiteLuminance": 1.0}
            OpenEXR.File(header, {"RGB": np.ascontiguousarray(frame, dtype=np.float32)}).write(str(temporary))
