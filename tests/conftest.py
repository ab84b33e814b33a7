"""What many tests share."""

from pathlib import Path

import pytest

from model import read_library
from optimiser.spec_file import read_spec

SCENARIOS = Path(__file__).parents[1] / "scenarios"


@pytest.fixture(scope="session")
def library():
    return read_library()


@pytest.fixture(scope="session")
def scenario(library):
    return read_spec(SCENARIOS / "fairway_58" / "spec.toml", library)
