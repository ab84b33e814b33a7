import pytest

from tests.benchmarks.lay_errors import (
    PACKAGED,
    SCENARIOS,
    packaged_error,
    scenario_errors,
)

#: What DEVELOPERS.md states, as a share of the cost of a batch of 100.
STATED = 0.04


@pytest.mark.parametrize(
    "name", [PACKAGED[0], pytest.param(PACKAGED[1], marks=pytest.mark.slow)]
)
def test_fast_roll_area_of_a_packaged_design_is_within_the_stated_error(name):
    found = packaged_error(name, 100)
    print(f"{name}: {100 * found.error:+.2f} %, {100 * found.used:.1f} % used")
    assert abs(found.error) < STATED
    assert 0.70 < found.used < 0.85


@pytest.mark.slow
@pytest.mark.parametrize("name", SCENARIOS)
def test_fast_roll_area_of_searched_designs_is_within_the_stated_error(name):
    errors = scenario_errors(name, [100], 20_000, 4)
    assert len(errors) == 4
    assert max(abs(one.error) for one in errors) < STATED
