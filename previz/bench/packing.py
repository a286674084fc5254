"""
Arrays on their way to the page: one piece of bytes, which a browser reads without copying.

    uint32 length | JSON header | arrays, each at a multiple of 8 bytes

The header's "arrays" has name -> {"type", "shape", "at"}; "at" counts from the end of the header. All numbers are little-endian.
"""

from __future__ import annotations

import json

import numpy as np


def packed(header: dict, arrays: dict[str, np.ndarray]) -> bytes:
    """Return header and arrays as bytes."""
    at, places, pieces = 0, {}, []
    for name, array in arrays.items():
        little = np.ascontiguousarray(array).astype(array.dtype.newbyteorder("<"), copy=False).tobytes()
        places[name] = {"type": array.dtype.name, "shape": list(array.shape), "at": at}
        little += bytes(-len(little) % 8)
        pieces.append(little)
        at += len(little)
    text = json.dumps({**header, "arrays": places}, separators=(",", ":"), allow_nan=False).encode()
    text += b" " * (-(len(text) + 4) % 8)
    return b"".join([len(text).to_bytes(4, "little"), text, *pieces])
