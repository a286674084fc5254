"""
Patches and their soft edges against chapter 2 of the reference values: plain projective geometry and similar triangles,
which need no outside source beyond the geometry itself.
"""

import numpy as np
import pytest
from reference import agree, each

from previz.build.assemble import gathered
from previz.build.built import Aperture
from previz.build.solids import Label, Side, Solid
from previz.light.lamps import Emitter
from previz.rays.lit import light_set
from previz.rays.patches import patches
from previz.rays.penumbra import soft_edge
from previz.scene.model import Scene

IN_X = np.array([[0.0, -1, 0], [0, 0, 1], [-1, 0, 0]])


def emitter(shape, centre, normal, half_u=(0, 0, 0), half_v=(0, 0, 0)):
    arrays = (np.array(v, dtype=float) for v in (centre, normal, half_u, half_v))
    return Emitter("key", shape, *arrays, candela=np.full(3, 1000.0), exponent=0.0)


def window_before_plane(lamp, y, z, point, normal):
    """Return the patches of a window without thickness in x = 0 that lights a large plane."""
    normal = np.array(normal, dtype=float) / np.linalg.norm(normal)
    u = np.cross(normal, [0, 1, 0])
    u /= np.linalg.norm(u)
    v = np.cross(normal, u)
    corners = np.array(point, dtype=float) + 5000 * np.array([-u - v, u - v, u + v, -u + v])
    side = Side(Label("plane", "top", "plain"), np.array([[0, 1, 2], [0, 2, 3]]), None, True)
    solid = Solid("plane", "mesh", "plane", corners, (side,), closed=False)
    # Seen from outside, along runs against y.
    outline = np.array([(-y[1], z[0]), (-y[0], z[0]), (-y[0], z[1]), (-y[1], z[1])], dtype=float)
    edges = np.array([(0, 1, z[0]), (-1, 0, y[0]), (0, -1, -z[1]), (1, 0, -y[1])], dtype=float)
    hole = Aperture("window", (0, 0), "plane", np.zeros(3), IN_X, 0.0, outline, edges, np.zeros((4, 2)), 1.0)
    built = gathered([solid], (hole,), (), {"plain": np.full(3, 0.5)})
    scene = Scene.model_validate({"lamp": [{"name": "key", "kind": "point", "at": lamp, "toward": [0, np.mean(y), np.mean(z)], "candela": 1000}], "haze": {"extinction": 0}})
    lit = light_set(scene, built, texels=40, rays=4, workers=1)
    return patches(built, lit.emitters, lit)


def same_corners(found, expected, **tolerance):
    """Assert that two rings have the same corners, wherever they start and whichever way they run."""
    expected = np.asarray(expected, float)
    assert found.shape == expected.shape
    nearest = np.linalg.norm(found[:, None] - expected, axis=2).argmin(axis=1)
    assert sorted(nearest) == list(range(len(expected)))
    np.testing.assert_allclose(found, expected[nearest], **tolerance)


@each("2.3")
def test_patch_on_a_parallel_screen(case):
    """The patch is the window times (a + b) / a, and its light falls with the square of that."""
    w, h, a, b = (case["inputs"][key] for key in ("win_w_mm", "win_h_mm", "src_to_win_mm", "win_to_screen_mm"))
    (patch,) = window_before_plane([-a, 0, 0], (-w / 2, w / 2), (-h / 2, h / 2), [b, 0, 0], [-1, 0, 0])
    agree(case, "patch_w_mm", np.ptp(patch.outline_mm[:, 1]))
    agree(case, "patch_h_mm", np.ptp(patch.outline_mm[:, 2]))
    # 1000 cd at a mm from the window.
    ratio = patch.lux / (1000 / (a / 1000) ** 2)
    assert ratio == pytest.approx(case["outputs"]["E_ratio_screen_to_window"], rel=1e-4)


@each("2.4")
def test_patch_of_a_point_source(case):
    """Central projection of the window's corners on a level and on a tilted plane."""
    given = case["inputs"]
    y, z = ([given[f"{axis}0_mm"], given[f"{axis}1_mm"]] for axis in "yz")
    (patch,) = window_before_plane(given["source_mm"], y, z, given["plane_point_mm"], given["plane_normal"])
    same_corners(patch.outline_mm, case["outputs"]["corners_mm"], rtol=case["tol"]["rel"], atol=1e-6)
    agree(case, "area_mm2", patch.area_mm2)


@each("2.1")
def test_soft_edge_on_a_parallel_screen(case):
    """D b / a for a disc and for a panel of the same width, however the edge runs."""
    d, a, b = (case["inputs"][key] for key in ("source_D_mm", "source_to_edge_mm", "edge_to_screen_mm"))
    turn = np.array([[np.cos(0.4), np.sin(0.4), 0]])
    disc = emitter("disc", (0, 0, a), (0, 0, -1), (d / 2, 0, 0), (0, d / 2, 0))
    agree(case, "penumbra_mm", soft_edge(disc, np.zeros((1, 3)), turn, np.array([0, 0, -b]), np.array([0, 0, 1.0]))[0])
    panel = emitter("panel", (0, 0, a), (0, 0, -1), (d / 2, 0, 0), (0, d, 0))
    agree(case, "penumbra_mm", soft_edge(panel, np.zeros((1, 3)), np.array([[0.0, 1, 0]]), np.array([0, 0, -b]), np.array([0, 0, 1.0]))[0])


@each("2.6")
def test_soft_edge_along_a_floor(case):
    """The limb rays of a disc that faces the edge, thrown on a level floor."""
    diameter, sx, sz, ex, ez = (case["inputs"][key] for key in ("D_mm", "src_x_mm", "src_z_mm", "edge_x_mm", "edge_z_mm"))
    lamp, edge = np.array([sx, 0.0, sz]), np.array([ex, 0.0, ez])
    ray = (edge - lamp) / np.linalg.norm(edge - lamp)
    across = np.array([-ray[2], 0, ray[0]])
    disc = emitter("disc", lamp, ray, across * diameter / 2, (0, diameter / 2, 0))
    at = lamp + (edge - lamp) * sz / (sz - ez)
    width = soft_edge(disc, edge[None], np.array([[0.0, 1, 0]]), at, np.array([0, 0, 1.0]))
    agree(case, "width_mm", width[0])


@pytest.mark.parametrize(("radius", "ends"), [(9.9, True), (10.1, False)])
def test_soft_edge_that_never_ends(radius, ends):
    """A disc 10 mm above the level of the edge: as soon as its rim sinks below that, light rises past the edge."""
    disc = emitter("disc", (-100, 0, 60), (1, 0, 0), (0, radius, 0), (0, 0, radius))
    width = soft_edge(disc, np.array([[0.0, 0, 50]]), np.array([[0.0, 1, 0]]), np.array([500.0, 0, 0]), np.array([0, 0, 1.0]))
    assert np.isfinite(width[0]) == ends
