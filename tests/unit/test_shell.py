"""Hoop bending of the wall: its stiffness, flattening, crushing."""

import math

import numpy as np
import pytest

from model.failure import MODES
from model.governing import crushing_plies
from model.shell import (
    BESIDE,
    D22,
    NEUTRAL,
    PUSH,
    SECOND,
    STRETCH,
    UNDER,
    crush_ply_use,
    flattening_moment,
    flattening_use,
    ring_shortening,
)
from tests.tubes import Layer, Tube, isotropic, kaw_ply, ply_of

STANDARD = ply_of(135e9, 10e9, 5e9, 0.3, 1417.5e6, 1147.5e6, 50e6, 200e6, 70e6)
#: High modulus: its fibres bear compression least.
STIFF = ply_of(350e9, 6e9, 4.2e9, 0.28, 1750e6, 875e6, 30e6, 120e6, 54e6)
LIGHT_BUTT = (
    Layer(STANDARD, 45, 0.1e-3, is_pair=True),
    Layer(STANDARD, 0, 0.45e-3),
)
#: One turn of a 40 g/m² prepreg round the outside.
HOOP_PLY = Layer(STANDARD, 90, 0.044e-3)
HOOPED = (Layer(STANDARD, 45, 0.4e-3, is_pair=True), Layer(STIFF, 90, 0.2e-3))
HOOP_INSIDE = (Layer(STANDARD, 90, 0.1e-3), Layer(STANDARD, 0, 0.8e-3))


def test_hoop_bending_is_that_of_a_plate_about_its_neutral_radius():
    layers = (*LIGHT_BUTT, HOOP_PLY)
    tube = Tube(6.5e-3, layers)
    r = [np.linspace(a, b, 20001) for a, b in zip(tube.r_in, tube.r_out, strict=True)]
    q = [135e9, 10e9, 5e9]
    q22 = [hoop_stiffness(layer, *q) for layer in layers]
    stretch = sum(Q * (x[-1, 0] - x[0, 0]) for Q, x in zip(q22, r, strict=True))
    first = sum(Q * np.trapezoid(x[:, 0], x[:, 0]) for Q, x in zip(q22, r, strict=True))
    neutral = first / stretch
    bending = sum(
        Q * np.trapezoid((x[:, 0] - neutral) ** 2, x[:, 0])
        for Q, x in zip(q22, r, strict=True)
    )
    assert tube.hoop[STRETCH, 0] == pytest.approx(stretch, rel=1e-12)
    assert tube.hoop[NEUTRAL, 0] == pytest.approx(neutral, rel=1e-9)
    assert tube.hoop[D22, 0] == pytest.approx(bending, rel=1e-7)


def hoop_stiffness(layer, E1, E2, G12):
    share = 1 - 0.3**2 * E2 / E1
    q11, q12, q22 = E1 / share, 0.3 * E2 / share, E2 / share
    c, s = math.cos(math.radians(layer.degrees)), math.sin(math.radians(layer.degrees))
    return q11 * s**4 + q22 * c**4 + 2 * (q12 + 2 * G12) * s * s * c * c


def test_a_thin_hoop_ply_outside_triples_the_hoop_stiffness_of_a_light_butt():
    bare = Tube(6.5e-3, LIGHT_BUTT)
    wrapped = Tube(6.5e-3, (*LIGHT_BUTT, HOOP_PLY))
    added = HOOP_PLY.thickness / sum(layer.thickness for layer in LIGHT_BUTT)
    assert added < 0.09
    assert wrapped.hoop[D22, 0] / bare.hoop[D22, 0] == pytest.approx(3.1, abs=0.05)
    # the same ply inside the straight plies, near the middle of the wall, does little
    inside = Tube(6.5e-3, (LIGHT_BUTT[0], HOOP_PLY, LIGHT_BUTT[1]))
    assert inside.hoop[D22, 0] / bare.hoop[D22, 0] < 2.0


def test_flattening_of_each_station_is_its_moment():
    tube = Tube(6.5e-3, LIGHT_BUTT)
    use = np.zeros(1)
    flattening_use(tube.EI, tube.hoop, 1, use)
    moment = flattening_moment(tube.EI[0], tube.hoop[D22, 0], tube.hoop[NEUTRAL, 0])
    assert tube.EI[0] / use[0] == pytest.approx(moment, rel=1e-12)


def test_a_crushed_ring_is_strained_as_its_bending_says():
    tube = Tube(6e-3, (Layer(isotropic(70e9, 0.0), 0, 1e-3),), width=0.02)
    R, t = 6.5e-3, 1e-3
    D = 70e9 * t**3 / 12
    assert tube.hoop[UNDER, 0] == pytest.approx(R / math.pi / D / 0.02, rel=1e-9)
    # moments under and beside the load make up the lever of half the load
    both = tube.hoop[UNDER, 0] + tube.hoop[BESIDE, 0]
    assert both == pytest.approx(0.5 * R / D / 0.02, rel=1e-9)
    assert tube.hoop[PUSH, 0] == pytest.approx(0.5 / (70e9 * t * 0.02), rel=1e-12)
    assert tube.hoop[SECOND, 0] > 0.0


@pytest.mark.parametrize(
    ("layers", "mode", "ring", "quadratic"),
    [
        # straight plies split: inside under the load
        ((Layer(STANDARD, 0, 0.8e-3),), "transverse tension", 0, False),
        ((Layer(STANDARD, 0, 0.8e-3),), "transverse tension", 0, True),
        # a hoop ply outside is pressed under the load
        (HOOPED, "fibre compression", 1, False),
        # by the quadratic criterion the bias ply inside cracks just before it
        (HOOPED, "transverse tension", 0, True),
        # a straight ply outside bears the press under the load, splits beside it
        (HOOP_INSIDE, "transverse tension", 1, False),
        (HOOP_INSIDE, "transverse tension", 1, True),
    ],
)
def test_the_ply_that_a_crushed_ring_fails_by(layers, mode, ring, quadratic):
    tube = Tube(6e-3, layers)
    found = crushing_plies(tube.rings, tube.hoop, quadratic=quadratic)
    assert found.ring[0] == ring
    assert MODES[found.mode[0]] == mode
    if not quadratic:
        assert tube.crush_load() == pytest.approx(found.load[0], rel=1e-12)
    use = np.zeros(1)
    for k, layer in enumerate(layers):
        row = (tube.rings.limits[k], *tube.rings.angles[k], layer.is_pair, quadratic)
        place = (tube.r_in[k], tube.r_out[k], 0, 0, use)
        crush_ply_use(*row, tube.hoop, tube.free, *place)
    assert 1.0 / use[0] == pytest.approx(found.load[0], rel=1e-12)


def test_load_beside_counts_where_the_ply_is_weak_in_tension():
    # by hand: the straight ply outside, a quarter of the ring from the load
    tube = Tube(6e-3, HOOP_INSIDE)
    column = tube.hoop[:, 0]
    arm = 6.9e-3 - column[NEUTRAL]
    beside = column[BESIDE] * arm - column[PUSH]
    under = column[UNDER] * arm
    assert beside / 5e-3 > under / 20e-3
    assert tube.crush_load() == pytest.approx(5e-3 / beside, rel=1e-9)


def test_cooling_lowers_the_load_that_cracks_a_ring():
    layers = (Layer(kaw_ply(), 90, 0.1e-3), Layer(kaw_ply(), 0, 0.7e-3))
    warm, cold = Tube(6e-3, layers), Tube(6e-3, layers, drop=100.0)
    loads = [
        crushing_plies(tube.rings, tube.hoop, free=tube.free).load[0]
        for tube in (warm, cold)
    ]
    assert loads[1] < 0.9 * loads[0]


def test_ring_of_no_thickness_neither_bends_nor_fails():
    plain = Tube(6e-3, HOOP_INSIDE)
    with_nothing = Tube(6e-3, (*HOOP_INSIDE, Layer(STIFF, 90, 0.0)))
    assert with_nothing.hoop == pytest.approx(plain.hoop, rel=1e-12)
    assert with_nothing.crush_load() == pytest.approx(plain.crush_load(), rel=1e-12)


def test_shortening_goes_with_the_cube_of_the_radius():
    one = ring_shortening(100.0, 6e-3, 3.0, 0.01)
    assert ring_shortening(100.0, 12e-3, 3.0, 0.01) == pytest.approx(8 * one)
