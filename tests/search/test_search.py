"""The search finds designs that are what it says they are."""

from dataclasses import replace

import moocore
import numpy as np
import pytest
from pymoo.algorithms.moo.nsga2 import NSGA2
from pymoo.operators.repair.rounding import RoundingRepair
from pymoo.operators.sampling.rnd import IntegerRandomSampling
from pymoo.optimize import minimize

from model import METRIC, METRICS, evaluate, evaluate_batch
from optimiser.decoding import MANDREL
from optimiser.encoding import encode
from optimiser.problem import Demand, ShaftProblem
from optimiser.search import Search
from optimiser.state import State
from optimiser.survival import ARCHIVE_MOST

pytestmark = pytest.mark.usefixtures("brisk")


#: So few that the nursery has but 20, and ends at 400 where it is young.
FEW = 100


def search(scenario, library, seed, evaluations, **options):
    spec = replace(scenario, search=replace(scenario.search, seed=seed, **options))
    run = Search(encode(spec, library))
    run.run(evaluations=evaluations)
    return run


@pytest.fixture(scope="module")
def found(scenario, library):
    return search(scenario, library, 1, 6_000)


def test_feasible_designs_come(found):
    progress = found.state.progress
    assert progress.first_feasible is not None
    assert found.state.archive.n > 5


def test_archive_is_feasible_when_each_design_is_evaluated_alone(found, library):
    demand = Demand.of(found.spec)
    archive = found.state.archive
    for i in range(0, archive.n, max(1, archive.n // 12)):
        design = found.encoding.design(archive.genomes[i], "check")
        report = evaluate(design, library)
        alone = np.array([report.metrics[m.key] for m in METRICS], dtype=float)
        asked = ~np.isnan(archive.metrics[i])
        assert asked[demand.column].all()
        np.testing.assert_allclose(alone[asked], archive.metrics[i][asked], rtol=1e-12)
        value = alone[demand.column]
        assert (value >= demand.low - 1e-12).all()
        assert (value <= demand.high + 1e-12).all()


def test_archive_holds_no_dominated_design(found):
    assert moocore.is_nondominated(found.state.archive.F, keep_weakly=True).all()
    assert found.state.archive.n <= ARCHIVE_MOST


@pytest.mark.usefixtures("young")
def test_same_seed_same_search_other_seed_another(scenario, library):
    one, again, other = (
        search(scenario, library, seed, 700, population=FEW).state for seed in (1, 1, 2)
    )
    assert one.progress.nurseries == 1
    assert one.archive.n > 5
    np.testing.assert_array_equal(again.archive.genomes, one.archive.genomes)
    assert not np.array_equal(other.living.genomes[:50], one.living.genomes[:50])


@pytest.mark.usefixtures("young")
def test_state_survives_as_arrays_and_goes_on_bit_for_bit(scenario, library):
    whole = search(scenario, library, 5, 1_200, population=FEW)
    half = search(scenario, library, 5, 300, population=FEW)
    assert whole.state.progress.nurseries == 2
    state = State.from_arrays(half.state.to_arrays())
    rest = Search(encode(half.spec, library), state)
    rest.run(evaluations=1_200)
    np.testing.assert_array_equal(
        rest.state.archive.genomes, whole.state.archive.genomes
    )
    np.testing.assert_array_equal(rest.state.living.genomes, whole.state.living.genomes)
    assert rest.state.progress.evaluations == whole.state.progress.evaluations


def test_what_is_bred_out_of_nothing_competes_only_when_grown_up(
    scenario, library, young
):
    """Nurseries come first, then take a quarter of the evaluations."""
    small = replace(scenario, search=replace(scenario.search, seed=2, population=FEW))
    run = Search(encode(small, library))
    size = run.nursery_size
    grown, met = [], {}

    def watch(state):
        progress = state.progress
        assert state.nursery.n <= size
        on = met.setdefault(progress.nurseries, set())
        on.update(state.nursery.genomes[:, MANDREL].tolist())
        assert state.population.n <= FEW
        if progress.nurseries > len(grown):
            grown.append(progress.evaluations)
            assert state.nursery.n == 0
            # the best that it found stand in the population, until bettered there
            assert state.population.n > 0
        return True

    run.run(watch, evaluations=young * size)
    assert run.state.population.n == 0 or len(grown) == 1
    run.run(watch, evaluations=3_700)
    assert len(grown) == 5
    lives = np.diff(grown)
    # one after the other, then beside a population that takes three times as much
    assert (lives[:3] < 1.2 * young * size).all()
    assert (lives[3:] > 3.5 * young * size).all()
    # every second one is of one mandrel, which take turns
    assert len(small.mandrels) == 2
    assert (met[1], met[3]) == ({0}, {1})
    assert met[0] == met[2] == {0, 1}


def test_a_mandrel_that_bears_nothing_takes_no_time_of_the_others(
    scenario, library, young
):
    small = replace(scenario, search=replace(scenario.search, seed=2, population=FEW))
    thick = replace(library.mandrels[small.mandrels[0]], diameter=(0.03, 0.031))
    thick = replace(thick, distance=(0.0, thick.distance[-1]))
    other = replace(library, mandrels={**library.mandrels, "thick": thick})
    run = Search(encode(replace(small, mandrels=("thick", *small.mandrels)), other))
    ended = {}

    def watch(state):
        ended.setdefault(state.progress.nurseries, state.progress.evaluations)
        return True

    run.run(watch, evaluations=2 * young * run.nursery_size)
    assert ended[2] == ended[1]
    assert run.state.archive.n > 0
    assert (run.state.archive.genomes[:, MANDREL] > 0).all()


@pytest.mark.parametrize(
    "key",
    [
        "tip_deflection",
        "butt_deflection",
        "flex_point_ratio",
        "cantilever_deflection",
        "torsion_strength",
        "torsion_product",
        "flattening",
        "crush_load",
        "impact",
        "direction_spread",
    ],
)
def test_a_narrow_band_on_any_metric_is_met_soon(found, library, key):
    """A tenth of what a front spans, with or without derivatives to steer by."""
    # the scenario has no impact among its tests, and its other values do not feel one
    asking = replace(found.spec, bench=replace(found.spec.bench, impact_moment=25.0))
    encoding = encode(asking, library)
    every = replace(encoding.conditions, wanted=None)
    layups, _ = encoding.decode(found.state.archive.genomes)
    column = [metric.key for metric in METRICS].index(key)
    values = evaluate_batch(layups, every).metrics[:, column]
    low, high = np.quantile(values, [0.85, 0.95])
    band = replace(asking.targets[0], metric=key, low=low, high=high)
    spec = replace(asking, targets=(*asking.targets, band))
    asked = search(spec, library, 1, 1_000)
    first = asked.state.progress.first_feasible
    assert first is not None
    assert first <= 1_000
    assert asked.state.progress.feasible > 20


@pytest.mark.parametrize("key", ["crush_load", "direction_spread"])
def test_what_has_no_outlook_is_traded_as_well(found, library, key):
    """A quarter of the evaluations reach beyond a front that does not ask for it."""
    every = replace(found.encoding.conditions, wanted=None)
    column = [metric.key for metric in METRICS].index(key)
    layups, _ = found.encoding.decode(found.state.archive.genomes)
    sign = -1.0 if METRIC[key].better == "more" else 1.0
    usual = sign * evaluate_batch(layups, every).metrics[:, column]
    targets = [
        target if target.metric == "material_cost" else replace(target, trade=None)
        for target in found.spec.targets
    ]
    ends = {"low": -np.inf, "high": np.inf, "trade": METRIC[key].better}
    asked = replace(
        found.spec, targets=(*targets, replace(targets[0], metric=key, **ends))
    )
    run = search(asked, library, 1, 3_000)
    reached = sign * run.state.archive.metrics[:, column]
    assert run.state.archive.n > 5
    assert reached.min() < usual.min() - 0.1 * np.ptp(usual)


@pytest.mark.parametrize(
    "traded",
    [
        ("durability",),
        ("torque", "material_cost", "durability", "weight"),
    ],
    ids=len,
)
@pytest.mark.usefixtures("young")
def test_one_objective_and_many_are_searched(scenario, library, traded):
    """Until the nurseries have grown up and survivors are picked."""
    targets = tuple(
        replace(t, trade=(t.trade or "less") if t.metric in traded else None)
        for t in scenario.targets
    )
    options = replace(scenario.search, population=60)
    spec = replace(scenario, targets=targets, search=options)
    run = Search(encode(spec, library))
    assert len(run.demand.objective) == len(traded)
    run.run(evaluations=2_200)
    assert run.state.population.n == spec.search.population
    assert run.state.archive.n >= len(traded)
    assert run.hypervolume() > 0.0


def test_hypervolume_never_falls(scenario, library):
    spec = replace(scenario, search=replace(scenario.search, seed=1))
    run = Search(encode(spec, library))
    seen = []

    def note(_state):
        seen.append(run.hypervolume())
        return len(seen) < 70

    run.run(note, evaluations=1_000_000)
    assert (np.diff(seen) >= -1e-12).all()
    assert seen[-1] > 0.0


def test_the_problem_serves_a_stock_algorithm(scenario, library):
    problem = ShaftProblem(encode(scenario, library))
    stock = NSGA2(
        pop_size=40,
        sampling=IntegerRandomSampling(),
        repair=RoundingRepair(),
        eliminate_duplicates=True,
    )
    result = minimize(problem, stock, ("n_gen", 5), seed=1)
    assert result.algorithm.evaluator.n_eval == 200
    # the stock search does not know the rules; it must at least get less wrong
    first = minimize(problem, stock, ("n_gen", 1), seed=1)
    assert result.pop.get("CV").min() <= first.pop.get("CV").min()
