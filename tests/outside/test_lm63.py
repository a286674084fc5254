"""
Photometric files against reference cases 6.4: ANSI/IESNA LM-63-02 (opening section and layout seen; details from memory), beam
and field angle by IES definitions (secondary source seen). REF-A.ies and REF-B.ies are invented.
"""

from pathlib import Path

import numpy as np
import pytest
from reference import agree, each

from previz.light.distribution import BEAM_SHARE, FIELD_SHARE
from previz.light.lm63 import read_lm63

HERE = Path(__file__).parent


@each("6.4")
def test_reference_file(case):
    """Flux by the zonal method and of the linear pieces, beam and field angles plane by plane, sizes in metres from metres and feet."""
    file = read_lm63(HERE / case["inputs"]["file"])
    spread, zones = file.distribution, file.zonal_lumens
    agree(case, "peak_cd", spread.peak)
    agree(case, "flux_exact_pwlinear_lm", spread.lumens)
    agree(case, "flux_zone_avg_lm", zones.sum())
    for high in (30, 60, 90):
        agree(case, f"zonal_0_{high}_lm", zones[file.vertical_deg[1:] <= high].sum())
    agree(case, "beam_angle_50_deg", [spread.width_deg(BEAM_SHARE, phi) for phi in file.horizontal_deg])
    agree(case, "field_angle_10_deg", [spread.width_deg(FIELD_SHARE, phi) for phi in file.horizontal_deg])
    agree(case, "lm_per_W", zones.sum() / file.watts)
    agree(case, "width_m", file.width_mm / 1000)
    agree(case, "length_m", file.length_mm / 1000)


@pytest.mark.parametrize("kind", [2, 3])
def test_types_a_and_b_turn_about_their_own_axis(kind):
    """LM-63-02 section 3 (excerpt seen): planes of type A share a vertical axis, those of type B a horizontal one.

    A lamp whose intensity in a plane falls as the cosine of its latitude only keeps its value along the plane of turning.
    """
    from previz.light.lm63 import parsed

    angles = np.arange(-90, 91, 10)
    falls = np.cos(np.radians(angles))
    table = np.outer(np.ones(19), falls) if kind == 3 else np.outer(falls, np.ones(19))
    numbers = lambda row: " ".join(f"{x:.6f}" for x in row)  # noqa: E731
    text = f"TILT=NONE\n1 -1 1 19 19 {kind} 2 0 0 0 1 1 10\n{numbers(angles)}\n{numbers(angles)}\n" + "\n".join(map(numbers, table * 100))
    spread = parsed(text).distribution
    level, upright = (0.0, np.pi / 2) if kind == 3 else (np.pi / 2, 0.0)
    assert spread.towards(np.radians(60), level) == pytest.approx(100, rel=1e-4)
    assert spread.towards(np.radians(60), upright) == pytest.approx(50, rel=1e-4)
    # All of I cos(latitude) over the half sphere: pi^2 / 2.
    assert spread.lumens == pytest.approx(100 * np.pi**2 / 2, rel=2e-2)
