"""Good specs: bands, choices, scenarios, and the table of keys."""

import math

import pytest

from optimiser.spec_file import read_spec, spec_from_text
from optimiser.spec_words import describe_spec, known_keys
from tests.conftest import SCENARIOS

NAMES = ["fairway_58", "driver_40", "hybrid_85", "iron_95"]
SPEC = """
format = 1
name = "small"
[shaft]
length = "42 in"
mandrel = "slim-5"
mandrel_set = ["50 mm", "60 mm"]
[targets]
frequency = { target = "4.2 Hz", tolerance = "1 %" }
weight = { target = "58 g", tolerance = "1 g", at_most = "58.5 g" }
torque = { trade = "less" }
flex_point_ratio = { at_least = "40 %" }
[[place]]
name = "cover"
material = ["standard-125", "standard-100"]
angle = ["0", "±30"]
start = "0 mm"
end = "42 in"
wraps = { from = 2, to = 3, step = 0.5 }
"""


@pytest.fixture(scope="module")
def small(library):
    return spec_from_text(SPEC, "small", library)


def band(spec, key):
    return next(target for target in spec.targets if target.metric == key)


def test_a_band_in_percent_of_its_target(small):
    frequency = band(small, "frequency")
    assert frequency.low == pytest.approx(4.2 * 0.99)
    assert frequency.high == pytest.approx(4.2 * 1.01)


def test_a_band_and_a_bound_meet(small):
    weight = band(small, "weight")
    assert (weight.low, weight.high) == pytest.approx((0.057, 0.0585))
    assert band(small, "flex_point_ratio").low == pytest.approx(0.40)
    assert band(small, "torque").high == math.inf


def test_a_time_of_ones_own_is_the_only_limit(library):
    spec = spec_from_text(SPEC + '[search]\ntime = "8 h"\n', "small", library)
    assert spec.search.evaluations is None
    assert spec.search.time == 8 * 3600
    both = '[search]\ntime = "8 h"\nevaluations = 7\n'
    assert spec_from_text(SPEC + both, "small", library).search.evaluations == 7


def test_choices(small):
    place = small.places[0]
    assert len(place.sheets) == 4
    assert place.wraps == (2.0, 2.5, 3.0)
    assert place.ends == pytest.approx((42 * 0.0254,))
    assert small.size == pytest.approx(math.log10(2 * 4 * 3))
    assert [target.metric for target in small.trades] == ["torque"]


@pytest.mark.parametrize("name", NAMES)
def test_scenarios_have_narrow_bands(name, library):
    spec = read_spec(SCENARIOS / name / "spec.toml", library)
    for key, widest in (
        ("weight", 1e-3),
        ("frequency", 2 / 60),
        ("tip_diameter", 1e-4),
        ("butt_diameter", 1e-4),
        ("balance_point", 5e-3),
    ):
        target = band(spec, key)
        assert (target.high - target.low) / 2 <= widest * (1 + 1e-9)
    assert {t.metric for t in spec.trades} == {"torque", "material_cost", "durability"}
    assert "EI at" in describe_spec(spec) or not spec.ei_targets


def test_some_scenario_asks_for_a_point_of_the_profile(library):
    specs = [read_spec(SCENARIOS / n / "spec.toml", library) for n in NAMES]
    assert any(spec.ei_targets for spec in specs)


def test_developers_guide_lists_every_key():
    guide = (SCENARIOS.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    for key in known_keys():
        row = f"| `{key.name}` | {key.default} | {key.meaning} |"
        assert row in guide, row
