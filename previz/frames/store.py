"""
The frames of a reel that are done, kept on disk so that an interrupted reel goes on where it stopped.

Takes pictures by number; gives them back. A fingerprint of everything that a frame depends on lies beside them: frames
of another fingerprint are thrown away, so a changed scene starts anew. Knows nothing of how a frame is made.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import numpy as np
from PIL import Image

import previz
from previz.build.built import BuiltSet
from previz.frames.picture import read_picture, write_picture
from previz.scene.files import outside, replacing
from previz.scene.model import Scene, Shot

_MARK = "fingerprint.txt"


def fingerprint(scene: Scene, shot: Shot, built: BuiltSet, **options) -> str:
    """
    Return the SHA-256 of everything that the frames of a shot depend on.

    Parameters
    ----------
    scene, shot
        Every key but the title and the other shots; the name counts by hand alone, whose shake goes by it.
    built : BuiltSet
        Every triangle, so that a mesh file that has changed counts, whatever its name and date; photometric files count too.
    options
        Of the pictures: size, quality and the like; as JSON.

    Returns
    -------
    str
        Hexadecimal. previz's own source counts too.
    """
    digest = hashlib.sha256()
    texts = [scene.model_dump_json(exclude={"title", "shot", "table", "stand"}), shot.model_dump_json(exclude=None if shot.move == "hand" else {"name"}), json.dumps(options, sort_keys=True)]
    measured = [(built.folder / lamp.file).read_bytes() for lamp in scene.lamp if lamp.kind == "ies"]
    for part in [*(text.encode() for text in texts), *measured, *(np.ascontiguousarray(a).tobytes() for a in (built.vertices, built.triangles, built.face_of)), source()]:
        digest.update(len(part).to_bytes(8, "little") + part)
    return digest.hexdigest()


def source() -> bytes:
    """Return the version and every line of previz, since any of them may change a picture."""
    folder = Path(previz.__file__).parent
    return previz.__version__.encode() + b"".join(file.read_bytes() for file in sorted(folder.rglob("*.py")))


class FrameStore:
    """
    Numbered pictures in a folder of their own.

    Parameters
    ----------
    folder : Path
        Made where it is missing. Only files that a store writes are ever removed.
    fingerprint : str
        Of what the frames depend on.
    size : (columns, rows)
        Of every frame; kept frames that are not whole pictures of this size are thrown away. [pixel]

    Raises
    ------
    OutsideFault
        If the folder cannot be used.
    """

    def __init__(self, folder: Path, fingerprint: str, size: tuple[int, int]):
        self.folder, self._size = Path(folder), size
        with outside(self.folder):
            self.folder.mkdir(parents=True, exist_ok=True)
            mark = self.folder / _MARK
            if not mark.is_file() or mark.read_text(encoding="utf-8", errors="replace").strip() != fingerprint:
                self._remove_frames()
                with replacing(mark) as temporary:
                    temporary.write_text(fingerprint + "\n", encoding="utf-8")
            for file in self._files():
                if not self._whole(file):
                    file.unlink(missing_ok=True)

    def __contains__(self, number: int) -> bool:
        return self._file(number).is_file()

    def __getitem__(self, number: int) -> np.ndarray:
        return read_picture(self._file(number))

    def __setitem__(self, number: int, rgb: np.ndarray) -> None:
        write_picture(self._file(number), rgb)

    def clear(self) -> None:
        """Remove the frames, and the folder if nothing of the maker's lies in it."""
        with outside(self.folder):
            self._remove_frames()
            (self.folder / _MARK).unlink(missing_ok=True)
            if not any(self.folder.iterdir()):
                self.folder.rmdir()

    def _file(self, number):
        return self.folder / f"frame-{number:05d}.png"

    def _files(self):
        # A run that was killed outright may have left temporary files, whose names start with a dot.
        return [file for pattern in ("frame-*.png", ".frame-*.png", f".{Path(_MARK).stem}-*") for file in self.folder.glob(pattern)]

    def _remove_frames(self):
        for file in self._files():
            file.unlink(missing_ok=True)

    def _whole(self, file):
        try:
            with Image.open(file) as picture:
                picture.verify()
                return not file.name.startswith(".") and picture.size == self._size
        except (OSError, SyntaxError, ValueError):
            return False
