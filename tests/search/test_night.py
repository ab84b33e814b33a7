"""A search survives the night: kills, full disks, stalls."""

import errno
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from contextlib import contextmanager, suppress
from pathlib import Path

import numpy as np
import pytest

from model import InputError
from optimiser import files, store
from optimiser.budget import Budget, Limits
from optimiser.checkpoint import write_checkpoint
from optimiser.cli import main
from optimiser.course import Stall
from optimiser.run import Hands, resume_run, run_spec
from optimiser.run_folder import locked
from optimiser.state import Progress
from optimiser.store import open_run
from optimiser.terminal import ProgressLine
from optimiser.watch import Standing
from tests.search.courses import (
    ROOT,
    assert_same_course,
    course_of,
    held_by,
    kill,
    lost,
    parts_of,
    spec_with,
    start,
    wait_for,
)

BUDGET = 3_000
ONE = Hands(workers=1)
#: A first generation on a busy machine that has nothing compiled yet. [s]
COMPILED_BY = 240.0


#: Fronts follow from what is compared, and take longer than these runs.
without_front = pytest.mark.usefixtures("no_front")


@pytest.fixture
def no_front(monkeypatch):
    monkeypatch.setattr("optimiser.run.write_front", lambda *_: None)


@pytest.fixture(scope="module")
def spec(tmp_path_factory):
    folder = tmp_path_factory.mktemp("spec")
    return spec_with(folder, population=60, islands=2, exchange=500)


# -------------------------------------------------------------------------- killed


@without_front
def test_a_run_killed_at_any_instant_loses_nothing(spec, tmp_path):
    """Wherever it is, and in the middle of the write; twenty more in kill_loop.py."""
    whole = run_spec(spec, out=tmp_path / "whole", evaluations=BUDGET, hands=ONE)
    folder = tmp_path / "run"
    before, archive, volume = 0, None, 0.0
    draw = random.Random(1)
    for in_the_write in (True, False, True):
        slow = 0.3 if in_the_write else 0.0
        process, seen = start(spec, folder, BUDGET, slow=slow)
        wait_for(seen.exists, process)
        if in_the_write:
            # the second one, so that the first stands
            wait_for(lambda: parts_of(folder), process)
            wait_for(lambda: not parts_of(folder), process)
            wait_for(lambda: parts_of(folder), process)
            assert parts_of(folder)
        else:
            checkpoint = folder / "checkpoint.npz"
            stood = checkpoint.stat().st_mtime_ns if checkpoint.exists() else 0
            wait_for(
                lambda: checkpoint.exists() and checkpoint.stat().st_mtime_ns > stood,  # noqa: B023
                process,
            )
            time.sleep(draw.uniform(0.0, 0.1))
        assert process.poll() is None
        kill(process)
        progress, now, share = held_by(folder)
        assert progress.evaluations > before
        assert open_run(folder).state == "running"
        if archive is not None:
            assert lost(archive, now) == 0
            assert share >= volume - 1e-12
        before, archive, volume = progress.evaluations, now, share
    run = resume_run(folder, hands=ONE)
    assert run.state == "done"
    assert_same_course(run, whole)
    assert not parts_of(folder)


@pytest.mark.slow
def test_workers_end_with_the_process_that_was_killed(spec, tmp_path):
    process, seen = start(spec, tmp_path / "run", 10**6, workers=2)
    wait_for(seen.exists, process)
    children = subprocess.run(
        ["ps", "-o", "pid=", "--ppid", str(process.pid)],
        capture_output=True,
        text=True,
        check=False,
    )
    pids = [int(pid) for pid in children.stdout.split()]
    assert len(pids) >= 2
    kill(process)

    def is_there(pid):
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return False
        words = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
        return words[0] != "Z"

    deadline = time.monotonic() + 20.0
    while any(is_there(pid) for pid in pids):
        assert time.monotonic() < deadline
        time.sleep(0.1)
    # and the folder is free
    with locked(tmp_path / "run"):
        pass


def test_a_start_that_was_cut_off_is_told(tmp_path):
    (tmp_path / ".lock").touch()
    (tmp_path / "library").mkdir()
    with pytest.raises(InputError, match="its start was cut off before anything"):
        open_run(tmp_path)


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="no terminals to close here")
def test_a_closed_terminal_ends_a_run_in_good_order(tmp_path):
    folder = tmp_path / "run"
    spec = spec_with(tmp_path, population=60)
    program = (
        # the suite itself may be run so that a closed terminal is no matter
        "import signal; signal.signal(signal.SIGHUP, signal.SIG_DFL); "
        "import sys, optimiser.run as run; run.write_front = lambda *_: None; "
        "from optimiser.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    words = ["search", str(spec), "--out", str(folder), "--evaluations", "10000000"]
    process = subprocess.Popen(
        [sys.executable, "-c", program, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        start_new_session=True,
    )
    wait_for((folder / "run.json").exists, process)
    time.sleep(0.5)
    # whoever listened is gone
    process.stdout.close()
    process.stderr.close()
    process.send_signal(signal.SIGHUP)
    try:
        process.wait(timeout=COMPILED_BY)
    finally:
        process.kill()
    assert open_run(folder).state == "interrupted"
    assert held_by(folder)[0].evaluations > 0


def test_a_terminal_that_is_gone_is_no_reason_to_end(monkeypatch):
    monkeypatch.setattr("optimiser.terminal._LINE_EVERY", 0.0)

    class Gone:
        def write(self, _):
            raise OSError(errno.EIO, os.strerror(errno.EIO))

        def flush(self):
            pass

    standing = Standing(
        progress=Progress(),
        hypervolume=0.0,
        rate=None,
        budget=Budget(10, None),
        is_stopping=False,
        trouble="",
    )
    with ProgressLine(is_live=False) as line:
        monkeypatch.setattr(sys, "stderr", Gone())
        line(standing)
        line(standing)
        monkeypatch.undo()


# ----------------------------------------------------------------- disks and folders


@contextmanager
def mounted(*words, on):
    """A file system mounted on a folder; skips where that is not allowed."""
    on.mkdir(exist_ok=True)
    done = subprocess.run(["mount", *words, str(on)], capture_output=True, check=False)
    if done.returncode:
        pytest.skip("file systems cannot be mounted here")
    try:
        yield on
    finally:
        subprocess.run(["umount", "-l", str(on)], check=True)


def fill(path):
    """Write until the disk is full."""
    with path.open("wb", buffering=0) as stream, suppress(OSError):
        while stream.write(bytes(1 << 12)):
            pass


def can_mount():
    return os.geteuid() == 0 and shutil.which("mount") is not None


needs_root = pytest.mark.skipif(not can_mount(), reason="only root can mount")


@needs_root
@without_front
def test_a_disk_that_fills_in_the_night(tmp_path, capsys, monkeypatch):
    """A real one of 6 MB: checkpoints fail and are told, and nobody makes room."""
    monkeypatch.setattr("optimiser.watch.CHECKPOINT_EVERY", 0.0)
    monkeypatch.setattr("optimiser.watch._TELL_EVERY", 0.0)
    spec = spec_with(tmp_path, population=60)
    words = ("-t", "tmpfs", "-o", "size=6m", "tmpfs")
    with mounted(*words, on=tmp_path / "disk") as disk:
        folder, ballast = disk / "run", disk / "ballast"
        troubles, held = [], []

        def listen(standing):
            troubles.append(standing.trouble)
            if standing.progress.generation == 3:
                held.append(held_by(folder)[0].evaluations)
                fill(ballast)
            if standing.progress.generation == 6:
                held.append(held_by(folder)[0].evaluations)
            if "are not on disk" in standing.trouble:
                signal.raise_signal(signal.SIGINT)  # no more waiting

        with pytest.raises(OSError, match="No space left") as caught:
            run_spec(spec, out=folder, evaluations=1_500, listener=listen)
        assert any("no checkpoint" in t and "No space" in t for t in troubles)
        assert held[0] == held[1] > 0  # what stood before is whole
        assert not parts_of(folder)
        lost, where = caught.value.__notes__
        assert int(lost.split()[0].replace(",", "")) >= 1_500 - held[0]
        assert lost.endswith("evaluations since the last one are lost")
        assert "plyfront resume" in where
        assert main(["resume", str(folder)]) == 1
        said = capsys.readouterr().err
        assert "no space left on device" in said
        assert "Traceback" not in said
        ballast.unlink()
        run = resume_run(folder)
        assert run.state == "done"
        other = run_spec(spec, out=tmp_path / "whole", evaluations=1_500)
        assert_same_course(run, other)


@needs_root
@without_front
def test_a_search_that_is_over_waits_for_room(tmp_path, monkeypatch):
    """Its budget ends while the disk is full; somebody makes room in the morning."""
    monkeypatch.setattr("optimiser.watch.CHECKPOINT_EVERY", 0.0)
    monkeypatch.setattr("optimiser.watch._TELL_EVERY", 0.0)
    monkeypatch.setattr("optimiser.watch._TRY_AGAIN", 0.05)
    spec = spec_with(tmp_path, population=60)
    words = ("-t", "tmpfs", "-o", "size=6m", "tmpfs")
    with mounted(*words, on=tmp_path / "disk") as disk:
        folder, ballast = disk / "run", disk / "ballast"
        waited = []

        def listen(standing):
            if standing.progress.generation == 3 and not waited:
                fill(ballast)
            if "are not on disk" in standing.trouble:
                waited.append(standing.trouble)
                if len(waited) == 3:
                    ballast.unlink()

        run = run_spec(spec, out=folder, evaluations=1_500, listener=listen)
        assert run.state == "done"
        assert len(waited) == 3
        assert "No space left" in waited[0]
        other = run_spec(spec, out=tmp_path / "whole", evaluations=1_500)
        assert_same_course(run, other)


@needs_root
def test_a_full_disk_at_the_start(eight, tmp_path, capsys):
    with mounted("-t", "tmpfs", "-o", "size=8k", "tmpfs", on=tmp_path / "d") as disk:
        folder = disk / "run"
        assert main(["search", str(eight), "--out", str(folder)]) == 1
        said = capsys.readouterr().err
        assert "no space left on device" in said
        assert "nothing was searched yet" in said
        assert [path.name for path in folder.iterdir()] == [".lock"]


@needs_root
def test_a_read_only_folder(eight, tmp_path, capsys):
    """Bits that forbid writing do not bind root, so it is mounted for reading only."""
    run = run_spec(eight, out=tmp_path / "run", evaluations=4)
    before = (run.folder / "run.json").read_bytes()
    with mounted("--bind", str(run.folder), on=run.folder):
        words = ["mount", "-o", "remount,bind,ro", str(run.folder)]
        subprocess.run(words, check=True)
        assert main(["resume", str(run.folder), "--evaluations", "8"]) == 1
        said = capsys.readouterr().err
        assert f"{run.folder}: cannot be written to: read-only file system" in said
        assert "nothing was changed" in said
        assert main(["search", str(eight), "--out", str(run.folder / "new")]) == 1
        assert "cannot be written to" in capsys.readouterr().err
    assert (run.folder / "run.json").read_bytes() == before


def test_a_folder_that_turns_read_only(eight, tmp_path, capsys, monkeypatch):
    """The same without root: the system refuses the file's new name."""
    run = run_spec(eight, out=tmp_path / "run", evaluations=4)

    def refuse(*_):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    monkeypatch.setattr(files.Path, "replace", refuse)
    assert main(["resume", str(run.folder), "--evaluations", "8"]) == 1
    said = capsys.readouterr().err
    assert "run.json: read-only file system" in said
    assert "what was written before is intact" in said
    assert not parts_of(run.folder)


def test_two_processes_on_one_folder(tmp_path, capsys):
    spec = spec_with(tmp_path, population=60)
    folder = tmp_path / "run"
    process, seen = start(spec, folder, 10**7)
    try:
        wait_for((folder / "checkpoint.npz").exists, process)
        assert main(["resume", str(folder)]) == 2
        assert "another process works on this run" in capsys.readouterr().err
        assert main(["search", str(spec), "--out", str(folder)]) == 2
        assert "already and not empty" in capsys.readouterr().err
        at = int(seen.read_text().split()[0])
        time.sleep(0.5)
        assert process.poll() is None
        assert int((seen.read_text() or "0 0").split()[0]) >= at  # goes on undisturbed
    finally:
        kill(process)
    assert held_by(folder)[0].evaluations > 0


def test_a_new_sitting_sweeps_what_a_kill_left(eight, tmp_path):
    run = run_spec(eight, out=tmp_path / "run", evaluations=4)
    for name in (".checkpoint.npz.x1.part", "designs/.a.toml.x2.part"):
        (run.folder / name).write_bytes(b"half")
    (run.folder / ".library.new").mkdir()
    resume_run(run.folder, evaluations=8)
    assert not list(run.folder.rglob("*.part"))
    assert not (run.folder / ".library.new").exists()


# --------------------------------------------------------------------------- stall


def test_a_stall_is_judged_over_evaluations():
    stall = Stall(0.01, 1_000)
    seen = []
    for evaluations in range(100, 3_100, 50):
        volume = min(evaluations, 1_500) / 1_500
        stall.note(evaluations, lambda: volume)  # noqa: B023
        seen.append((evaluations, stall.is_reached))
        assert len(stall.marks) <= 13
    reached = [evaluations for evaluations, is_reached in seen if is_reached]
    # the last mark before 2,500 that is 1,000 after the rise ended
    assert 2_450 <= reached[0] <= 2_650
    assert reached == [e for e, _ in seen if e >= reached[0]]
    never = Stall(0.0, 1_000)
    never.note(5_000, lambda: 1.0)
    assert not never.marks
    assert not never.is_reached
    nothing = Stall(0.5, 1_000)
    for evaluations in range(0, 5_000, 100):
        nothing.note(evaluations, lambda: 0.0)
    assert not nothing.is_reached  # as long as nothing is feasible it goes on


@pytest.mark.parametrize("islands", [1, 2])
@without_front
def test_a_stalled_run_ends_where_it_does_in_one_sitting(tmp_path, islands):
    keys = {"stall": "90 %", "stall_evaluations": 1_000, "population": 60}
    spec = spec_with(tmp_path, **keys, islands=islands, exchange=250)
    limits = Limits(evaluations=60_000)
    whole = run_spec(spec, out=tmp_path / "whole", limits=limits, hands=ONE)
    assert whole.state == "done"
    assert whole.about["stopped_by"] == "stalled"
    n = whole.about["evaluations"]
    assert n < 60_000
    course = course_of(whole)
    (then, before), (now, last) = course.stall.marks[0], course.stall.marks[-1]
    assert now - then >= 1_000
    assert last - before < 0.9 * before
    run = run_spec(spec, out=tmp_path / "run", evaluations=n // 2, hands=ONE)
    assert run.about["stopped_by"] == "budget"
    run = resume_run(run.folder, evaluations=n - 300, hands=ONE)
    run = resume_run(run.folder, evaluations=60_000, hands=ONE)
    assert run.about["stopped_by"] == "stalled"
    assert_same_course(run, whole)
    # it has not changed its mind since, until it is told
    again = resume_run(run.folder, hands=ONE)
    assert again.about["evaluations"] == n
    on = resume_run(run.folder, limits=Limits(stall=0.0, evaluations=n + 100))
    assert on.about["evaluations"] > n
    assert on.budget.stall == 0.0
    assert on.about["stopped_by"] == "budget"


def test_a_stall_is_told(tmp_path, capsys):
    spec = spec_with(tmp_path, population=60)
    words = ["--stall", "99 %", "--stall-evaluations", "1000", "--evaluations", "90000"]
    main(["search", str(spec), "--out", str(tmp_path / "run"), *words])
    said = capsys.readouterr().err
    assert "rose by less than 0.99 of itself over the last 1,000 evaluations" in said
    assert "--stall" in said
    assert open_run(tmp_path / "run").budget.stall == 0.99


# ------------------------------------------------------------------------- history


def test_the_history_says_how_fast_and_how_long(tmp_path):
    spec = spec_with(tmp_path, population=60)
    run = run_spec(spec, out=tmp_path / "run", evaluations=1_500)
    table = run.history
    late = table.iloc[-1]
    assert late["feasible_share"] == pytest.approx(
        late["feasible"] / late["evaluations"]
    )
    known = table["evaluations_per_s"].notna()
    assert known.any()
    rest = (1_500 - table["evaluations"]).clip(lower=0) / table["evaluations_per_s"]
    np.testing.assert_allclose(table["left_s"][known], rest[known], atol=0.6)
    header = (run.folder / "history.csv").read_text(encoding="utf-8").splitlines()[0]
    assert header.split(",") == list(store.HISTORY_COLUMNS)


def test_a_run_of_an_earlier_version_goes_on(tmp_path):
    """Without the newer columns, options and counts."""
    spec = spec_with(tmp_path, population=60)
    run = run_spec(spec, out=tmp_path / "run", evaluations=300)
    table = run.history.drop(columns=["feasible_share", "left_s"])
    files.write_table(run.folder / "history.csv", table)
    about = json.loads((run.folder / "run.json").read_text(encoding="utf-8"))
    for key in ("islands", "exchange", "stall", "stall_evaluations"):
        del about["options"][key]
    del about["library_folder"]
    (run.folder / "run.json").write_text(json.dumps(about), encoding="utf-8")
    with np.load(run.folder / "checkpoint.npz") as opened:
        arrays = {key: opened[key] for key in opened if key != "course"}
    np.savez(run.folder / "checkpoint.npz", **arrays)
    said = []
    again = resume_run(run.folder, evaluations=600, say=said.append)
    assert said == []
    assert again.about["evaluations"] > run.about["evaluations"]
    assert list(again.history.columns) == list(store.HISTORY_COLUMNS)


@without_front
def test_a_checkpoint_with_another_number_of_islands_is_refused(spec, tmp_path):
    run = run_spec(spec, out=tmp_path / "run", evaluations=300, hands=ONE)
    about = json.loads((run.folder / "run.json").read_text(encoding="utf-8"))
    for n in (1, 3):
        about["options"]["islands"] = n
        (run.folder / "run.json").write_text(json.dumps(about), encoding="utf-8")
        with pytest.raises(InputError, match=r"checkpoint\.npz(.|\n)*number"):
            resume_run(run.folder, hands=ONE)


@without_front
def test_a_checkpoint_of_islands_reads_back(spec, tmp_path):
    run = run_spec(spec, out=tmp_path / "run", evaluations=700, hands=ONE)
    course = course_of(run)
    before = course.to_arrays()
    write_checkpoint(run, course)
    for name, array in course_of(run).to_arrays().items():
        np.testing.assert_array_equal(array, before[name])
