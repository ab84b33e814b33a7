"""Fields of strain, uses and margins of a shaft."""

import math

import numpy as np
import pytest

from model.governing import FIBRE, governing_plies
from model.laminate import A2_11
from model.strength import (
    AXIAL,
    HOOP,
    HOOP_PER_RADIUS,
    N_FIELD,
    SHEAR,
    SHEAR_PER_RADIUS,
    bending_field,
    envelope_margin,
    envelope_moment,
    fibre_use,
    ply_use,
    torsion_field,
    torsion_test,
)
from tests.tubes import Layer, Tube, kaw_ply, ply_of

STIFF = ply_of(300e9, 8e9, 5e9, 0.3, 1500e6, 900e6, 40e6, 160e6, 65e6)
WALL = (
    Layer(STIFF, 45, 0.3e-3, is_pair=True),
    Layer(kaw_ply(), 90, 0.05e-3),
    Layer(kaw_ply(), 0, 0.5e-3),
    Layer(STIFF, 0, 0.1e-3),
)


def test_an_impact_is_an_envelope_with_a_peak():
    def impact(x):
        return envelope_moment(x, 40.0, 0.0, 0.035, 0.035, 0.350)

    assert [impact(x) for x in (-0.01, 0.0, 0.35, 0.4)] == [0.0, 0.0, 0.0, 0.0]
    assert impact(0.035) == pytest.approx(40.0)
    assert impact(0.0175) == pytest.approx(20.0)
    assert impact(0.1925) == pytest.approx(20.0)


def test_the_margin_of_a_shaft_is_that_of_its_weakest_station():
    x = np.linspace(0.0, 1.0, 11)
    EI = np.full(11, 40.0)
    use = np.full(11, 0.4)
    use[6] = 0.8
    use[0] = 100.0  # where no moment is required
    margin = envelope_margin(x, EI, use, 0, 10, 30.0, 0.0, 0.2, 0.8, 1.0)
    assert margin == pytest.approx(40.0 / 0.8 / 30.0 - 1.0)
    use[9] = np.inf  # broken before it is loaded
    assert envelope_margin(x, EI, use, 0, 10, 30.0, 0.0, 0.2, 0.8, 1.0) == -1.0
    nothing = envelope_margin(x, EI, use, 0, 10, 0.0, 0.0, 0.2, 0.8, 1.0)
    assert math.isnan(nothing)


def test_fibres_in_bending_are_strained_by_the_rotation_of_strain():
    # all points at once, written out; rings without thickness have no fibre
    rng = np.random.default_rng(5)
    n = 40
    hoop, r_in = -rng.random(n) * 1e-3, rng.random(n) * 5e-3
    r_out = r_in + np.where(rng.random(n) < 0.2, 0.0, 1e-3)
    slope, shear = -rng.random(n) * 0.2, rng.normal(size=n) * 1e-3
    field = np.zeros((N_FIELD, n))
    bending_field(hoop, slope, shear, n, field)
    first, last = 2, n - 3
    covered = (np.arange(n) >= first) & (np.arange(n) <= last) & (r_out > r_in)
    for degrees in (0, 30, 90):
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        for sides in ((1,), (1, -1)):
            strains = [
                c * c * r_out + s * s * (hoop + slope * r_out) + side * c * s * shear
                for side in sides
            ]
            expected = np.where(covered, np.abs(strains).max(axis=0) / 9e-3, 0.0)
            use = np.zeros(n)
            rings = (field, r_in, r_out, first, last, use)
            fibre_use(c * c, s * s, c * s, len(sides) == 2, 9e-3, *rings)
            assert use == pytest.approx(expected, rel=1e-12)


def test_a_pair_in_a_wall_that_shears_as_it_bends_has_a_worse_side():
    layers = (Layer(STIFF, 40, 0.3e-3, is_pair=True), Layer(kaw_ply(), 20, 0.4e-3))
    tube = Tube(5e-3, layers)
    assert abs(tube.bending[SHEAR, 0]) > 0.0
    both = [
        Tube.fibre_use(tube, tube.bending),
        governing_plies(tube.rings, tube.bending, np.ones(1)).margin[FIBRE, 0],
    ]
    assert 1.0 / both[0] - 1.0 == pytest.approx(both[1], rel=1e-12)
    c, s = math.cos(math.radians(40)), math.sin(math.radians(40))
    r = tube.r_out[0, 0]
    strains = [
        c * c * r
        + s * s * (tube.bending[HOOP, 0] + tube.bending[HOOP_PER_RADIUS, 0] * r)
        + side * c * s * tube.bending[SHEAR, 0]
        for side in (1, -1)
    ]
    worst = max(abs(strain) for strain in strains) / (900e6 / 300e9)
    alone = np.zeros(1)
    trig = tube.rings.angles[0]
    rings = (tube.r_in[0], tube.r_out[0], 0, 0, alone)
    fibre_use(*trig, True, 900e6 / 300e9, tube.bending, *rings)
    assert alone[0] == pytest.approx(worst, rel=1e-12)


@pytest.mark.parametrize("load", ["bending", "torsion"])
@pytest.mark.parametrize(
    "layers",
    [
        WALL,
        (*WALL, Layer(kaw_ply(), 25, 0.2e-3)),
        (Layer(STIFF, 30, 0.2e-3), Layer(STIFF, 35, 0.2e-3, is_pair=True)),
    ],
)
def test_the_general_path_gives_what_the_fast_one_gives(layers, load):
    tube = Tube(5e-3, layers)
    field = getattr(tube, load)
    use = np.zeros(1)
    for k, layer in enumerate(layers):
        row = (tube.rings.limits[k], *tube.rings.angles[k], layer.is_pair, False)
        ply_use(*row, field, tube.free, tube.r_in[k], tube.r_out[k], 0, 0, use)
    assert use[0] == pytest.approx(tube.fibre_use(field), rel=1e-12)


def test_torsion_of_a_wall_that_stretches_as_it_twists():
    tube = Tube(5e-3, (Layer(kaw_ply(), 0, 0.3e-3), Layer(STIFF, 30, 0.3e-3)))
    axial, hoop = tube.torsion[AXIAL, 0], tube.torsion[HOOP, 0]
    rate = tube.torsion[SHEAR_PER_RADIUS, 0]
    assert axial != 0.0
    # axial and hoop resultants vanish
    fine = np.zeros(2)
    for k, layer in enumerate(tube.layers):
        r = np.linspace(tube.r_in[k, 0], tube.r_out[k, 0], 4001)
        Q = stiffness(layer)
        strain = np.array([axial + 0 * r, hoop + 0 * r, rate * r])
        fine += np.trapezoid((Q[:2] @ strain) * r, r, axis=1)
    whole = tube.sums[A2_11, 0] * abs(axial)
    assert fine == pytest.approx([0.0, 0.0], abs=1e-6 * whole)


def stiffness(layer):
    ply = layer.ply
    a = math.radians(layer.degrees)
    c, s = math.cos(a), math.sin(a)
    S = np.array(
        [
            [1 / ply.E1, -ply.nu12 / ply.E1, 0],
            [-ply.nu12 / ply.E1, 1 / ply.E2, 0],
            [0, 0, 1 / ply.G12],
        ]
    )
    to_ply = np.array(
        [
            [c * c, s * s, c * s],
            [s * s, c * c, -c * s],
            [-2 * c * s, 2 * c * s, c * c - s * s],
        ]
    )
    return to_ply.T @ np.linalg.inv(S) @ to_ply


def test_uncoupled_torsion_needs_no_coupling_sums():
    tube = Tube(5e-3, WALL)
    field = np.full((N_FIELD, 1), 7.0)
    torsion_field(tube.sums, tube.GJ, 1, False, field)
    assert field == pytest.approx(tube.torsion, abs=1e-15)


def test_the_weakest_station_breaks_and_the_whole_length_twists():
    x = np.array([0.0, 0.4, 0.4, 1.0])
    GJ = np.array([10.0, 10.0, 20.0, 20.0])
    use = 1.0 / np.array([90.0, 80.0, 150.0, 150.0])
    torque, product = torsion_test(x, GJ, use, len(x), x[0], x[3])
    assert torque == pytest.approx(80.0)
    assert product == pytest.approx(80.0 * 80.0 * (0.4 / 10 + 0.6 / 20))
    torque, product = torsion_test(x, GJ, use, len(x), 0.1, 0.9)
    assert torque == pytest.approx(80.0)
    assert product == pytest.approx(80.0 * 80.0 * (0.3 / 10 + 0.5 / 20))
    # what is weak within a grip does not break
    use[0] = 1.0
    assert torsion_test(x, GJ, use, len(x), 0.1, 0.9) == (torque, product)
    use[0], use[3] = 1.0 / 90.0, 1.0
    assert torsion_test(x, GJ, use, len(x), 0.1, 0.9) == (torque, product)


def test_a_grip_cuts_a_cell_whose_flexibility_is_linear():
    x = np.array([0.0, 1.0])
    flexible = np.array([0.1, 0.2])
    use = np.array([0.0, 1.0 / 50.0])
    torque, product = torsion_test(x, 1.0 / flexible, use, 2, 0.3, 1.0)
    assert torque == pytest.approx(50.0)
    # ∫ 0.1 (1 + x) from 0.3 to 1
    assert product == pytest.approx(50.0**2 * 0.1 * (0.7 + (1.0 - 0.09) / 2))


def test_without_bias_the_matrix_gates_at_the_outside():
    tube = Tube(5e-3, (Layer(kaw_ply(), 0, 0.4e-3), Layer(kaw_ply(), 90, 0.1e-3)))
    assert tube.fibre_use(tube.torsion) == pytest.approx(0.0, abs=1e-15)
    strain = 5.5e-3 / tube.GJ[0]
    assert tube.breaking_torque() == pytest.approx(68e6 / 7.17e9 / strain, rel=1e-12)


def test_an_angle_too_low_for_the_fibres_is_gated_by_the_matrix():
    torque = {
        degrees: Tube(5e-3, (Layer(kaw_ply(), degrees, 0.4e-3, is_pair=True),))
        for degrees in (1, 5, 10, 20, 45)
    }
    rate = {d: tube.breaking_torque() / tube.GJ[0] for d, tube in torque.items()}
    # nearly straight plies twist as far as straight ones do, not without limit
    straight = Tube(5e-3, (Layer(kaw_ply(), 0, 0.4e-3),))
    limit = straight.breaking_torque() / straight.GJ[0]
    for degrees in (1, 5, 10):
        share = math.cos(math.radians(2 * degrees))
        assert rate[degrees] == pytest.approx(limit / share, rel=1e-9)
    assert torque[45].shear_use() == pytest.approx(0.0, abs=1e-12)
