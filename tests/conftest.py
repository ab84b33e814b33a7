"""What many tests share."""

import signal
from functools import partial
from pathlib import Path

import pytest

from model import read_library
from optimiser.spec_file import read_spec
from tests.compiling import compile_all

# what is started in the background may have been told to ignore an interrupt, and hands
# that down to the programs that tests interrupt
signal.signal(signal.SIGINT, signal.default_int_handler)

SCENARIOS = Path(__file__).parents[1] / "scenarios"
#: Moves of annealing in all, of a nursery that begins with less of it.
BRISK_MOVES = 100_000


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
        patch.setattr("optimiser.search._MOST_MOVES", BRISK_MOVES)
        yield


@pytest.fixture
def brisk_once(monkeypatch):
    """The same for a single test."""
    monkeypatch.setattr("optimiser.search._MOST_MOVES", BRISK_MOVES)


def try_few_lays(patch):
    patch.setattr("optimiser.nesting_units._SHIFTS", 4)
    patch.setattr("optimiser.nesting._ORDERS", 1)
    patch.setattr("optimiser.nesting._CHOSEN", 1)
    for module in ("nesting", "nesting_units"):
        patch.setattr(f"optimiser.{module}.STAGGERS", (None,))


@pytest.fixture(scope="module")
def brisk_lays():
    """Lays that few tries have found, where how short they are is not the question."""
    with pytest.MonkeyPatch.context() as patch:
        try_few_lays(patch)
        yield


@pytest.fixture
def brisk_lays_once(monkeypatch):
    """The same for a single test."""
    try_few_lays(monkeypatch)


@pytest.fixture(scope="module")
def few_explained():
    """Review pages on which few designs but the picks are explained."""
    from optimiser.review_explained import chosen_to_explain

    few = partial(chosen_to_explain, besides=4)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("optimiser.review_explained.chosen_to_explain", few)
        yield


@pytest.fixture(scope="session")
def library():
    return read_library()


@pytest.fixture(scope="session")
def scenario(library):
    return read_spec(SCENARIOS / "fairway_58" / "spec.toml", library)
