"""A world that is known whole: its true front, and what the search finds of it."""

import math

import moocore
import numpy as np
import pytest

from model import METRICS, InputError, evaluate
from optimiser.problem import Demand
from optimiser.search import Search
from optimiser.spec_file import read_spec
from tests.benchmarks import kept_front
from tests.search.small_world import study

TINY = """
format = 1
name = "tiny"
[shaft]
length = "1067 mm"
mandrel = "light-5"
mandrel_set = ["80 mm", "95 mm"]
[targets]
weight = { target = "47 g", tolerance = "4 g" }
torque = { trade = "less", at_most = "12 deg" }
material_cost = { trade = "less", at_most = 30 }
durability = { trade = "more", at_least = -0.9 }
[[place]]
name = "pair"
material = ["high-85", "intermediate-75"]
angle = "±45"
start = "0 mm"
end = ["900 mm", "1067 mm"]
wraps = [2, 3]
[[place]]
name = "tip"
material = "standard-125"
angle = "0"
start = "0 mm"
end = "300 mm"
wraps = [2, 4]
run_out = { tip = "0 mm", butt = "50 mm" }
optional = true
[[place]]
name = "cover"
material = "standard-125"
angle = "0"
start = "0 mm"
end = "1067 mm"
wraps = [2, 3]
[rules]
diameter_step_max = "9 mm"
"""


@pytest.fixture(scope="module")
def tiny(library, tmp_path_factory):
    path = tmp_path_factory.mktemp("tiny") / "spec.toml"
    path.write_text(TINY, encoding="utf-8")
    return study.encode(read_spec(path, library), library)


@pytest.fixture(scope="module")
def small(library):
    encoding = study.world(library)
    return encoding, *study.read(encoding)


def layup(design):
    flags = [(f.name, f.material, f.angle, f.end, f.wraps) for f in design.flags]
    return design.shaft.mandrel_set, *flags


def test_every_design_comes_once(tiny):
    """Counted by hand: 2 sets, 8 pairs, 2 covers; 2 orders, or 6 with 2 tips."""
    designs = [
        layup(tiny.design(genome, "tiny"))
        for genomes in study.all_genomes(tiny)
        for genome in genomes
    ]
    assert len(designs) == len(set(designs)) == 2 * 8 * 2 * (2 + 6 * 2)


def test_the_front_of_a_tiny_world_is_that_of_evaluating_one_by_one(tiny, library):
    demand = Demand.of(tiny.spec)
    feasible = []
    n_allowed = 0
    for genomes in study.all_genomes(tiny):
        for genome in genomes:
            design = tiny.design(genome, "tiny")
            full = [f for f in design.flags if f.end > 1.067 - 1e-9]
            if full[-1].is_pair:
                continue
            n_allowed += 1
            try:
                report = evaluate(design, library)
            except InputError:
                continue
            alone = np.array([report.metrics[m.key] for m in METRICS], dtype=float)
            value = alone[demand.column]
            wall = report.profile.outer_diameter - report.profile.inner_diameter
            if (
                (value >= demand.low).all()
                and (value <= demand.high).all()
                and wall.min() / 2.0 >= tiny.spec.rules.wall_min
                and not any("bias" in text for text in report.warnings)
            ):
                feasible.append(alone[demand.objective] * demand.sense)
    F = np.array(feasible)
    worse = (F[:, None] <= F[None] * (1 + 1e-12 * np.sign(F[None]))).all(axis=2)
    better = (F[:, None] < F[None] * (1 - 1e-12 * np.sign(F[None]))).any(axis=2)
    points = np.unique(
        np.array([[f"{x:.9g}" for x in row] for row in F[~(worse & better).any(0)]]),
        axis=0,
    )
    truth = study.enumerate_all(tiny)
    assert truth.allowed == n_allowed
    assert truth.feasible == len(F) > 15
    assert truth.front.n == len(points) > 5
    for point in points.astype(float):
        assert np.isclose(truth.front.F, point, rtol=1e-8).all(axis=1).any()


# ------------------------------------------------------------ the kept true front


def test_the_kept_front_measures_what_its_file_says(small):
    encoding, front, whole = small
    today = kept_front.assess(encoding, front.genomes)
    np.testing.assert_array_equal(today.genomes, front.genomes)
    np.testing.assert_allclose(today.F, front.F, rtol=1e-9, atol=1e-12)
    assert moocore.is_nondominated(front.F, keep_weakly=False).all()
    optional = encoding.tables.optional
    counts = encoding.n_choices
    orders = math.factorial(len(optional))
    assert not optional.any()
    genes = [i for i in range(len(counts)) if i < 3 or (i - 3) % 6 != 5]
    everything = math.prod(int(counts[i]) for i in genes) * orders
    assert 2_000_000 < whole < everything


def test_the_front_is_worth_finding(small):
    """Many points, with several values of most choices, and bands that bind."""
    encoding, front, _ = small
    assert 50 <= front.n <= 300
    used = [len(set(front.genomes[:, i])) > 1 for i in range(encoding.n_genes)]
    free = encoding.n_choices > 1
    assert np.sum(used) >= 0.8 * free.sum()
    text = (study.FOLDER / f"{study.NAME}.csv").read_text(encoding="utf-8")
    line = next(x for x in text.splitlines() if x.startswith("# missing one thing"))
    for name in ("frequency", "weight", "balance_point", "butt_diameter"):
        assert name in line


def test_the_search_finds_nothing_beyond_the_truth(small):
    encoding, front, _ = small
    search = Search(encoding)
    search.run(evaluations=4_000)
    archive = search.state.archive
    assert archive.n > 20
    slack = 1e-9 * np.abs(archive.F)
    for F, more in zip(archive.F, slack, strict=True):
        assert (F + more >= front.F).all(axis=1).any()


# ------------------------------------------------------------------------ studies


@pytest.mark.slow
def test_the_true_front_is_that_of_all_designs(small):
    encoding, front, whole = small
    truth = study.enumerate_all(encoding)
    assert truth.allowed == whole
    ours, kept = (F[np.lexsort(F.T)] for F in (truth.front.F, front.F))
    np.testing.assert_array_equal(ours, kept)


@pytest.mark.slow
def test_the_search_finds_the_true_front(small):
    encoding, front, whole = small
    (points, volume), late = study.figures(encoding, front, whole, study.SEEDS)
    assert points >= 0.98
    assert volume >= 0.9999
    np.testing.assert_allclose(late, 1.0, rtol=1e-9)
