"""
Chapter 2 of the reference values: shadows and window patches by similar triangles, which need no outside source.

The window is the rectangle y0..y1, z0..z1 in the plane x = 0; corners go round from (y0, z0) by (y1, z0).
"""

import numpy as np
import pytest
from reference import agree, each

from previz.light.photometry import point_illuminance
from previz.light.shadow import penumbra_share, penumbra_width, thrown_onto_plane


def area_of(corners):
    return np.linalg.norm(np.sum(np.cross(corners, np.roll(corners, -1, axis=0)), axis=0)) / 2


@each("2.1")
def test_penumbra(case):
    """D b / a: a disc's width, seen through a pinhole at the edge."""
    given = case["inputs"]
    agree(case, "penumbra_mm", penumbra_width(given["source_D_mm"], given["source_to_edge_mm"], given["edge_to_screen_mm"]))


@each("2.2a", "2.2b", "2.2c")
def test_share_across_a_penumbra(case):
    """The area of a circle's segment."""
    agree(case, "fraction", penumbra_share(case["inputs"]["x_over_half_width"]))


@each("2.3")
def test_patch_on_a_parallel_screen(case):
    """The patch is the window times (a + b) / a, and its light falls with the square of that."""
    w, h, a, b = (case["inputs"][key] for key in ("win_w_mm", "win_h_mm", "src_to_win_mm", "win_to_screen_mm"))
    corners = np.array([(0, -w / 2, -h / 2), (0, w / 2, -h / 2), (0, w / 2, h / 2), (0, -w / 2, h / 2)])
    patch = thrown_onto_plane([-a, 0, 0], corners, [b, 0, 0], [1, 0, 0])
    agree(case, "patch_w_mm", np.ptp(patch[:, 1]))
    agree(case, "patch_h_mm", np.ptp(patch[:, 2]))
    lux = point_illuminance(1, [-a, 0, 0], [(0, 0, 0), (b, 0, 0)], [(-1, 0, 0), (-1, 0, 0)])
    agree(case, "E_ratio_screen_to_window", lux[1] / lux[0])


@each("2.4")
def test_patch_of_a_point_source(case):
    """Central projection of the window's corners on a level and on a tilted plane."""
    given = case["inputs"]
    y, z = ([given[f"{axis}0_mm"], given[f"{axis}1_mm"]] for axis in "yz")
    corners = np.array([(0, y[0], z[0]), (0, y[1], z[0]), (0, y[1], z[1]), (0, y[0], z[1])])
    patch = thrown_onto_plane(given["source_mm"], corners, given["plane_point_mm"], given["plane_normal"])
    np.testing.assert_allclose(patch, case["outputs"]["corners_mm"], rtol=case["tol"]["rel"], atol=1e-9)
    assert area_of(patch) == pytest.approx(case["outputs"]["area_mm2"], rel=case["tol"]["rel"])


@each("2.6")
def test_penumbra_along_a_floor(case):
    """The rims of a disc that faces the edge, thrown through the edge on a level floor."""
    diameter, sx, sz, ex, ez = (case["inputs"][key] for key in ("D_mm", "src_x_mm", "src_z_mm", "edge_x_mm", "edge_z_mm"))
    ray = np.array([ex - sx, 0, ez - sz]) / np.hypot(ex - sx, ez - sz)
    across = np.array([-ray[2], 0, ray[0]]) * diameter / 2
    rims = np.array([sx, 0, sz]) + [across, -across]
    near, far = thrown_onto_plane(rims, np.array([[ex, 0, ez]] * 2, dtype=float), [0, 0, 0], [0, 0, 1])[:, 0]
    agree(case, "near_mm", near)
    agree(case, "far_mm", far)
    agree(case, "width_mm", far - near)
