"""Flattening and crushing against closed forms and plane elasticity."""

import math

import numpy as np
import pytest

from model.laminate import A2_11, A2_12, A2_22
from model.shell import (
    BESIDE,
    D22,
    MOMENT_UNDER,
    NEUTRAL,
    PUSH,
    SHORTENING,
    flattening_moment,
    ring_shortening,
)
from tests.published.ring_solid import crushed_ring, plane_strain_stiffness
from tests.tubes import Layer, Tube, isotropic, kaw_ply, ply_of

CARBON = ply_of(135e9, 10e9, 5e9, 0.3, 1417.5e6, 1147.5e6, 50e6, 200e6, 70e6)


def flattening_of(tube):
    return flattening_moment(tube.EI[0], tube.hoop[D22, 0], tube.hoop[NEUTRAL, 0])


@pytest.mark.source(
    "L. G. Brazier, On the flexure of thin cylindrical shells and other thin sections, "
    "Proc. R. Soc. Lond. A 116, 1927; C. R. Calladine, Theory of Shell Structures: "
    "M = 0.987 E r t²/√(1 - nu²), from memory and re-derived"
)
@pytest.mark.parametrize("nu", [0.0, 0.3])
def test_flattening_of_a_thin_tube_of_one_material(nu):
    E, r, t = 70e9, 0.1, 1e-4
    tube = Tube(r - t / 2, (Layer(isotropic(E, nu), 0, t),))
    moment = 0.987307 * E * r * t**2 / math.sqrt(1 - nu**2)
    assert flattening_of(tube) == pytest.approx(moment, rel=2e-5)


@pytest.mark.source(
    "the same with the stiffness of a laminate: largest moment 3.420133 r √(Ax D22), "
    "Ax the axial stiffness per circumference with the hoop free; re-derived"
)
def test_flattening_of_a_thin_layered_tube():
    t = 3e-5
    layers = (
        Layer(kaw_ply(), 45, t, is_pair=True),
        Layer(kaw_ply(), 0, t),
        Layer(kaw_ply(), 90, t),
    )
    r = 0.1
    tube = Tube(r - 1.5 * t, layers)
    sums = tube.sums[:, 0]
    axial = (sums[A2_11] - sums[A2_12] ** 2 / sums[A2_22]) / r
    moment = 3.420133 * r * math.sqrt(axial * tube.hoop[D22, 0])
    assert flattening_of(tube) == pytest.approx(moment, rel=1e-3)


@pytest.mark.source(
    "exact: the largest moment of EI κ (1 - 3/2 ζ) with ζ = κ² EI r/(12 π D22), the "
    "flattening of least energy, found by trying curvatures"
)
def test_the_largest_moment_of_a_flattening_tube():
    EI, D, r = 40.0, 3.0, 7e-3
    curvature = np.linspace(0.0, 40.0, 400_001)
    flat = curvature**2 * EI * r / (12 * math.pi * D)
    largest = np.max(EI * curvature * (1 - 1.5 * flat))
    assert 0 < np.argmax(EI * curvature * (1 - 1.5 * flat)) < 400_000
    assert flattening_moment(EI, D, r) == pytest.approx(largest, rel=1e-9)


@pytest.mark.source(
    "Roark's Formulas for Stress and Strain, tables of circular rings, loads on a "
    "diameter, from memory: moment 0.318310 W R, deflection 0.148778 W R³/(E I)"
)
def test_constants_of_a_crushed_ring():
    assert pytest.approx(0.318310, abs=5e-7) == MOMENT_UNDER
    assert pytest.approx(0.148778, abs=1e-6) == SHORTENING
    I = 0.01 * 1e-3**3 / 12  # noqa: E741
    stiffness = 70e9 * I / 0.01
    ring = ring_shortening(50.0, 7e-3, stiffness, 0.01)
    assert ring == pytest.approx(0.148778 * 50.0 * 7e-3**3 / (70e9 * I), rel=1e-5)


@pytest.mark.source(
    "Roark's Formulas for Stress and Strain, tables of circular rings, from memory: "
    "bending stress 6 M/(b t²) with M = 0.318310 W R at the load"
)
def test_crushing_of_a_ring_of_one_material_by_hand():
    # it splits inside under the load, where the bending stress is the strength
    E, strength, r, t, b = 70e9, 100e6, 0.1, 2e-4, 0.01
    ply = ply_of(E, E, E / 2, 0.0, *(2 * [1e9]), strength, 4 * strength, 1e9)
    tube = Tube(r - t / 2, (Layer(ply, 0, t),), width=b)
    load = strength * b * t**2 / 6 / (0.318310 * r)
    assert tube.crush_load() == pytest.approx(load, rel=1e-5)


STRAIGHT = plane_strain_stiffness(
    (135e9, 10e9, 10e9), (0.3, 0.3, 0.45), 10e9 / 2 / 1.45
)
ROUND = plane_strain_stiffness((10e9, 135e9, 10e9), (0.3 * 10 / 135, 0.45, 0.3), 5e9)
OF_ONE = plane_strain_stiffness((70e9,) * 3, (0.3,) * 3, 70e9 / 2.6)
METAL = isotropic(70e9, 0.3)


@pytest.mark.source("plane elasticity by finite elements (scikit-fem), plies as solids")
@pytest.mark.parametrize(
    ("inner", "layers", "shortening", "strain"),
    [
        # the last two: what the plate gives over what the solid has, as measured
        (6e-3, ((METAL, 0, 0.1e-3, OF_ONE),), 1.00, None),
        (6e-3, ((METAL, 0, 0.8e-3, OF_ONE),), 0.98, 1.04),
        (6e-3, ((CARBON, 0, 0.8e-3, STRAIGHT),), 0.98, 1.04),
        (
            6e-3,
            ((CARBON, 0, 0.5e-3, STRAIGHT), (CARBON, 90, 0.05e-3, ROUND)),
            1.02,
            1.01,
        ),
        # hoop plies on both faces shear the straight ones between them
        (
            6e-3,
            (
                (CARBON, 90, 0.1e-3, ROUND),
                (CARBON, 0, 0.6e-3, STRAIGHT),
                (CARBON, 90, 0.05e-3, ROUND),
            ),
            0.86,
            0.99,
        ),
        (
            2.5e-3,
            ((CARBON, 90, 0.1e-3, ROUND), (CARBON, 0, 1.5e-3, STRAIGHT)),
            0.49,
            1.06,
        ),
    ],
)
def test_crushed_rings_as_solids(inner, layers, shortening, strain):
    tube = Tube(inner, tuple(Layer(*layer[:3]) for layer in layers))
    edges = np.concatenate([tube.r_in[:, 0], tube.r_out[-1]])
    solid = crushed_ring(edges, [layer[3] for layer in layers], 0.01)
    hoop = tube.hoop[:, 0]
    plate = ring_shortening(1.0, hoop[NEUTRAL], hoop[D22], 0.01)
    assert plate / solid[0] == pytest.approx(shortening, abs=0.006)
    if strain is not None:
        outside = hoop[BESIDE] * (edges[-1] - hoop[NEUTRAL]) - hoop[PUSH]
        assert outside / solid[1] == pytest.approx(strain, abs=0.006)
