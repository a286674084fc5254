"""
The photometric files that a scene names, looked at before anything is lit.

Takes a scene and its folder; gives what is wrong, in the maker's words. Knows no lamps in space.
"""

from __future__ import annotations

from pathlib import Path

from previz.build.sound import Unsound
from previz.light.lm63 import Lm63Fault, read_lm63
from previz.scene.model import Scene


def unusable_files(scene: Scene, folder: Path) -> list[Unsound]:
    """Return a fault for each lamp whose photometric file cannot be used, with what stands where in that file."""
    found = []
    for i, lamp in enumerate(scene.lamp):
        if lamp.kind != "ies":
            continue
        try:
            read_lm63(folder / lamp.file)
        except Lm63Fault as fault:
            found.append(Unsound(("lamp", i, "file"), f"{lamp.file}: {fault.found}", fault.allowed, fault.remedy))
    return found
