"""A strength envelope that does not fit the shaft gives no margin, and says so."""

from dataclasses import replace

import numpy as np
import pytest

from model import evaluate, open_design
from tests.conftest import SCENARIOS


@pytest.mark.parametrize(("start", "stop"), [(0.900, 1.000), (1.200, 0.175)])
def test_no_durability_without_a_full_moment(start, stop):
    design, library = open_design(SCENARIOS / "designs" / "fairway-60.toml")
    assert evaluate(design, library).metrics["durability"] is not None
    bench = replace(design.bench, strength_from=start, strength_to=stop)
    report = evaluate(replace(design, bench=bench), library)
    assert report.metrics["durability"] is None
    envelope = report.strength[-1]
    assert envelope.name == "envelope"
    assert envelope.margin is None
    assert any("durability" in warning for warning in report.warnings)
    assert report.to_json()["metrics"]["durability"] is None
    assert np.isfinite(report.metrics["frequency"])
