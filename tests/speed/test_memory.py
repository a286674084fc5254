"""Peak memory of a large frame of many panes, each in a process of its own."""

import json
import resource
import subprocess
import sys

MOST_BYTES = 2 * 2**30
FRAME_BYTES_A_PIXEL = 3 * 4


def peak_bytes(columns, rows):
    """Return the peak resident memory of a process that draws one frame through 400 panes with 16 lamp samples. [bytes]"""
    done = subprocess.run([sys.executable, __file__, str(columns), str(rows)], capture_output=True, text=True, check=True)
    return json.loads(done.stdout.splitlines()[-1])


def test_peak_memory(figures):
    """1920 x 1080, 16 lamp samples, 400 panes: at most 2 GiB, and what a frame adds is its own few buffers."""
    small, large = peak_bytes(960, 540), peak_bytes(1920, 1080)
    own = (1920 * 1080 - 960 * 540) * FRAME_BYTES_A_PIXEL
    figures.keep("memory", peak_gib=large / 2**30, peak_gib_960x540=small / 2**30, growth_in_frames=(large - small) / own)
    assert large <= MOST_BYTES
    # Tiles that wait in line are the same few in both; what is left is the picture, and room that the allocator keeps.
    assert large - small <= 4 * own


def _draw(columns, rows):
    from rooms import many_panes, view_across

    from previz.build.assemble import build_set
    from previz.frames.hazed import hazed_frame
    from previz.rays.lit import light_set

    scene = many_panes(20, 20)
    lit = light_set(scene, build_set(scene, folder=None))
    hazed_frame(lit, view_across(columns, rows), passes=1, lamp_samples=16)
    # Linux counts in KiB, macOS in bytes.
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024))


if __name__ == "__main__":
    from pathlib import Path

    sys.path[:0] = [str(Path(__file__).parents[1] / "outside"), str(Path(__file__).parents[2])]
    _draw(*map(int, sys.argv[1:]))
