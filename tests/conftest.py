"""What many tests share."""

import signal
from pathlib import Path

import pytest

from model import read_library
from optimiser.spec_file import read_spec
from tests.compiling import compile_all

# what is started in the background may have been told to ignore an interrupt, and hands
# that down to the programs that tests interrupt
signal.signal(signal.SIGINT, signal.default_int_handler)

SCENARIOS = Path(__file__).parents[1] / "scenarios"


def pytest_sessionstart(session):
    options = session.config.option
    if getattr(options, "numprocesses", None) and not options.collectonly:
        compile_all()


@pytest.fixture(scope="module")
def brisk():
    """Nurseries that begin with less annealing, where quality is not the question.

    It holds in this process alone: not for tests that compare with what other
    processes find.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("optimiser.search._MOST_MOVES", 100_000)
        yield


@pytest.fixture(scope="session")
def library():
    return read_library()


@pytest.fixture(scope="session")
def scenario(library):
    return read_spec(SCENARIOS / "fairway_58" / "spec.toml", library)
