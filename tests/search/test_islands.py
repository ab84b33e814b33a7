"""Islands: the same bits whoever works on them, and nothing lost in between."""

import os
import signal
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise

import moocore
import numpy as np
import pytest

from optimiser import executors
from optimiser.budget import Budget
from optimiser.checkpoint import write_checkpoint
from optimiser.cli import main
from optimiser.course import BARREN_MOST, Stall
from optimiser.encoding import encode
from optimiser.executors import Alone, CrewLostError, processes
from optimiser.islands import Islands, stint
from optimiser.run import Hands, resume_run, run_spec
from optimiser.search import Search
from optimiser.state import State
from tests.conftest import BRISK_MOVES
from tests.search.courses import (
    EIGHT,
    ROOT,
    SPEC,
    assert_same_course,
    course_of,
    lost,
    spec_with,
)

BUDGET = 3_000
ONE, TWO = Hands(workers=1), Hands(workers=2)


@pytest.fixture(autouse=True, scope="module")
def _no_front():
    """Fronts follow from what is compared here, and take longer than these runs."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("optimiser.run.write_front", lambda *_: None)
        yield


@pytest.fixture(scope="module")
def spec(tmp_path_factory):
    folder = tmp_path_factory.mktemp("spec")
    return spec_with(folder, population=80, islands=3, exchange=420)


@pytest.fixture(scope="module")
def whole(spec, tmp_path_factory):
    out = tmp_path_factory.mktemp("whole")
    return run_spec(spec, out=out, evaluations=BUDGET, hands=ONE)


@pytest.fixture(scope="module")
def encoding(scenario, library):
    search = replace(scenario.search, population=60, islands=3, exchange=500)
    return encode(replace(scenario, search=search), library)


def go(course, evaluations):
    course.run(lambda: True, evaluations=evaluations, seconds=None)
    return course


# ---------------------------------------------------------------------- same bits


def test_the_run_is_what_it_should_be(whole):
    assert whole.state == "done"
    assert whole.about["stopped_by"] == "budget"
    course = course_of(whole)
    assert course.leg == 3  # the second exchange is the last before 1,260 each
    each = [island.state.progress.evaluations for island in course.islands]
    assert all(BUDGET / 3 <= n < BUDGET / 3 + 100 for n in each)
    assert whole.about["evaluations"] == sum(each)
    assert course.found().archive.n > 5
    genomes = {island.state.population.genomes.tobytes() for island in course.islands}
    assert len(genomes) == 3


def test_processes_and_sittings_make_no_difference(spec, whole, tmp_path):
    run = run_spec(spec, out=tmp_path / "run", evaluations=700, hands=ONE)
    # in the middle of a leg, at its very end, and beyond
    for evaluations, hands in ((1_260, ONE), (BUDGET, TWO)):
        run = resume_run(run.folder, evaluations=evaluations, hands=hands)
    assert_same_course(run, whole)


def test_a_wish_to_stop_makes_no_difference(spec, whole, tmp_path):
    def interrupt(standing):
        if standing.progress.evaluations > 1_300 and not standing.is_stopping:
            signal.raise_signal(signal.SIGINT)

    out = tmp_path / "run"
    run = run_spec(spec, out=out, evaluations=BUDGET, hands=ONE, listener=interrupt)
    assert run.state == "interrupted"
    assert run.about["stopped_by"] == "request"
    assert 1_300 < run.about["evaluations"] < BUDGET
    assert_same_course(resume_run(run.folder, hands=ONE), whole)


def test_a_killed_worker_makes_no_difference(spec, whole, tmp_path, monkeypatch):
    """One of two is killed without warning while it works; its stint is done again."""
    monkeypatch.setattr(executors, "STINT", 0.1)
    monkeypatch.setattr(executors._Processes, "stint", 0.1)
    killed = []
    made = executors._Processes._executor

    def executor(self):
        pool = made(self)
        crew.append((self, pool))
        return pool

    crew = []
    monkeypatch.setattr(executors._Processes, "_executor", executor)

    def listen(standing):
        if standing.progress.evaluations > 1_000 and not killed:
            pool = crew[-1][1]
            killed.append(next(iter(pool._processes)))
            os.kill(killed[0], signal.SIGKILL)

    monkeypatch.setattr("optimiser.watch._TELL_EVERY", 0.0)
    out = tmp_path / "run"
    run = run_spec(spec, out=out, evaluations=BUDGET, hands=TWO, listener=listen)
    assert killed
    assert killed[0] not in crew[-1][1]._processes
    assert_same_course(run, whole)


@pytest.mark.usefixtures("brisk_once")
def test_a_stint_may_end_anywhere(encoding):
    arrays = Search(encoding).state.to_arrays()
    before = {name: array.copy() for name, array in arrays.items()}
    at_once, _ = stint(encoding, arrays, 0, 900, 1e9)
    for name, array in before.items():
        np.testing.assert_array_equal(
            array, arrays[name]
        )  # what goes in is not touched
    pieces, n = arrays, 0
    while State.from_arrays(pieces).progress.evaluations < 900:
        for array in pieces.values():
            array.flags.writeable = False  # as it may come from another machine
        pieces, _ = stint(encoding, pieces, 0, 900, 1e-9)
        n += 1
    assert n > 5
    for name in at_once.keys() - {"words"}:
        np.testing.assert_array_equal(pieces[name], at_once[name], err_msg=name)


THREADS = """
import hashlib, sys
from pathlib import Path
import optimiser.search as search
from model import read_library
from optimiser.encoding import encode
from optimiser.spec_file import read_spec
library = read_library()
search._MOST_MOVES = int(sys.argv[2])
found = search.Search(encode(read_spec(Path(sys.argv[1]), library), library))
found.run(evaluations=1_000)
digest = hashlib.sha256()
for name, array in sorted(found.state.to_arrays().items()):
    if name != "words":
        digest.update(array.tobytes())
print(digest.hexdigest())
"""


def test_threads_of_matrix_products_make_no_difference():
    """One worker's libraries may use other numbers of threads than another's."""
    names = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
    said = [
        subprocess.Popen(
            [sys.executable, "-c", THREADS, str(SPEC), str(BRISK_MOVES)],
            env=os.environ
            | {"PYTHONPATH": str(ROOT)}
            | dict.fromkeys(names, str(threads)),
            stdout=subprocess.PIPE,
            text=True,
        )
        for threads in (1, 2)
    ]
    one, two = (process.communicate()[0] for process in said)
    assert len(one) == 65
    assert one == two


@pytest.mark.usefixtures("brisk_once")
def test_the_number_of_islands_matters(encoding):
    # so long that what is sent is not all dominated where it comes to
    three = go(Islands(encoding, Stall()), 3_600)
    spec = replace(encoding.spec, search=replace(encoding.spec.search, islands=2))
    two = go(Islands(replace(encoding, spec=spec), Stall()), 2_400)
    first = [course.islands[0].state.archive.genomes for course in (two, three)]
    assert not np.array_equal(*first)


# ----------------------------------------------------------------------- exchange


@pytest.mark.usefixtures("brisk_once")
def test_designs_go_round_the_ring_and_none_is_lost(encoding):
    course = go(Islands(encoding, Stall()), 4_400)
    while any(island.state.archive.n < 3 for island in course.islands):
        go(course, course.progress.evaluations + 1_500)
    before = [island.state for island in course.islands]
    held = [{genome.tobytes() for genome in state.archive.genomes} for state in before]
    counts = [state.progress.evaluations for state in before]
    common = course.found().archive
    course._exchange()
    for i, island in enumerate(course.islands):
        state = island.state
        own = {genome.tobytes() for genome in state.population.genomes}
        assert own & (held[i - 1] - held[i])  # from the one before in the ring
        assert state.progress.evaluations == counts[i]  # not evaluated again
        assert state.population.n <= 60
        assert lost(before[i].archive, state.archive) == 0
    assert lost(common, course.whole.state.archive) == 0
    assert moocore.is_nondominated(course.whole.state.archive.F).all()


@pytest.mark.usefixtures("brisk_once")
def test_the_archive_of_all_never_loses_a_design(encoding):
    seen = []

    def note():
        seen.append((course.found().archive, course.hypervolume()))
        return True

    course = Islands(encoding, Stall())
    course.run(note, evaluations=4_500, seconds=None)
    assert len(seen) > 5
    for (before, volume), (after, later) in pairwise(seen):
        assert lost(before, after) == 0
        assert later >= volume - 1e-12
    assert seen[-1][1] > 0.0


@pytest.mark.usefixtures("brisk_once")
def test_hypervolume_is_measured_in_one_box_where_no_objective_is_bounded(encoding):
    free = {"low": -np.inf, "high": np.inf}
    targets = tuple(replace(t, **free) if t.trade else t for t in encoding.spec.targets)
    unbounded = replace(encoding.spec, targets=targets)
    course = Islands(replace(encoding, spec=unbounded), Stall())
    boxes, volumes = [], []

    def watch():
        found = course.found()
        if found.archive.n and course.islands[0].state.archive.n:
            boxes.append((*found.reference, *found.ideal))
            volumes.append(course.hypervolume())
        return True

    course.run(watch, evaluations=4_500, seconds=None)
    assert course.leg > 1
    assert len(boxes) > 5
    np.testing.assert_array_equal(boxes, boxes[:1] * len(boxes))
    assert min(np.diff(volumes)) >= 0.0


def test_a_budget_is_spent_where_one_island_finds_nothing_new(spec, tmp_path):
    """What it leaves undone is nobody else's: the run is done, not interrupted."""
    run = run_spec(spec, out=tmp_path / "run", evaluations=300, hands=ONE)
    course = course_of(run)
    for island, evaluations in zip(course.islands, (300, 400, 400), strict=True):
        island.state.progress.evaluations = evaluations
    course._count()
    assert not course.has_spent(1_200)
    course.islands[0].barren = BARREN_MOST
    assert course.has_spent(1_200)
    assert not course.is_exhausted
    assert not course.has_spent(1_203)
    assert not course.has_spent(None)
    assert not Budget(1_200, None).is_spent(course.progress)
    write_checkpoint(run, course)
    run = resume_run(run.folder, evaluations=1_200, hands=ONE)
    assert run.state == "done"
    assert run.about["stopped_by"] == "budget"


def test_islands_that_find_nothing_new_end(tmp_path):
    spec = tmp_path / "eight.toml"
    spec.write_text(EIGHT + "[search]\nislands = 2\n", encoding="utf-8")
    run = run_spec(spec, out=tmp_path / "run", hands=ONE)
    assert run.state == "done"
    assert run.about["stopped_by"] == "exhausted"
    assert 0 < course_of(run).found().archive.n <= 8
    assert all(island.barren == BARREN_MOST for island in course_of(run).islands)
    again = resume_run(run.folder, hands=ONE)
    assert again.about["stopped_by"] == "exhausted"
    assert_same_course(run, again)


def test_time_ends_islands(spec, tmp_path):
    run = run_spec(spec, out=tmp_path / "run", seconds=0.5, hands=ONE)
    assert run.state == "done"
    assert 0.5 <= run.about["seconds"] < 4.0


# ---------------------------------------------------------------------- the crew


def test_workers_that_are_lost_again_and_again_end_a_run(spec, tmp_path, monkeypatch):
    """What came in before is written, and one is told why it ended."""
    done = Alone.finished

    def finished(self):
        self.n = getattr(self, "n", 0) + 1
        if self.n > 2:
            raise CrewLostError("workers were lost")
        return done(self)

    monkeypatch.setattr(Alone, "finished", finished)
    run = run_spec(spec, out=tmp_path / "run", evaluations=BUDGET, hands=ONE)
    assert run.state == "interrupted"
    assert run.about["stopped_by"] == "workers were lost"
    assert run.about["evaluations"] > 0
    assert course_of(run).progress.evaluations == run.about["evaluations"]


def end_at_once():
    os._exit(3)


def wait_for_nothing(crew):
    for _ in range(400):
        assert crew.finished() == []


@pytest.mark.slow
def test_a_process_that_always_dies_is_given_up(monkeypatch):
    monkeypatch.setattr(executors, "_LOSSES_MOST", 1)
    with processes(2, os.getpid) as crew:
        crew.submit(0, end_at_once)
        with pytest.raises(CrewLostError, match="lost 2 times in a row"):
            wait_for_nothing(crew)


def test_more_workers_than_islands_are_told(tmp_path, capsys):
    spec = tmp_path / "eight.toml"
    spec.write_text(EIGHT, encoding="utf-8")
    out = tmp_path / "run"
    main(["search", str(spec), "--out", str(out), "--workers", "4"])
    assert "of these 1 had something to do" in capsys.readouterr().err


def test_a_cluster_needs_islands(tmp_path, capsys):
    spec = tmp_path / "eight.toml"
    spec.write_text(EIGHT, encoding="utf-8")
    words = ["--out", str(tmp_path / "run"), "--cluster", "tcp://127.0.0.1:1"]
    assert main(["search", str(spec), *words]) == 2
    assert "this search has one island" in capsys.readouterr().err
    assert not (tmp_path / "run").exists()
