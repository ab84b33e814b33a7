"""What tests of papers and pictures share."""

import pytest

from model import Report
from optimiser.spec import Spec
from tests.unit.shown_shafts import a_report, a_spec


@pytest.fixture(scope="module")
def report() -> Report:
    return a_report()


@pytest.fixture(scope="module")
def spec(tmp_path_factory: pytest.TempPathFactory) -> Spec:
    return a_spec(tmp_path_factory.mktemp("spec"))
