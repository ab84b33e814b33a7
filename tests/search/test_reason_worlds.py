"""Explanations of worlds small enough to be known whole.

Every design of such a world is evaluated, so that it is known what can be reached, and
what each choice that the spec does not list would make possible.
"""

from dataclasses import replace

import numpy as np
import pytest

from model import METRIC, evaluate_batch
from optimiser.encoding import encode
from optimiser.problem import Demand
from optimiser.reason import explain
from optimiser.spec_file import read_spec
from tests.search.small_world import study
from tests.shop_rules import broken, can_be_evaluated

pytestmark = pytest.mark.usefixtures("brisk")

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
