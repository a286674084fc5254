"""
Uneven haze in the engine against plain quadrature of the same integral: Bouguer, Lambert and Beer along both ways, light
scattered once.

A point lamp in a black room of haze. L = integral of albedo sigma(x) p I exp(-depth(lamp, x) - depth(x, lens)) / d^2 dt, where
depth is the integral of sigma along a way (law of Bouguer, Lambert and Beer as in IUPAC Compendium of Chemical Terminology,
"Beer-Lambert law"; from memory). The quadrature is numpy's and the density is read by scipy; it shares the field alone with the engine.
"""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.ndimage import map_coordinates
from test_airlight_engine import emitter, hazy_room

from previz.camera.view import View
from previz.frames.hazed import hazed_frame
from previz.haze.drift import swirls_at
from previz.haze.phase import henyey_greenstein
from previz.light.colour import luminance
from previz.light.units import LUX_PER_CANDELA_MM2, per_mm
from previz.rays.uneven import uneven
from previz.scene.model import Swirls

BOX = np.array([[0.0, -800.0, 0.0], [1600.0, 800.0, 1200.0]])
LAMP, LENS = np.array([300.0, 150.0, 900.0]), np.array([1400.0, -100.0, 300.0])
SIGMA, G = 1.5, 0.6
NODES = 500


def sigma_at(density, points):
    """Return the extinction at points (..., 3). [1/mm]"""
    place = (points.reshape(-1, 3) - density.low) / density.step - 0.5
    inside = ((points >= BOX[0]) & (points <= BOX[1])).all(axis=-1)
    thick = map_coordinates(density.values.astype(float), place.T, order=1, mode="nearest").reshape(points.shape[:-1])
    return per_mm(SIGMA) * np.where(inside, thick, 0.0)


def quadrature(density, ray):
    """Return the luminance along one ray from the lens, of a lamp of 1 cd. [cd/m2]"""
    ends = np.where(ray > 0, BOX[1], BOX[0])
    far = np.min((ends - LENS) / ray)
    # Even steps of the angle seen from the lamp, which leave no peak near it.
    foot = float((LAMP - LENS) @ ray)
    reach = float(np.linalg.norm(LENS + foot * ray - LAMP))
    edge = np.linspace(np.arctan(-foot / reach), np.arctan((far - foot) / reach), NODES + 1)
    angle = (edge[1:] + edge[:-1]) / 2
    along = foot + reach * np.tan(angle)
    points = LENS + along[:, None] * ray
    share = (np.arange(160) + 0.5) / 160
    way = points - LAMP
    distance = np.linalg.norm(way, axis=1)
    from_lamp = sigma_at(density, LAMP + share[None, :, None] * way[:, None]).mean(axis=1) * distance
    to_lens = sigma_at(density, LENS + share[None, :, None] * (points - LENS)[:, None]).mean(axis=1) * along
    phase = henyey_greenstein(-(way @ ray) / distance, G)
    return LUX_PER_CANDELA_MM2 * np.sum(sigma_at(density, points) * phase * np.exp(-from_lamp - to_lens) * np.diff(edge)) / reach


@pytest.mark.parametrize("seed", [1, 2])
def test_single_scattering_in_swirls(seed):
    """A dozen rays, each through a few swirls of contrast 0.6: 1 % at the root mean square; even haze would be many times as far off."""
    lit = hazy_room({"extinction": SIGMA, "g": G}, emitter(LAMP, (0.0, 0.0, -1.0)))
    density = swirls_at(Swirls(contrast=0.6, size=200.0, drift=30.0), seed, lit.medium.cells, BOX, 4.0)
    swirled = replace(lit, uneven=uneven(density, lit.lamps.centre))
    aims = np.random.default_rng(seed).uniform([200.0, -400.0, 100.0], [700.0, 500.0, 700.0], (12, 3))
    found, even, expected = [], [], []
    for aim in aims:
        ray = (aim - LENS) / np.linalg.norm(aim - LENS)
        right = np.cross(ray, [0.0, 0.0, 1.0])
        right /= np.linalg.norm(right)
        view = View(LENS, ray, right, np.cross(right, ray), 1e-4, 1e-4, 1, 1)
        expected.append(quadrature(density, ray))
        for one, values in ((swirled, found), (lit, even)):
            values.append(luminance(hazed_frame(one, view, passes=64, lamp_samples=1, haze_samples=16, bounces=False, workers=1)[0, 0]))
    off = np.array(found) / expected - 1
    assert np.sqrt(np.mean(off**2)) < 0.01
    assert np.sqrt(np.mean((np.array(even) / expected - 1) ** 2)) > 0.05
    assert_allclose(found, expected, rtol=0.03)
