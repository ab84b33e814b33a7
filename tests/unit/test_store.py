"""The run folder: what is in it, and that nothing breaks it."""

import json
import subprocess
import sys
import time
from dataclasses import replace
from datetime import datetime

import numpy as np
import pandas as pd
import pytest

from model import METRICS, InputError, evaluate, read_design, read_library
from optimiser.encoding import encode
from optimiser.run import resume_run, run_spec
from optimiser.search import Search
from optimiser.store import create_run, locked, open_run, read_checkpoint
from optimiser.words import ei_column
from tests.conftest import SCENARIOS

SPEC = SCENARIOS / "fairway_58" / "spec.toml"


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return run_spec(SPEC, out=tmp_path_factory.mktemp("run"), evaluations=9_000)


def test_the_folder_holds_what_a_run_is(run):
    names = {path.name for path in run.folder.iterdir()}
    assert {
        "spec.toml",
        "library",
        "run.json",
        "front.csv",
        "designs",
        "history.csv",
        "checkpoint.npz",
    } <= names
    assert not [name for name in names if name.endswith(".part")]
    assert (run.folder / "spec.toml").read_text(encoding="utf-8") == SPEC.read_text(
        encoding="utf-8"
    )
    about = json.loads((run.folder / "run.json").read_text(encoding="utf-8"))
    assert about["state"] == "done"
    assert about["evaluations"] >= 9_000
    assert about["designs"] == len(run.front) > 0


def test_every_design_evaluates_by_itself_to_the_numbers_of_the_front(run):
    front = run.front.set_index("id")
    assert len(front) == len(list((run.folder / "designs").glob("*.toml")))
    for path in sorted((run.folder / "designs").glob("*.toml"))[:10]:
        design = read_design(path)  # finds ../library by itself
        report = evaluate(design, read_library(run.folder / "library"))
        assert report.design_id == path.stem
        for metric in METRICS:
            value = report.metrics[metric.key] * metric.scale
            assert front.loc[path.stem, metric.column] == pytest.approx(value, rel=1e-9)
        station = run.spec.ei_targets[0].station
        profile = report.profile
        shown = front.loc[path.stem, ei_column(station)]
        along = np.interp(station, profile.station, profile.EI)
        assert shown == pytest.approx(along, rel=1e-9)


def test_a_run_reads_back(run):
    again = open_run(run.folder)
    pd.testing.assert_frame_equal(again.front, run.front)
    assert again.spec == run.spec
    assert again.history_table()["evaluations"].is_monotonic_increasing
    first = again.front["id"][0]
    assert again.design_path(first[:8]).stem == first


def test_an_unknown_design_is_named_with_the_nearest(run):
    with pytest.raises(InputError, match="no such design in this run"):
        run.design_path("zzzz")
    with pytest.raises(InputError):
        run.design_path("")


def test_a_resumed_run_equals_an_uninterrupted_one(run, tmp_path):
    part = run_spec(SPEC, out=tmp_path / "part", evaluations=3_000)
    whole = resume_run(open_run(part.folder), evaluations=9_000)
    pd.testing.assert_frame_equal(whole.front, run.front)
    a, b = read_checkpoint(whole), read_checkpoint(run)
    np.testing.assert_array_equal(a.population.genomes, b.population.genomes)


def test_a_second_process_is_refused(run):
    with (
        locked(run),
        pytest.raises(InputError, match="another process works on this run"),
    ):
        resume_run(open_run(run.folder), evaluations=20_000)


def test_a_folder_in_use_is_not_overwritten(run, scenario, library):
    with pytest.raises(InputError, match="there already and not empty"):
        create_run(scenario, library, run.folder, datetime(2030, 1, 1))


@pytest.mark.parametrize("name", ["checkpoint.npz", "run.json", "front.csv"])
def test_a_damaged_file_is_named(tmp_path, name):
    run = run_spec(SPEC, out=tmp_path / "run", evaluations=600)
    path = run.folder / name
    if not path.exists():  # so few evaluations may leave no front
        pytest.skip("no front yet")
    path.write_bytes(b"\x00broken")

    def read_all():
        again = open_run(run.folder)
        return again.front, read_checkpoint(again)

    with pytest.raises(InputError, match=name.replace(".", r"\.")):
        read_all()


def test_nothing_is_made_for_a_bad_spec(tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text("format = 1\n", encoding="utf-8")
    with pytest.raises(InputError):
        run_spec(bad, out=tmp_path / "run")
    assert not (tmp_path / "run").exists()


def test_a_killed_run_goes_on(tmp_path):
    code = (
        "import optimiser.run as run, pathlib, sys\n"
        "run.CHECKPOINT_EVERY = 0.05\n"
        "run.run_spec(pathlib.Path(sys.argv[1]), out=pathlib.Path(sys.argv[2]),"
        " evaluations=10_000_000)\n"
    )
    folder = tmp_path / "run"
    process = subprocess.Popen([sys.executable, "-c", code, str(SPEC), str(folder)])
    deadline = time.monotonic() + 100
    while not (folder / "checkpoint.npz").exists():
        assert process.poll() is None
        assert time.monotonic() < deadline
        time.sleep(0.05)
    time.sleep(0.5)
    process.kill()
    process.wait()
    run = open_run(folder)
    state = read_checkpoint(run)
    before = state.progress.evaluations
    assert before > 0
    again = resume_run(run, evaluations=before + 500)
    assert again.about["evaluations"] >= before + 500


def test_memory_does_not_grow_with_evaluations(scenario, library):
    """What a search holds is the same after ten times the evaluations."""
    run = Search(encode(replace(scenario, ei_targets=()), library))

    def held():
        arrays = run.state.to_arrays()
        return sum(
            array.nbytes for name, array in arrays.items() if not name.startswith("a_")
        )

    run.run(evaluations=6_000)
    early = held()
    run.run(evaluations=40_000)
    assert held() == pytest.approx(early, rel=0.02)
