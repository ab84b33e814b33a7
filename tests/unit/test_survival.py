"""Which designs live on, against what is easily said of few."""

from dataclasses import replace

import moocore
import numpy as np
import pytest

from optimiser import survival
from optimiser.problem import Demand
from optimiser.spec import Target
from optimiser.state import Designs
from optimiser.survival import archived, best_spread, fixed_box, share_of_box


def front(n, m, seed):
    """Designs on a sphere's inside, none of which dominates another."""
    side = np.abs(np.random.default_rng(seed).standard_normal((n, m)))
    return 1.0 - side / np.linalg.norm(side, axis=1, keepdims=True)


def designs(F):
    n = len(F)
    genomes = np.arange(n, dtype=np.int64)[:, None]
    return Designs(genomes, np.zeros((n, 1)), np.zeros((n, 0)), F, np.zeros(n))


def test_of_one_objective_the_least_stay():
    F = np.array([[3.0], [1.0], [2.0], [1.0], [1.0]])
    np.testing.assert_array_equal(best_spread(F, 2), [1, 3])
    np.testing.assert_array_equal(best_spread(F, 4), [1, 2, 3, 4])
    np.testing.assert_array_equal(best_spread(F, 9), [0, 1, 2, 3, 4])


@pytest.mark.parametrize("least", [200.0, None])
def test_a_share_of_the_box_is_a_share_whatever_unit_is_to_be_large(scenario, least):
    """Newtons lie hundreds apart, margins tenths."""
    bound = {"low": -np.inf if least is None else least}
    crush = Target(metric="crush_load", trade="more", **bound)
    kept = [t for t in scenario.targets if t.metric == "durability"]
    demand = Demand.of(replace(scenario, targets=(crush, *kept)))
    F = -np.array([[210.0, 0.9], [260.0, 0.6], [330.0, 0.2]])
    reference, ideal = fixed_box(F, demand)
    if least:
        np.testing.assert_allclose(reference, [-200.0, -0.15])
        np.testing.assert_allclose(ideal, [-400.0, -1.15])
    assert (reference > F).all()
    assert 0.01 < share_of_box(F, reference, ideal) < 1.0


@pytest.mark.parametrize("m", [2, 3, 4, 5])
def test_the_outermost_stay(m):
    F = front(120, m, m)
    kept = best_spread(F, 40)
    assert len(kept) == 40
    assert (np.diff(kept) > 0).all()
    assert set(F.argmin(axis=0)) <= set(kept)


@pytest.mark.parametrize("m", [3, 4, 5])
def test_what_stays_is_near_what_exact_contributions_keep(m, monkeypatch):
    """Against leaving each design out in turn, by the definition."""

    def left_out(unit, corner):
        whole = moocore.hypervolume(unit, ref=corner)
        return np.array(
            [
                whole - moocore.hypervolume(np.delete(unit, i, axis=0), ref=corner)
                for i in range(len(unit))
            ]
        )

    F = front(90, m, 7)
    corner = np.full(m, 1.1)
    volume = moocore.hypervolume(F[best_spread(F, 45)], ref=corner)
    monkeypatch.setattr(survival, "_contributions", left_out)
    exact = moocore.hypervolume(F[best_spread(F, 45)], ref=corner)
    assert volume == pytest.approx(exact, rel=1e-12 if m == 3 else 2e-3)


@pytest.mark.parametrize("m", [3, 4])
def test_an_archive_that_is_thinned_loses_hardly_anything(m, monkeypatch):
    monkeypatch.setattr(survival, "ARCHIVE_MOST", 400)
    reference, ideal = np.full(m, 1.1), np.zeros(m)
    archive, most = designs(front(1, m, 0)), 0.0
    for seed in range(1, 31):
        archive = archived(archive, designs(front(50, m, seed)))
        assert archive.n <= 400
        share = share_of_box(archive.F, reference, ideal)
        assert share > 0.98 * most
        most = max(most, share)
    assert archive.n >= 300
    assert moocore.is_nondominated(archive.F, keep_weakly=False).all()


@pytest.mark.parametrize(("m", "loss"), [(3, 1e-3), (4, 6e-3)])
def test_at_its_real_size_it_loses_less(m, loss):
    nobody, whole = designs(np.zeros((0, m))), front(4050, m, 3)
    reference, ideal = np.full(m, 1.1), np.zeros(m)
    kept = archived(nobody, designs(whole))
    assert kept.n == 3000
    before = share_of_box(whole, reference, ideal)
    assert (1.0 - loss) * before < share_of_box(kept.F, reference, ideal) < before
