"""A run that is stopped goes on as if it had never been."""

import json
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from optimiser.checkpoint import read_checkpoint
from optimiser.encoding import encode
from optimiser.run import resume_run, run_spec
from optimiser.search import Search
from optimiser.store import open_run
from tests.conftest import BRISK_MOVES
from tests.search.courses import EIGHT, spec_with

pytestmark = pytest.mark.usefixtures("brisk")

#: Beyond the end of a first nursery, which a small population has at 1,600.
BUDGET = 2_000


@pytest.fixture(scope="module")
def spec(tmp_path_factory):
    return spec_with(tmp_path_factory.mktemp("spec"), population=60)


@pytest.fixture(scope="module")
def whole(spec, tmp_path_factory):
    return run_spec(spec, out=tmp_path_factory.mktemp("whole"), evaluations=BUDGET)


def state_of(run):
    state = read_checkpoint(run, encode(run.spec, run.library))
    assert state is not None
    return state


def assert_same_run(run, other):
    """Equal to the last bit in all but the time it took."""
    pd.testing.assert_frame_equal(run.front, other.front, check_exact=True)
    assert run.designs.keys() == other.designs.keys()
    one, two = state_of(run), state_of(other)
    a, b = one.to_arrays(), two.to_arrays()
    assert a.keys() == b.keys()
    for name in a.keys() - {"words"}:
        np.testing.assert_array_equal(a[name], b[name], err_msg=name)
    words, others = json.loads(str(a["words"])), json.loads(str(b["words"]))
    assert words["rng"] == others["rng"]
    for key in ("evaluations", "feasible", "generation", "archive", "first_feasible"):
        assert words["progress"][key] == others["progress"][key]


def test_a_run_in_sittings_equals_one_in_one(spec, whole, tmp_path):
    run = run_spec(spec, out=tmp_path / "run", evaluations=500)
    for evaluations in (500, 900, 1_700, BUDGET):
        run = resume_run(run.folder, evaluations=evaluations)
    assert_same_run(run, whole)
    assert open_run(run.folder).budget.evaluations == BUDGET


def test_an_interrupted_run_equals_an_uninterrupted_one(
    spec, whole, tmp_path, monkeypatch
):
    monkeypatch.setattr("optimiser.watch._TELL_EVERY", 0.0)
    stopping = []

    def interrupt(standing):
        if standing.progress.generation == 7 and not standing.is_stopping:
            signal.raise_signal(signal.SIGINT)
        stopping.append(standing.is_stopping)

    run = run_spec(spec, out=tmp_path / "run", evaluations=BUDGET, listener=interrupt)
    assert run.state == "interrupted"
    assert stopping[-1]
    assert state_of(run).progress.generation == 7
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    monkeypatch.undo()
    run = resume_run(run.folder)
    assert run.state == "done"
    assert_same_run(run, whole)


def test_the_seed_of_the_start_is_kept(spec, tmp_path):
    run = run_spec(spec, out=tmp_path / "a", evaluations=200, seed=7)
    run = resume_run(run.folder, evaluations=600)
    assert_same_run(run, run_spec(spec, out=tmp_path / "b", evaluations=600, seed=7))


def test_a_spent_budget_changes_nothing(spec, tmp_path):
    run = run_spec(spec, out=tmp_path / "run", evaluations=500)
    before = run.front, state_of(run).progress
    run = resume_run(run.folder)
    pd.testing.assert_frame_equal(run.front, before[0])
    assert state_of(run).progress == before[1]
    assert run.state == "done"


def test_time_alone_is_a_budget(spec, tmp_path):
    run = run_spec(spec, out=tmp_path / "run", seconds=0.4)
    assert run.budget.evaluations is None
    assert 0.4 <= run.about["seconds"] < 5.0
    assert run.state == "done"
    # time counts from the start, so what is on top is what is left of it
    before = run.about["evaluations"]
    run = resume_run(run.folder, seconds=run.about["seconds"] + 0.3)
    assert run.about["evaluations"] > before


KILLED = """
import pathlib, sys
import optimiser.run as run
import optimiser.search as search
import optimiser.watch as watch
search._MOST_MOVES = int(sys.argv[3])  # as in the process that runs the tests
watch.CHECKPOINT_EVERY = 0.0
run.run_spec(pathlib.Path(sys.argv[1]), out=pathlib.Path(sys.argv[2]), evaluations=2000)
"""


def test_a_killed_run_goes_on(spec, whole, tmp_path):
    """Killed without warning while it writes all the time; nothing is corrupt."""
    folder = tmp_path / "run"
    process = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(spec), str(folder), str(BRISK_MOVES)]
    )
    deadline = time.monotonic() + 100.0
    while not (folder / "checkpoint.npz").exists():
        assert process.poll() is None
        assert time.monotonic() < deadline
        time.sleep(0.01)
    time.sleep(0.13)
    process.kill()
    process.wait()
    run = open_run(folder)
    assert run.state == "running"
    assert state_of(run).progress.evaluations > 0
    run = resume_run(folder)
    assert run.state == "done"
    assert_same_run(run, whole)


def test_a_run_killed_before_its_first_checkpoint_starts_again(whole, tmp_path):
    folder = shutil.copytree(whole.folder, tmp_path / "run")
    for name in ("checkpoint.npz", "history.csv", "front.csv"):
        (folder / name).unlink()
    assert_same_run(resume_run(folder), whole)


@pytest.mark.usefixtures("young")
def test_memory_does_not_grow_with_evaluations(scenario, library):
    """What a search holds, its archive aside, is the same after many evaluations."""
    options = replace(scenario.search, population=50)
    run = Search(encode(replace(scenario, ei_targets=(), search=options), library))

    def held():
        arrays = run.state.to_arrays()
        return sum(
            array.nbytes for name, array in arrays.items() if not name.startswith("a_")
        )

    # the population is full, and the nursery empty or not
    run.run(evaluations=1_800)
    early, population = held(), run.state.population
    assert population.n == options.population
    run.run(evaluations=5_000)
    one = sum(array.nbytes for array in vars(population).values()) / population.n
    assert held() == pytest.approx(early, abs=1.1 * run.nursery_size * one, rel=0.0)


# ------------------------------------------------------------ nothing more to find


def test_a_search_that_has_seen_all_there_is_ends(tmp_path):
    spec = tmp_path / "eight.toml"
    spec.write_text(EIGHT, encoding="utf-8")
    run = run_spec(spec, out=tmp_path / "run")
    assert run.about["exhausted"]
    assert run.state == "done"
    assert run.about["evaluations"] <= 8
    assert 0 < len(run.front) <= 8


def test_a_search_that_can_build_nothing_ends(tmp_path):
    text = EIGHT.replace(
        "[rules]", 'butt_diameter = { target = "30 mm", tolerance = "0.1 mm" }\n[rules]'
    )
    spec = tmp_path / "none.toml"
    spec.write_text(text, encoding="utf-8")
    run = run_spec(spec, out=tmp_path / "run")
    assert run.about["exhausted"]
    assert run.front.empty
    assert run.about["evaluations"] == 0
    assert not run.designs
    again = resume_run(run.folder)
    assert again.about["exhausted"]
