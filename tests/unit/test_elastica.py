"""Large deflection: symmetry, jumps, great loads, and what is refused."""

import numpy as np
import pytest

from model import ModelRangeError
from model.elastica import cantilever_drop, overhang_drop

X = np.linspace(0.0, 1.0, 41)
EI = 25.0 + 50.0 * X**2
OVERHANG = {"load_at": 0.03, "support": 0.8, "hold": 0.93, "load": 30.0}


def mirrored(stations):
    return {key: 1.0 - at if key != "load" else at for key, at in stations.items()}


def test_either_side_is_the_same():
    there = overhang_drop(X, EI, **OVERHANG)
    back = overhang_drop(X, EI[::-1], **mirrored(OVERHANG))
    assert back.drop == pytest.approx(there.drop, rel=1e-9)
    there = cantilever_drop(X, EI, clamp=0.9, load_at=0.0, load=30.0)
    back = cantilever_drop(X, EI[::-1], clamp=0.1, load_at=1.0, load=30.0)
    assert back.drop == pytest.approx(there.drop, rel=1e-9)


def test_finer_stations_change_little():
    """The step along the arc is short enough whatever the stations are."""
    coarse, fine = (
        overhang_drop(x, 25.0 + 50.0 * x, **OVERHANG).drop
        for x in (np.linspace(0.0, 1.0, 3), np.linspace(0.0, 1.0, 801))
    )
    assert coarse == pytest.approx(fine, rel=1e-8)


def test_a_jump_is_not_smeared():
    """Tip half of one stiffness, butt half of another (derived here).

    Under a small load the drop is P/3 (h³/EI_tip + (L³ - h³)/EI_butt).
    """
    x = np.array([0.0, 0.4, 0.4, 1.0])
    stiff = np.array([20.0, 20.0, 60.0, 60.0])
    bent = cantilever_drop(x, stiff, clamp=1.0, load_at=0.0, load=0.01)
    exact = 0.01 / 3.0 * (0.4**3 / 20.0 + (1.0 - 0.4**3) / 60.0)
    assert bent.drop == pytest.approx(exact, rel=1e-6)


@pytest.mark.parametrize("seed", range(8))
def test_random_bars_up_to_half_their_length(seed):
    """Found for all loads up to a drop of half the reach, rising with the load."""
    chance = np.random.default_rng(seed)
    jump = float(chance.uniform(0.2, 0.8))
    x = np.array([0.0, jump, jump, 1.1])
    stiff = chance.uniform(10.0, 120.0, 4)
    where = {"load_at": 0.05, "support": 0.9, "hold": float(chance.uniform(0.98, 1.1))}
    soft = overhang_drop(x, stiff, load=1.0, **where)
    before = None
    for share in (0.05, 0.2, 0.35, 0.5, 0.65):
        bent = overhang_drop(x, stiff, load=share * soft.reach / soft.drop, **where)
        assert bent.linear == pytest.approx(share * soft.reach, rel=1e-3)
        assert bent.drop < bent.linear
        if before is not None:
            assert bent.drop > before.drop
            assert bent.ratio < before.ratio
        before = bent
    assert before.drop > 0.44 * soft.reach


def test_friction_matters_little():
    """The way the support pushes moves the drop by less than 1 in 10,000."""
    free = overhang_drop(X, EI, **OVERHANG)
    stuck = overhang_drop(X, EI, **OVERHANG, is_frictionless=False)
    assert stuck.drop != free.drop
    assert stuck.drop == pytest.approx(free.drop, rel=1e-4)


def test_any_load_bends_a_cantilever():
    drop = [
        cantilever_drop(X, EI, clamp=1.0, load_at=0.0, load=load).drop
        for load in (1.0, 1e2, 1e3, 1e4)
    ]
    assert drop == sorted(drop)
    assert 0.9 < drop[-1] < 1.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"hold": 1.2}, "hold 1.2"),
        ({"load_at": -0.1, "hold": 1.2}, "load_at -0.1.*hold 1.2"),
        ({"support": 0.95}, "between"),
        ({"load": 0.0}, "load of 0 N"),
        ({"load": 5000.0}, "slips"),
    ],
)
def test_what_is_refused(change, words):
    with pytest.raises(ModelRangeError, match=words):
        overhang_drop(X, EI, **{**OVERHANG, **change})


def test_a_cantilever_needs_an_arm():
    with pytest.raises(ModelRangeError, match="one station"):
        cantilever_drop(X, EI, clamp=0.5, load_at=0.5, load=1.0)
