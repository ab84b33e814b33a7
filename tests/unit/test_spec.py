"""Good specs: bands, choices, scenarios, and the table of keys."""

import dataclasses
import math
import re

import pytest

from model import Bench, Cutting
from optimiser.problem import Demand
from optimiser.spec import Rules, SearchOptions
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


def test_margins_may_lie_below_nought_and_are_all_measured_alike(library):
    """A margin is a ratio less one: at -0.2 four fifths of what is asked are borne."""
    units = []
    for key in ("durability", "flattening", "impact"):
        asked = f"""
            [bench]
            impact_moment = "10 N m"
            [targets]
            torque = {{ trade = "less" }}
            {key} = {{ at_least = -0.2 }}
        """
        head, tail = re.split(r"\[targets\].*(?=\[\[place)", SPEC, flags=re.S)
        spec = spec_from_text(head + asked + tail, "small", library)
        assert band(spec, key).low == pytest.approx(-0.2)
        units.append(Demand.of(spec).unit[0])
    assert units == pytest.approx([0.05 * 0.8] * 3)


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


def test_some_scenario_asks_for_a_point_of_the_profile(library):
    specs = [read_spec(SCENARIOS / n / "spec.toml", library) for n in NAMES]
    assert any(spec.ei_targets for spec in specs)


@pytest.mark.parametrize(
    ("target", "tolerance", "half_width"),
    [
        ('"45 %"', '"2 %"', 0.02),  # points beside a percentage
        ("25", '"10 %"', 2.5),  # a share beside a plain number
        ("25", "2", 2.0),
        ('"20 %"', "0.05", 0.05),
    ],
)
def test_a_percentage_is_a_share_or_points(target, tolerance, half_width, library):
    metric = "flex_point_ratio" if target == '"45 %"' else "material_cost"
    asked = f"{metric} = {{ target = {target}, tolerance = {tolerance} }}"
    text = SPEC.replace("flex_point_ratio = { at_least", "tip_deflection = { at_most")
    text = text.replace('"40 %"', '"400 mm"').replace(
        "[[place]]", f"{asked}\n[[place]]"
    )
    spec = spec_from_text(text, "small", library)
    assert band(spec, metric).tolerance == pytest.approx(half_width)


def test_trades_keep_the_order_of_the_file(library):
    more = 'durability = { trade = "more" }\nmaterial_cost = { trade = "less" }\n'
    spec = spec_from_text(
        SPEC.replace("[[place]]", f"{more}[[place]]"), "small", library
    )
    assert [target.metric for target in spec.trades] == [
        "torque",
        "durability",
        "material_cost",
    ]


def test_a_place_may_end_between_two_lengths(library):
    """With several lengths an end at the longest one's butt is the butt of each."""
    text = SPEC.replace('length = "42 in"', 'length = ["41 in", "42 in"]')
    assert len(spec_from_text(text, "small", library).lengths) == 2


def test_a_band_that_touches_the_ground_tip_is_good(library):
    ground = '[finish]\ntip_diameter = "8.5 mm"\ntip_parallel = "76 mm"\n'
    asked = 'tip_diameter = { target = "8.6 mm", tolerance = "0.1 mm" }\n'
    text = SPEC.replace("[targets]\n", f"{ground}[targets]\n{asked}")
    assert spec_from_text(text, "small", library).finish.tip_diameter == 0.0085


def test_description_of_a_small_spec(small):
    text = describe_spec(small)
    for line in (
        "target spec small: good",
        "  length, mm       1066.8",
        "  mandrel set, mm  50, 60",
        "  finish           as cured",
        "  Weight            57.00 g to 58.50 g",
        "  Torque            traded, less is better",
        "  Flex-point ratio  at least 40.0 %",
        "  cover  0, ±30  0          1066.8   2, 2.5, 3  12",
        "      standard-125, standard-100",
        "about 24 layups, rolled in the order of the places",
    ):
        assert line in text.splitlines(), line


def test_description_tells_ranges_from_lists(library):
    text = SPEC.replace(
        '["50 mm", "60 mm"]', '{ from = "50 mm", to = "93 mm", step = "5 mm" }'
    ).replace("{ from = 2, to = 3, step = 0.5 }", "[2, 2.25, 4, 5]")
    said = describe_spec(spec_from_text(text, "small", library))
    assert "50 to 93 by 5 (10)" in said
    assert "2 to 5 (4 listed)" in said


def test_description_marks_what_is_not_the_default(library):
    text = f'{SPEC}[rules]\nwall_min = "0.5 mm"\nmaterials_max = 6\n'
    text += '[search]\ntime = "90 min"\n'
    said = describe_spec(spec_from_text(text, "small", library)).splitlines()
    marked = [line.split()[1:3] for line in said if line.startswith("* ")]
    assert marked == [["wall_min", "0.5"], ["evaluations", "none"], ["time", "1.5"]]


@pytest.mark.parametrize("name", NAMES)
def test_description_of_a_scenario_holds_everything(name, library):
    spec = read_spec(SCENARIOS / name / "spec.toml", library)
    text = describe_spec(spec)
    for place in spec.places:
        assert place.name in text
        assert all(sheet.material in text for sheet in place.sheets)
    for key in known_keys():
        assert f" {key.name} " in text
    assert text.count("EI at") == len(spec.ei_targets)
    assert max(len(line) for line in text.splitlines()) <= 100


def test_keys_are_the_fields_of_the_tables():
    for table, cls in (
        ("rules", Rules),
        ("bench", Bench),
        ("cutting", Cutting),
        ("search", SearchOptions),
    ):
        names = [key.name for key in known_keys() if key.table == table]
        assert names == [field.name for field in dataclasses.fields(cls)]


def test_developers_guide_lists_every_key():
    guide = (SCENARIOS.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    keys = known_keys()
    for table in dict.fromkeys(key.table for key in keys):
        _, _, after = guide.partition(f"\n### [{table}]\n")
        section = re.split(r"\n(?:#|<!--)", after)[0].strip().splitlines()
        assert section == [
            "| key | default | meaning |",
            "|---|---|---|",
            *(
                f"| `{key.name}` | {key.default} | {key.meaning} |"
                for key in keys
                if key.table == table
            ),
        ]
