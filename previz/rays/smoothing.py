"""
How bounced light is read without grain: a blur on each surface, as wide as the room around it allows.

Bounced light changes over lengths in proportion to the harmonic mean distance of what is seen (G. Ward, F. Rubinstein
and R. Clear, "A ray tracing solution for diffuse interreflection", SIGGRAPH 1988; from memory), so a blur of a fourteenth of
that takes away grain without moving light; along the edge of a face, where a neighbouring wall makes everything near, it may
be longer. Twice as wide, it carried the glow of a wall beside a bright patch a fifth too far (own choice, measured). Texels that see nothing, in the holes of a face or under a prop, are filled
from their neighbours, so that light read near them is not dark.

Geometry alone: a sparse matrix, made once with the transport.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.sparse import csr_array

from previz.rays.compiled import compiled
from previz.rays.texels import Texels

_BLUR, _WIDEST_BLUR, _FARTHEST, _AT_THE_EDGE = 0.07, 1.5, 8, 5
_MOST_NEIGHBOURS = 400


def reading(texels: Texels, valid: np.ndarray, openness: np.ndarray) -> csr_array:
    """
    Return the (n, n) float32 matrix that turns gathered light into light to read.

    Parameters
    ----------
    valid : (n,) bool array
        Texels that see the open.
    openness : (n,) float array
        Harmonic mean distance of what each sees. [mm]
    """
    lookup = texels.lookup
    n = len(valid)
    counts = np.zeros(n, np.int64)
    size, step = lookup.size, lookup.step.astype(np.float64)
    seen = openness.astype(np.float64)
    nothing = np.zeros(0, np.int32), np.zeros(0, np.float32), np.zeros(0, np.int64)
    for fill in (False, True):
        # Once to count the neighbours of each texel, once to write them down.
        columns, weights, first = nothing if not fill else (np.empty(counts.sum(), np.int32), np.empty(counts.sum(), np.float32), np.cumsum(counts) - counts)
        _grid_neighbours(lookup.first, size, step, valid, seen, fill, counts, first, columns, weights)
        _cube_neighbours(lookup.cube, float(lookup.cube_step), valid, seen, fill, counts, first, columns, weights)
    return csr_array((weights, columns, np.concatenate([[0], np.cumsum(counts)])), shape=(n, n))


@compiled
def _grid_neighbours(first, size, step, valid, openness, fill, counts, starts, columns, weights):
    """Neighbours on the grid of each face: counted, or written from `starts` on."""
    for chart in range(len(first)):
        wide, high = size[chart, 0], size[chart, 1]
        du, dv = step[chart, 0], step[chart, 1]
        for row in range(high):
            for column in range(wide):
                here = first[chart] + row * wide + column
                least = 0.7 * min(du, dv)
                reach = max(_BLUR * openness[here], least) if valid[here] else least
                wide_u, wide_v = reach, reach
                # Next to a corner of the room light changes fast across it and slowly along it.
                to_side = min(column, wide - 1 - column) * du
                to_end = min(row, high - 1 - row) * dv
                if valid[here] and to_side < _AT_THE_EDGE * du:
                    wide_v = max(reach, min(0.25 * to_end, _WIDEST_BLUR * dv))
                if valid[here] and to_end < _AT_THE_EDGE * dv:
                    wide_u = max(reach, min(0.25 * to_side, _WIDEST_BLUR * du))
                across = int(min(max(2.0 * wide_u / du, 1.0), _FARTHEST))
                upward = int(min(max(2.0 * wide_v / dv, 1.0), _FARTHEST))
                while True:
                    count = 0
                    total = 0.0
                    if not valid[here]:
                        wide_u = wide_v = max(across * du, upward * dv) * 0.5
                    for j in range(max(0, row - upward), min(high, row + upward + 1)):
                        for i in range(max(0, column - across), min(wide, column + across + 1)):
                            at = first[chart] + j * wide + i
                            if not valid[at] or count == _MOST_NEIGHBOURS:
                                continue
                            if fill:
                                x, y = (i - column) * du, (j - row) * dv
                                share = math.exp(-0.5 * ((x / wide_u) ** 2 + (y / wide_v) ** 2))
                                columns[starts[here] + count] = at
                                weights[starts[here] + count] = share
                                total += share
                            count += 1
                    if count > 0 or (across >= wide and upward >= high):
                        break
                    across, upward = 2 * across, 2 * upward
                counts[here] = count
                if fill and total > 0.0:
                    for k in range(starts[here], starts[here] + count):
                        weights[k] /= total


@compiled
def _cube_neighbours(cube, step, valid, openness, fill, counts, starts, columns, weights):
    """The same for the texels of imported meshes: cubes around that face the same way."""
    for i in range(cube.shape[0]):
        for j in range(cube.shape[1]):
            for k in range(cube.shape[2]):
                for facing in range(6):
                    here = cube[i, j, k, facing]
                    if here < 0:
                        continue
                    reach = int(min(max(0.2 * openness[here] / step, 1.0), 3.0)) if valid[here] else 3
                    width = max(0.5 * reach, 0.7)
                    count = 0
                    total = 0.0
                    for a in range(max(0, i - reach), min(cube.shape[0], i + reach + 1)):
                        for b in range(max(0, j - reach), min(cube.shape[1], j + reach + 1)):
                            for c in range(max(0, k - reach), min(cube.shape[2], k + reach + 1)):
                                at = cube[a, b, c, facing]
                                if at < 0 or not valid[at]:
                                    continue
                                if fill:
                                    square = (a - i) ** 2 + (b - j) ** 2 + (c - k) ** 2
                                    share = math.exp(-0.5 * square / (width * width))
                                    columns[starts[here] + count] = at
                                    weights[starts[here] + count] = share
                                    total += share
                                count += 1
                    counts[here] = count
                    if fill and total > 0.0:
                        for m in range(starts[here], starts[here] + count):
                            weights[m] /= total
