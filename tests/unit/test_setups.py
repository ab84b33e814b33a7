"""Named set-ups of the bench: they fit it, and they fit each other or say so."""

import dataclasses

import pytest

from model import SETUPS, Bench, read_quantity, setup_overrides


@pytest.mark.parametrize("name", SETUPS)
def test_every_value_is_one_of_the_bench(name):
    setup = SETUPS[name]
    assert setup.name == name
    assert setup.label
    assert setup.source
    assert setup.bench
    assert set(setup.bench) <= {field.name for field in dataclasses.fields(Bench)}
    bench = Bench(**setup_overrides([name]))
    for key, value in setup.bench.items():
        assert getattr(bench, key) == pytest.approx(value, abs=1e-9)


def test_couples_in_the_units_of_their_names():
    """13.9 kgf cm and 1 lbf ft, by the unit library."""
    for name, text in (
        ("couple-13.9-kgf-cm", "13.9 kgf cm"),
        ("couple-1-lbf-ft", "1 lbf ft"),
    ):
        value = setup_overrides([name])["torque_moment"]
        assert value == pytest.approx(read_quantity(text, "moment"), rel=1e-9)


@pytest.mark.parametrize(
    ("name", "key", "text", "dimension"),
    [
        ("frequency-205-127", "frequency_clamp", "5 in", "length"),
        ("frequency-205-178", "frequency_clamp", "7 in", "length"),
        ("torque-127", "torque_clamp", "5 in", "length"),
        ("frequency-driver", "tip_mass", "196 g", "mass"),
        ("frequency-fairway", "tip_mass", "210 g", "mass"),
        ("frequency-iron", "tip_mass", "260 g", "mass"),
        ("torque-1040", "torque_clamp_at", "1040 mm", "length"),
        ("torque-825", "torque_clamp_at", "825 mm", "length"),
    ],
)
def test_values_in_the_units_of_their_sources(name, key, text, dimension):
    """Inches are rounded to whole millimetres, as the trade does."""
    value = setup_overrides([name])[key]
    assert value == pytest.approx(read_quantity(text, dimension), abs=0.3e-3)


def test_set_ups_that_go_together():
    found = setup_overrides(["frequency-driver", "clamp-178", "torque-1040"])
    assert found == {
        "tip_mass": 0.196,
        "frequency_clamp": 0.178,
        "torque_clamp_at": 1.040,
        "torque_grip": 0.040,
    }
    assert setup_overrides([]) == {}
    assert setup_overrides(["clamp-127", "frequency-205-127", "clamp-127"]) == {
        "tip_mass": 0.205,
        "frequency_clamp": 0.127,
    }


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (
            ["frequency-drivr"],
            "no such set-up as 'frequency-drivr'.*'frequency-driver'",
        ),
        (["?"], "Allowed: clamp-127"),
        (
            ["frequency-driver", "frequency-iron"],
            "'frequency-driver' and 'frequency-iron' set tip_mass differently",
        ),
        (["clamp-127", "frequency-205-178"], "set frequency_clamp differently"),
        (["torque-1040", "torque-825"], "set torque_clamp_at differently"),
        (["torque-127", "torque-1040"], "torque_clamp .*torque_clamp_at.*same thing"),
        (["torque-1040", "torque-127"], "torque_clamp_at .*torque_clamp,.*same thing"),
    ],
)
def test_set_ups_that_do_not(names, words):
    with pytest.raises(ValueError, match=words):
        setup_overrides(names)


def test_all_that_is_wrong_at_once():
    with pytest.raises(ValueError, match="set tip_mass") as caught:
        setup_overrides(["frequency-driver", "torqe-1040", "frequency-iron", "x"])
    said = str(caught.value)
    assert "'torqe-1040'" in said
    assert "'x'" in said
    assert said.count("tip_mass") == 1
