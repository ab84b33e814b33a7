import numpy as np
import pytest

from tests.benchmarks.lay_errors import (
    PACKAGED,
    SCENARIOS,
    packaged_error,
    scenario_errors,
)

#: What DEVELOPERS.md states, in shares of the cost: of a design, and the mean of some.
ONE, MEAN = 0.06, 0.03


@pytest.mark.parametrize(
    "name", [PACKAGED[0], pytest.param(PACKAGED[1], marks=pytest.mark.slow)]
)
def test_fast_roll_area_of_a_packaged_design_is_within_the_stated_error(name):
    found = packaged_error(name, 100)
    print(f"{name}: {100 * found.error:+.2f} %, {100 * found.used:.1f} % used")
    assert abs(found.error) < MEAN
    assert 0.70 < found.used < 0.85


@pytest.mark.slow
@pytest.mark.parametrize("batch", [100, 12])
@pytest.mark.parametrize("name", SCENARIOS)
def test_fast_roll_area_of_searched_designs_is_within_the_stated_error(name, batch):
    errors = [one.error for one in scenario_errors(name, [batch], 4)]
    assert len(errors) == 4
    assert max(map(abs, errors)) < ONE
    assert abs(np.mean(errors)) < MEAN
