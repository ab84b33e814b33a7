"""The best known fronts are what they say, and can only become better."""

import moocore
import numpy as np
import pytest

from model import METRICS, evaluate
from optimiser.problem import Demand
from tests.benchmarks import kept_front
from tests.benchmarks.kept_front import RefusedError, hypervolume, merge, read

NAMES = kept_front.scenario_names()


@pytest.fixture(scope="module", params=NAMES)
def kept(request, library):
    encoding = kept_front.load(request.param, library)
    return encoding, read(request.param, encoding)


def test_kept_designs_measure_what_the_file_says(kept):
    encoding, front = kept
    assert 0 < front.n <= kept_front.MOST
    today = kept_front.assess(encoding, front.genomes)
    # none is dropped, so all are feasible and within the rules
    np.testing.assert_array_equal(today.genomes, front.genomes)
    np.testing.assert_allclose(today.F, front.F, rtol=1e-9, atol=1e-12)


def test_kept_designs_do_not_dominate_each_other(kept):
    _, front = kept
    assert moocore.is_nondominated(front.F, keep_weakly=False).all()


def test_kept_designs_stand_when_each_is_evaluated_alone(kept, library):
    encoding, front = kept
    demand = Demand.of(encoding.spec)
    for i in np.linspace(0, front.n - 1, 6).astype(int):
        report = evaluate(encoding.design(front.genomes[i], "kept"), library)
        alone = np.array([report.metrics[m.key] for m in METRICS], dtype=float)
        np.testing.assert_allclose(
            alone[demand.objective] * demand.sense, front.F[i], rtol=1e-9, atol=1e-12
        )
        assert (alone[demand.column] >= demand.low - 1e-12).all()
        assert (alone[demand.column] <= demand.high + 1e-12).all()
        EI = np.interp(
            [target.station for target in encoding.spec.ei_targets],
            report.profile.station,
            report.profile.EI,
        )
        assert (demand.ei_low * (1.0 - 1e-3) <= EI).all()
        assert (demand.ei_high * (1.0 + 1e-3) >= EI).all()


# ---------------------------------------------------------------------- merging


@pytest.fixture
def small(library, tmp_path):
    """A folder with half of a kept front, and the other half."""
    encoding = kept_front.load("fairway_58", library)
    front = read("fairway_58", encoding)
    half = front.take(np.arange(0, front.n, 2))
    kept_front.write("fairway_58", encoding, half, tmp_path)
    return encoding, front, half, tmp_path


def test_a_merge_only_improves(small):
    encoding, front, half, folder = small
    reference = kept_front.corner(encoding)
    merged = merge("fairway_58", encoding, front.genomes, folder=folder)
    assert merged.before == pytest.approx(hypervolume(half.F, reference), rel=1e-9)
    assert merged.after == pytest.approx(hypervolume(front.F, reference), rel=1e-9)
    assert merged.n == front.n
    assert merged.fresh == front.n - half.n
    text = (folder / "fairway_58.csv").read_text()
    again = merge("fairway_58", encoding, half.genomes, folder=folder)
    assert again.fresh == 0
    assert (folder / "fairway_58.csv").read_text() == text
    np.testing.assert_array_equal(
        read("fairway_58", encoding, folder).F, read("fairway_58", encoding).F
    )


def test_rubbish_is_not_merged(small):
    encoding, _, half, folder = small
    rng = np.random.default_rng(1)
    rubbish = rng.integers(0, encoding.n_choices, (500, encoding.n_genes))
    outside = half.genomes[:1] + encoding.n_choices
    merged = merge(
        "fairway_58", encoding, np.concatenate([rubbish, outside]), folder=folder
    )
    assert merged.n == half.n
    assert merged.after == merged.before


def test_a_front_too_large_is_thinned_where_it_costs_least(small):
    encoding, front, _, folder = small
    reference = kept_front.corner(encoding)
    merged = merge("fairway_58", encoding, front.genomes, folder=folder)
    most = front.n * 2 // 3
    index = kept_front.thinned(front.F, reference, most)
    assert len(index) == most
    kept = hypervolume(front.F[index], reference)
    rng = np.random.default_rng(2)
    for _ in range(20):
        other = rng.choice(front.n, most, replace=False)
        assert kept > hypervolume(front.F[other], reference)
    # and a front that lost by it is not written over the fuller one
    again = merge("fairway_58", encoding, front.genomes, folder=folder, most=most)
    assert again.n == merged.n


def test_other_physics_is_only_written_when_asked(small):
    encoding, front, half, folder = small
    F = half.F.copy()
    F[0] *= 1.0 - 1e-6
    kept_front.write("fairway_58", encoding, kept_front.Front(half.genomes, F), folder)
    before = (folder / "fairway_58.csv").read_text()
    with pytest.raises(RefusedError, match="--renew"):
        merge("fairway_58", encoding, front.genomes, folder=folder)
    assert (folder / "fairway_58.csv").read_text() == before
    merged = merge("fairway_58", encoding, half.genomes, folder=folder, renew=True)
    assert merged.moved == 1
    assert merged.after < merged.before * (1.0 + 1e-12)
    np.testing.assert_allclose(
        np.sort(read("fairway_58", encoding, folder).F, axis=0),
        np.sort(half.F, axis=0),
        rtol=1e-9,
        atol=1e-12,
    )


def test_genomes_of_other_choices_are_refused(small, library):
    *_, folder = small
    (folder / "iron_95.csv").write_text((folder / "fairway_58.csv").read_text())
    with pytest.raises(RefusedError, match="other choices"):
        read("iron_95", kept_front.load("iron_95", library), folder)
