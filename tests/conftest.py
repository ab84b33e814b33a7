"""What many tests share."""

import signal
from pathlib import Path

import pytest

from model import read_library
from optimiser.spec_file import read_spec

# what is started in the background may have been told to ignore an interrupt, and hands
# that down to the programs that tests interrupt
signal.signal(signal.SIGINT, signal.default_int_handler)

SCENARIOS = Path(__file__).parents[1] / "scenarios"


@pytest.fixture(scope="session")
def library():
    return read_library()


@pytest.fixture(scope="session")
def scenario(library):
    return read_spec(SCENARIOS / "fairway_58" / "spec.toml", library)
