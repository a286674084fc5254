"""The QR symbol that a tablet reads off the screen."""

import re

import cv2
import numpy as np

from previz.bench.symbol import QUIET, qr_rows, qr_text

LINK = "http://192.0.2.7:8470/pair#AWSG-D8KP"


class TestSymbol:
    """Read back by another library (OpenCV's detector of ISO/IEC 18004 symbols)."""

    def test_is_read_as_it_was_written(self):
        """Drawn as the page draws it, dark on light."""
        rows = np.array(qr_rows(LINK))
        picture = np.kron(np.where(rows, 0, 255).astype(np.uint8), np.ones((8, 8), np.uint8))
        assert cv2.QRCodeDetector().detectAndDecode(picture)[0] == LINK
        assert not rows[:QUIET].any() and not rows[:, -QUIET:].any()

    def test_in_a_terminal(self):
        """Two rows a line, every line as long as the others."""
        lines = [re.sub(r"\x1b\[[0-9;]*m", "", line) for line in qr_text(LINK).splitlines()]
        rows = [[int(c in upper) for c in line] for line in lines for upper in ("▀█", "▄█")]
        assert rows[: len(qr_rows(LINK))] == qr_rows(LINK)
