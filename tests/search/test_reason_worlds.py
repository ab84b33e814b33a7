"""Explanations of worlds small enough to be known whole.

Every design of such a world is evaluated, so that it is known what can be reached, and
what each choice that the spec does not list would make possible.
"""

from dataclasses import replace

import numpy as np
import pytest

from model import METRIC, evaluate_batch
from optimiser.encoding import encode
from optimiser.misses import misses
from optimiser.problem import Demand
from optimiser.reason import _Laboratory, explain
from optimiser.reason_text import explanation_json, explanation_text
from optimiser.spec import Target
from optimiser.spec_file import read_spec
from tests.search.small_world import study
from tests.shop_rules import broken, can_be_evaluated

pytestmark = pytest.mark.usefixtures("brisk")

WORLD = """
format = 1
name = "world"
[shaft]
length = "1067 mm"
mandrel = "light-5"
mandrel_set = ["80 mm", "95 mm"]
[targets]
weight = { target = "44 g", tolerance = "5 g" }
torque = { trade = "less", at_most = "12 deg" }
material_cost = { trade = "less", at_most = 30 }
durability = { trade = "more", at_least = -0.9 }
[[targets.ei_at]]
station = "600 mm"
target = "30 N m^2"
tolerance = "30 %"
[[place]]
name = "pair"
material = ["high-85", "intermediate-75"]
angle = "±45"
start = "0 mm"
end = ["900 mm", "1067 mm"]
wraps = [1.5, 2.5, 3.5]
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
material = ["standard-125", "intermediate-100"]
angle = "0"
start = "0 mm"
end = "1067 mm"
wraps = [2.5, 3.5]
[rules]
diameter_step_max = "9 mm"
direction_spread_max = "20 %"
reorder = false
"""

#: A pair, a hoop and a cover, all of which must be there.
THREE = """
format = 1
name = "three"
[shaft]
length = "1067 mm"
mandrel = "light-5"
mandrel_set = "80 mm"
[targets]
weight = { trade = "less", at_most = "70 g" }
torque = { trade = "less", at_most = "12 deg" }
material_cost = { trade = "less", at_most = 100 }
[[place]]
name = "pair"
material = "intermediate-75"
angle = "±45"
start = "0 mm"
end = "1067 mm"
wraps = 3
[[place]]
name = "hoop"
material = "standard-30"
angle = "90"
start = "0 mm"
end = "1067 mm"
wraps = 1
[[place]]
name = "cover"
material = "standard-125"
angle = "0"
start = "0 mm"
end = "1067 mm"
wraps = [3, 4]
[rules]
reorder = false
"""


@pytest.fixture(scope="module")
def read(library, tmp_path_factory):
    """A spec from its text."""

    def read(text):
        path = tmp_path_factory.mktemp("world") / "spec.toml"
        path.write_text(text, encoding="utf-8")
        return read_spec(path, library)

    return read


def measured(spec, library):
    """All designs that the shop can roll, and how far each is beyond each band."""
    encoding = encode(spec, library)
    found = []
    for genomes in study.all_genomes(encoding):
        genomes = genomes[can_be_evaluated(encoding, genomes)]
        found.append(genomes[(broken(encoding, genomes) == 0.0).all(axis=1)])
    genomes = np.concatenate(found)
    report = evaluate_batch(encoding.decode(genomes)[0], encoding.conditions)
    return genomes, report, np.maximum(Demand.of(spec).score(report).G, 0.0)


def asking(spec, **bands):
    """The spec with other bands on some metrics."""
    targets = [replace(t, **bands.get(t.metric, {})) for t in spec.targets]
    return replace(spec, targets=tuple(targets))


def column(report, metric):
    return report.metrics[:, list(METRIC).index(metric)]


# --------------------------------------------------------- what stands in the way

HOOP = 'name = "hoop"\n'


@pytest.mark.parametrize(
    ("listed", "poorer", "metric", "what", "tried", "away"),
    [
        (
            'angle = "±45"',
            'angle = "±30"',
            "torque",
            'place "pair": angle ±30, the only one that it may have',
            "also ±45",
            "also 0",
        ),
        (
            'material = "intermediate-75"',
            'material = "standard-75"',
            "torque",
            'place "pair": material standard-75, the only one that it may have',
            "also intermediate-75, the next stiffer",
            "down to 2 wraps",
        ),
        (
            'material = "standard-125"',
            'material = ["intermediate-125", "intermediate-100"]',
            "material_cost",
            'place "cover": material intermediate-125 or intermediate-100, the softest '
            "that it may have",
            "also standard-125 or standard-100, the next softer",
            "also high-125 or high-100, the next stiffer",
        ),
        (
            HOOP + "optional = true\n",
            HOOP,
            "weight",
            'place "hoop": it must be there',
            "it may be left out",
            "up to 2 wraps",
        ),
    ],
    ids=["angle", "stiffer", "softer", "mandatory"],
)
def test_what_a_place_does_not_list(
    read, library, listed, poorer, metric, what, tried, away
):
    """The least that the richer spec reaches is asked of the poorer one."""
    rich = THREE.replace(HOOP, listed) if listed.startswith(HOOP) else THREE
    _, report, G = measured(read(rich), library)
    least = column(report, metric)[G.sum(axis=1) <= 0.0].min()
    band = {metric: {"high": least * (1.0 + 1e-9)}}
    spec = asking(read(rich.replace(listed, poorer)), **band)
    genomes, _, G = measured(spec, library)
    assert (G.sum(axis=1) > 0.0).all()
    found = explain(spec, library, genomes, evaluations=1)
    binding = {(one.what, one.tried): one.left for one in found.binding}
    assert binding[what, tried] == 0.0
    # what leads away from what is asked is not named
    assert away not in {one.tried for one in found.binding}


# ----------------------------------------------------------- what can be reached


def reachable(G, spec):
    """How far beyond each band the nearest design is that keeps all others."""
    demand = Demand.of(spec)
    found = {}
    for j in range(len(demand.unit) + len(demand.ei_unit)):
        others = np.delete(G, j, axis=1).sum(axis=1) <= 0.0
        if j != len(demand.unit) - 1 and others.any():  # that one is a rule
            found[demand.band_names[j]] = G[others, j].min()
    return found


def bands_alone(monkeypatch):
    """What the limits are is another question, and takes longer."""
    monkeypatch.setattr(_Laboratory, "_binding", lambda *_: [])


def ei_point(spec, target):
    (point,) = spec.ei_targets
    return replace(spec, ei_targets=(replace(point, target=target, tolerance=1.0),))


@pytest.mark.parametrize("metric", ["material_cost", "direction_spread", "EI point 1"])
def test_the_nearest_that_can_be_reached(read, library, monkeypatch, metric):
    """It is begun from three designs, and ends at the best of all."""
    bands_alone(monkeypatch)
    spec = read(WORLD)
    _, report, G = measured(spec, library)
    names = Demand.of(spec).band_names
    own = [j for j, name in enumerate(names) if name == metric]
    keeps = np.delete(G, own, axis=1).sum(axis=1) <= 0.0
    assert 10 < keeps.sum() < len(keeps)
    if metric == "EI point 1":
        spec = ei_point(spec, report.EI[keeps, 0].max() + 2.0)
    else:
        least = column(report, metric)[keeps].min()
        asked = Target(metric=metric, high=0.8 * least)
        others = [target for target in spec.targets if target.metric != metric]
        spec = replace(spec, targets=(*others, asked))
    genomes, _, G = measured(spec, library)
    truth = reachable(G, spec)
    found = explain(spec, library, genomes[:3], evaluations=1)
    assert not found.keeping
    assert metric in truth
    reached = {one.band: one.off for one in found.conflict}
    assert reached == pytest.approx(truth, rel=1e-9)
    text = explanation_text(found)
    one = next(one for one in found.conflict if one.band == metric)
    assert (
        f"{one.name}: asked {one.asked}, nearest that is reached {one.reached}" in text
    )


#: Some 14,000 designs of the small world, in the order that they are listed in.
CUT = (
    study.SPEC.read_text(encoding="utf-8")
    .replace('to = "340 mm"', 'to = "280 mm"')
    .replace('from = "700 mm"', 'from = "780 mm"')
    + "\n[rules]\nreorder = false\n"
)


@pytest.mark.slow
@pytest.mark.parametrize("is_most", [True, False])
@pytest.mark.parametrize(
    "metric",
    ["frequency", "weight", "balance_point", "butt_diameter", "torque", "durability"],
)
def test_the_nearest_in_a_larger_world(read, library, monkeypatch, metric, is_most):
    """Beyond the most, or the least, that can be had while all other bands are kept."""
    bands_alone(monkeypatch)
    spec = read(CUT)
    genomes, report, G = measured(spec, library)
    assert len(genomes) > 10_000
    demand = Demand.of(spec)
    own = demand.band_names.index(metric)
    keeps = np.delete(G, own, axis=1).sum(axis=1) <= 0.0
    values, by = column(report, metric)[keeps], 0.3 * demand.unit[own]
    band = {"low": values.max() + by, "high": np.inf}
    if not is_most:
        band = {"low": -np.inf, "high": values.min() - by}
    spec = asking(spec, **{metric: band})
    genomes, _, G = measured(spec, library)
    found = explain(spec, library, genomes[:40], evaluations=15_000)
    assert not found.keeping
    reached = {one.band: one.off for one in found.conflict}
    assert reached == pytest.approx(reachable(G, spec), rel=1e-9)


def test_where_no_single_band_is_enough(read, library, monkeypatch):
    """Two bands are both out of reach, so that both have to be let go."""
    bands_alone(monkeypatch)
    spec = read(WORLD)
    _, report, _ = measured(spec, library)
    spec = ei_point(spec, report.EI[:, 0].max() + 3.0)
    cheap = column(report, "material_cost").min() - 2.0
    spec = asking(spec, material_cost={"high": cheap})
    genomes, report, G = measured(spec, library)
    assert reachable(G, spec) == {}
    names = Demand.of(spec).band_names
    two = [names.index("material_cost"), names.index("EI point 1")]
    others = np.delete(G, two, axis=1).sum(axis=1) <= 0.0
    assert others.any()
    found = explain(spec, library, genomes[:3], evaluations=1)
    assert found.conflict == ()
    assert {one.band for one in found.together} == {"material_cost", "EI point 1"}
    # as near as both can come to what is asked, all in all
    best = G[others][:, two].sum(axis=1).min()
    assert sum(one.off for one in found.together) == pytest.approx(best, rel=1e-9)
    assert "no single band is enough to let go" in explanation_text(found)
    values = explanation_json(found)
    assert values["bands_in_conflict"] == []
    point = next(
        x for x in values["bands_let_go_together"] if x["band"] != "material_cost"
    )
    assert point["band"] == "EI point 1"
    assert point["asked"].endswith("N·m²")
    assert point["value"] < report.EI[:, 0].max() + 1e-9


def test_a_band_on_the_spread_is_not_its_rule(read, library):
    """Both are missed by half turns, and each is called what it is."""
    spec = read(WORLD)
    genomes, report, _ = measured(spec, library)
    worst = int(np.argmax(column(report, "direction_spread")))
    assert column(report, "direction_spread")[worst] > 0.02
    rules = replace(spec.rules, direction_spread_max=0.02)
    band = Target(metric="direction_spread", high=0.01)
    spec = replace(spec, targets=(*spec.targets, band), rules=rules)
    encoding = encode(spec, library)
    layups, _ = encoding.decode(genomes[worst : worst + 1])
    said = misses(evaluate_batch(layups, encoding.conditions), Demand.of(spec), spec)
    lines = [line for line in said if line.startswith("spread of EI round the clock")]
    assert len(lines) == 2
    assert "asked at most 1.00 %" in lines[0]
    assert "rule at most 2.00 %" in lines[1]
