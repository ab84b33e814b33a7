"""Reserves and margins of one ply, with strains that are there before the load."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.failure import (
    MODES,
    SHEARED,
    TENSION,
    ply_limits,
    ply_margins,
    ply_uses,
)
from tests.tubes import kaw_ply, ply_of

PLY = ply_of(135e9, 10e9, 5e9, 0.3, 1417.5e6, 1147.5e6, 50e6, 200e6, 70e6)
LIMITS = ply_limits(PLY)
STRAIN = st.floats(-0.02, 0.02).filter(lambda x: abs(x) > 1e-6)


def reserves(*args):
    """Factors and modes instead of their inverse."""
    found = list(ply_uses(*args))
    found[::2] = [math.inf if use == 0.0 else 1.0 / use for use in found[::2]]
    return found


def names(found):
    return tuple(MODES[found[i]] for i in (1, 3, 5))


@pytest.mark.parametrize(
    ("strains", "reserve", "mode"),
    [
        ((2e-3, 0, 0), 10.5e-3 / 2e-3, "fibre tension"),
        ((-2e-3, 0, 0), 8.5e-3 / 2e-3, "fibre compression"),
        ((0, 1e-3, 0), 5.0, "transverse tension"),
        ((0, -1e-3, 0), 20.0, "transverse compression"),
        ((0, 0, -7e-3), 2.0, "shear"),
    ],
)
def test_every_mode_by_its_own_strain(strains, reserve, mode):
    found = reserves(LIMITS, *strains, 0.0, 0.0, 0.0)
    row = 0 if mode.startswith("fibre") else 2
    assert found[row] == pytest.approx(reserve, rel=1e-12)
    assert names(found)[row // 2] == mode
    assert found[2 - row] == math.inf
    assert names(found)[1 - row // 2] == ""


def test_no_load_never_fails_and_an_overstrained_ply_has_failed():
    at_rest = reserves(LIMITS, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    assert [at_rest[i] for i in (0, 2, 4)] == [math.inf] * 3
    for there in ((11e-3, 0, 0), (-9e-3, 0, 0), (0, 6e-3, 0), (0, 0, 15e-3)):
        for load in (1e-3, -1e-3):
            found = reserves(LIMITS, load, load, load, *there)
            assert min(found[0], found[2]) == 0.0
            # by the quadratic criterion some of these strains still pass
            assert (found[4] == 0.0) == (criterion(np.array(there)) >= 1.0)
    found = ply_margins(LIMITS, 0.0, 1.0, 0.0, False, 1e-3, 0, 0, 0, 11e-3, 0)
    assert found[0] == -1.0
    assert names(found)[0] == "fibre tension"


def test_strains_that_are_there_use_up_one_side_and_spare_the_other():
    found = reserves(LIMITS, 2e-3, 1e-3, 0.0, -1e-3, 2e-3, 0.0)
    assert found[0] == pytest.approx(11.5e-3 / 2e-3)
    assert found[2] == pytest.approx(3.0)
    # either sign of the load: the weaker side decides
    found = ply_margins(LIMITS, 1.0, 0.0, 0.0, False, 2e-3, 1e-3, 0, -1e-3, 2e-3, 0)
    assert 1.0 + found[0] == pytest.approx(7.5e-3 / 2e-3)
    assert names(found)[:2] == ("fibre compression", "transverse tension")


def test_tension_is_named_where_both_signs_are_as_near():
    limits = ply_limits(kaw_ply())
    for axial in (1e-3, -1e-3):
        found = ply_margins(limits, 1.0, 0.0, 0.0, False, axial, 0, 0, 0, 0, 0)
        assert names(found)[0] == "fibre tension"


@settings(deadline=None)
@given(STRAIN, STRAIN, STRAIN)
def test_the_quadratic_criterion_is_one_at_its_reserve(along, across, sheared):
    reserve = reserves(LIMITS, along, across, sheared, 0.0, 0.0, 0.0)[4]
    assert criterion(reserve * np.array([along, across, sheared])) == pytest.approx(1.0)


@settings(deadline=None)
@given(STRAIN, STRAIN, STRAIN, st.floats(-4e-3, 4e-3), st.floats(-4e-3, 4e-3))
def test_the_same_with_strains_that_are_there(along, across, sheared, x, y):
    there = np.array([x, y, 0.5 * x])
    reserve = reserves(LIMITS, along, across, sheared, *there)[4]
    if criterion(there) >= 1.0:
        assert reserve == 0.0
    else:
        strain = there + reserve * np.array([along, across, sheared])
        assert criterion(strain) == pytest.approx(1.0, rel=1e-6)


def criterion(strain):
    """Tsai and Wu, written down once more from strengths and stresses."""
    share = 1 - PLY.nu12**2 * PLY.E2 / PLY.E1
    s1 = (PLY.E1 * strain[0] + PLY.nu12 * PLY.E2 * strain[1]) / share
    s2 = (PLY.E2 * strain[1] + PLY.nu12 * PLY.E2 * strain[0]) / share
    s6 = PLY.G12 * strain[2]
    Xt, Xc, Yt, Yc, S = 1417.5e6, 1147.5e6, 50e6, 200e6, 70e6
    return (
        s1 * (1 / Xt - 1 / Xc)
        + s2 * (1 / Yt - 1 / Yc)
        + s1**2 / (Xt * Xc)
        + s2**2 / (Yt * Yc)
        + s6**2 / S**2
        - s1 * s2 / math.sqrt(Xt * Xc * Yt * Yc)
    )


@pytest.mark.parametrize(
    ("stress", "reserve", "mode"),
    [
        ((1e6, 0, 0), 1417.5, "fibre tension"),
        ((-1e6, 0, 0), 1147.5, "fibre compression"),
        ((0, 1e6, 0), 50.0, "transverse tension"),
        ((0, -1e6, 0), 200.0, "transverse compression"),
        ((0, 0, 1e6), 70.0, "shear"),
    ],
)
def test_the_quadratic_criterion_under_one_stress_is_the_strength(
    stress, reserve, mode
):
    s1, s2, s6 = stress
    strain = (
        (s1 - PLY.nu12 * s2) / PLY.E1,
        s2 / PLY.E2 - PLY.nu12 * s1 / PLY.E1,
        s6 / PLY.G12,
    )
    found = reserves(LIMITS, *strain, 0.0, 0.0, 0.0)
    assert found[4] == pytest.approx(reserve, rel=1e-9)
    assert names(found)[2] == mode


@settings(deadline=None)
@given(STRAIN, STRAIN, STRAIN)
def test_the_worse_sign_and_the_worse_side_of_a_pair_count(axial, hoop, shear):
    free = (-3e-4, -2e-4, 1e-4)
    trig = (0.75, 0.25, 0.75**0.5 * 0.5)
    mirror = (0.75, 0.25, -trig[2])
    pair = ply_margins(LIMITS, *trig, True, axial, hoop, shear, *free)
    sides = [
        ply_margins(
            LIMITS, *side, False, sign * axial, sign * hoop, sign * shear, *free
        )
        for side in (trig, mirror)
        for sign in (1, -1)
    ]
    for i in (0, 2, 4):
        assert pair[i] == pytest.approx(min(side[i] for side in sides), rel=1e-9)


def test_limits_hold_strains_and_shrinkage():
    limits = ply_limits(PLY, 100.0)
    assert limits[TENSION] == pytest.approx(10.5e-3)
    assert limits[SHEARED] == pytest.approx(14e-3)
    assert limits[-2:] == pytest.approx([0.0, 3e-3])
