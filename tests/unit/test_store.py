"""The run folder: what is in it, and that nothing breaks it."""

import errno
import json
import os
import shlex
import shutil
import signal
from dataclasses import replace
from datetime import datetime
from importlib.resources import as_file
from importlib.resources import files as package_files
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from model import METRICS, InputError, evaluate, read_design, read_library
from optimiser import checkpoint, files
from optimiser.budget import Budget
from optimiser.cli import main
from optimiser.encoding import encode
from optimiser.front import design_file, write_front
from optimiser.review import suggest
from optimiser.run import resume_run, run_spec
from optimiser.run_folder import LIBRARY, locked, new_folder
from optimiser.state import Progress
from optimiser.store import create_run, open_run
from optimiser.words import ei_column
from tests.conftest import SCENARIOS
from tests.search.courses import spec_with

pytestmark = pytest.mark.usefixtures("brisk")

SPEC = SCENARIOS / "fairway_58" / "spec.toml"
BUDGET = 1_200
NOW = datetime(2030, 1, 2, 3, 4, 5)


@pytest.fixture(scope="module")
def small_spec(tmp_path_factory):
    return spec_with(tmp_path_factory.mktemp("spec"))


@pytest.fixture(scope="module")
def run(small_spec, tmp_path_factory):
    return run_spec(small_spec, out=tmp_path_factory.mktemp("run"), evaluations=BUDGET)


@pytest.fixture
def copy(run, tmp_path):
    return open_run(shutil.copytree(run.folder, tmp_path / "copy"))


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_the_folder_holds_what_a_run_is(small_spec, run):
    names = set(contents(run.folder))
    assert {
        "spec.toml",
        "library/prepregs.csv",
        "library/mandrels.csv",
        "library/fibres.csv",
        "library/resins.csv",
        "library/library.toml",
        "run.json",
        "front.csv",
        "history.csv",
        "checkpoint.npz",
    } <= names
    assert not [name for name in names if name.endswith(".part")]
    assert (run.folder / "spec.toml").read_bytes() == small_spec.read_bytes()


def test_run_json_says_how_it_was_made(run):
    about = json.loads((run.folder / "run.json").read_text(encoding="utf-8"))
    assert about["state"] == "done"
    assert about["options"]["seed"] == 1
    assert about["options"]["evaluations"] == BUDGET
    assert about["evaluations"] >= BUDGET
    assert about["designs"] == len(run.front) > 0
    assert {"plyfront", "python", "processor", "numba", "pymoo"} <= set(
        about["versions"]
    )
    assert os.uname().nodename not in about["machine"].values()
    assert "left_out" not in about


def test_every_design_evaluates_by_itself_to_the_numbers_of_the_front(run):
    front = run.front.set_index("id")
    assert list(front.index) == list(dict.fromkeys(front.index))
    assert set(front.index) == set(run.designs)
    library = read_library(run.folder / "library")
    station = run.spec.ei_targets[0].station
    for identity, path in list(run.designs.items())[:25]:
        report = evaluate(read_design(path), library)  # finds ../library by itself
        assert report.design_id == identity
        section = front.loc[identity, "section_difference_pct"]
        assert section == pytest.approx(report.section.worst * 100.0, rel=1e-5)
        for metric in METRICS:
            if metric.needs:
                assert np.isnan(front.loc[identity, metric.column])
                continue
            value = report.metrics[metric.key] * metric.scale
            assert front.loc[identity, metric.column] == pytest.approx(value, rel=1e-9)
        along = np.interp(station, report.profile.station, report.profile.EI)
        shown = front.loc[identity, ei_column(station)]
        assert shown == pytest.approx(along, rel=1e-9)


def test_a_moved_run_still_evaluates(copy):
    for path in list(copy.designs.values())[:3]:
        assert evaluate(read_design(path), copy.library).design_id == path.stem


def test_flags_of_the_front_are_those_of_the_designs(run):
    row = run.front.iloc[0]
    design = read_design(run.design_path(row["id"]))
    said = row["flags"].split("; ")
    assert len(said) == len(design.flags)
    for words, flag in zip(said, design.flags, strict=True):
        material, _angle, span, wraps = words.split()
        start, end = map(float, span.split("-"))
        assert material == flag.material
        assert (start, end) == pytest.approx(
            (flag.start * 1e3, flag.end * 1e3), abs=0.1
        )
        assert float(wraps[1:]) == flag.wraps


def test_a_run_reads_back(run):
    again = open_run(run.folder)
    pd.testing.assert_frame_equal(again.front, run.front)
    pd.testing.assert_frame_equal(again.history, run.history)
    assert again.spec == run.spec
    assert again.about == run.about
    assert again.budget == Budget(BUDGET, None)
    assert again.history["evaluations"].is_monotonic_increasing
    assert (again.history["hypervolume"].diff().dropna() >= -1e-12).all()
    assert again.history["evaluations"].iloc[-1] == run.about["evaluations"]


def test_a_changed_library_does_not_change_a_run(small_spec, tmp_path):
    """The numbers come from the frozen copy, wherever the user's tables go."""
    with as_file(package_files("model") / "data" / "library") as packaged:
        own = shutil.copytree(packaged, tmp_path / "own")
    run = run_spec(small_spec, out=tmp_path / "run", library=own, evaluations=400)
    shutil.rmtree(own)
    again = open_run(run.folder)
    pd.testing.assert_frame_equal(again.front, run.front)
    assert again.library.prepregs.keys() == run.library.prepregs.keys()


def test_an_id_may_be_cut_short_but_not_to_nothing(run):
    first = run.front["id"][0]
    assert run.design_path(first[:9]).stem == first
    with pytest.raises(InputError, match="no such design in this run"):
        run.design_path("zzzz")
    with pytest.raises(InputError, match="no such design"):
        run.design_path("")
    with pytest.raises(InputError, match=f"Did you mean '{first}'"):
        run.design_path(first[:-1] + "x")
    shared = {name[0] for name in run.designs if name[0]}
    letter = max(shared, key=lambda c: sum(name[0] == c for name in run.designs))
    with pytest.raises(InputError, match="designs begin so"):
        run.design_path(letter)


def test_a_whole_id_is_that_design_whatever_else_begins_so(run):
    first = run.front["id"][0]
    path = run.design_path(first)
    other = path.with_name(f"{first}-2.toml")
    other.write_bytes(path.read_bytes())
    try:
        assert run.design_path(first) == path
        with pytest.raises(InputError, match="2 designs begin so"):
            run.design_path(first[:9])
    finally:
        other.unlink()


def test_a_second_process_is_refused(run):
    before = contents(run.folder)
    with (
        locked(run.folder),
        pytest.raises(InputError, match="another process works on this run"),
    ):
        resume_run(run.folder, evaluations=20_000)
    assert contents(run.folder) == before


def test_a_folder_in_use_is_not_overwritten(run, scenario, library, tmp_path):
    before = contents(run.folder)
    with pytest.raises(InputError, match="there already and not empty"):
        run_spec(SPEC, out=run.folder)
    with pytest.raises(InputError, match="there already and not empty"):
        create_run(run.folder, scenario, library, Budget(1, None), NOW)
    assert contents(run.folder) == before
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="is a file"):
        run_spec(SPEC, out=tmp_path / "file")


@pytest.mark.parametrize(
    ("name", "folder"),
    [
        ("fairway 58", "fairway-58-20300102-030405"),
        ("../..", "------20300102-030405"),
        ("wöood/1", "wöood-1-20300102-030405"),
        ("x" * 300, "x" * 60 + "-20300102-030405"),
    ],
)
def test_a_run_is_named_by_spec_and_time(scenario, name, folder, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    found = new_folder(replace(scenario, name=name), None, NOW)
    assert found == Path("results") / folder
    # taken at once, so that a search begun in the same second has another
    assert found.is_dir()
    second = new_folder(replace(scenario, name=name), None, NOW)
    assert second == Path("results") / f"{folder}-2"


def test_nothing_is_made_for_a_bad_spec(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    bad = tmp_path / "bad.toml"
    bad.write_text("format = 1\n", encoding="utf-8")
    with pytest.raises(InputError):
        run_spec(bad, out=tmp_path / "run")
    with pytest.raises(InputError):
        run_spec(bad)
    with pytest.raises(InputError):
        run_spec(SPEC, library=tmp_path / "nowhere")
    assert [path.name for path in tmp_path.iterdir()] == ["bad.toml"]


# ------------------------------------------------------------------- damaged folders


def read_all(folder: Path) -> None:
    run = open_run(folder)
    assert len(run.front)
    checkpoint.read_checkpoint(run, encode(run.spec, run.library))


@pytest.mark.parametrize(
    "damage",
    [b"\x00broken", b"", b"\xff\xfe\x00", b"[]", b"{}", b"null", b"a,b\n1,2\n"],
)
@pytest.mark.parametrize(
    "name", ["checkpoint.npz", "run.json", "front.csv", "history.csv", "spec.toml"]
)
def test_a_damaged_file_is_named(copy, name, damage):
    (copy.folder / name).write_bytes(damage)
    with pytest.raises(InputError, match=name.replace(".", r"\.")):
        read_all(copy.folder)


@pytest.mark.parametrize("name", ["checkpoint.npz", "run.json", "front.csv"])
def test_a_file_cut_short_is_named(copy, name):
    path = copy.folder / name
    content = path.read_bytes()
    for share in (0.1, 0.5, 0.9):
        # a table cut at a row is a table; cut within its head or a number it is not
        cut = int(len(content) * share) if name != "front.csv" else int(200 * share)
        path.write_bytes(content[:cut])
        with pytest.raises(InputError, match=name.replace(".", r"\.")):
            read_all(copy.folder)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("seed", "1"),
        ("seed", -1),
        ("population", None),
        ("population", True),
        ("evaluations", 0),
        ("time_s", "8 h"),
        ("time_s", float("nan")),
    ],
)
def test_options_that_no_run_was_started_with_are_named(copy, key, value):
    about = copy.about | {"options": copy.about["options"] | {key: value}}
    (copy.folder / "run.json").write_text(json.dumps(about), encoding="utf-8")
    with pytest.raises(InputError, match=key):
        open_run(copy.folder)


def test_a_later_format_is_refused(copy):
    about = copy.about | {"format": 2}
    (copy.folder / "run.json").write_text(json.dumps(about), encoding="utf-8")
    with pytest.raises(InputError, match="written for format 2; this version reads 1"):
        open_run(copy.folder)


def test_a_foreign_folder_is_refused(tmp_path):
    with pytest.raises(
        InputError, match=r"not the folder of a run: holds no run\.json"
    ):
        open_run(tmp_path)
    with pytest.raises(InputError, match="no such folder"):
        open_run(tmp_path / "nowhere")
    (tmp_path / "file").touch()
    with pytest.raises(InputError, match="is a file"):
        open_run(tmp_path / "file")


def test_missing_parts_are_named(copy):
    shutil.rmtree(copy.folder / "library")
    with pytest.raises(InputError, match="library"):
        open_run(copy.folder)


def test_a_checkpoint_of_another_spec_is_refused(copy):
    encoding = encode(copy.spec, copy.library)
    other = replace(copy.spec, places=copy.spec.places[:-1])
    with pytest.raises(InputError, match=r"checkpoint\.npz.*\n.*genomes are"):
        checkpoint.read_checkpoint(copy, encode(other, copy.library))
    narrow = replace(copy.spec, mandrel_sets=copy.spec.mandrel_sets[:1])
    with pytest.raises(InputError, match="choices that the spec does not give"):
        checkpoint.read_checkpoint(copy, encode(narrow, copy.library))
    fewer = tuple(
        replace(target, trade=None) if target.metric == "torque" else target
        for target in copy.spec.targets
    )
    other = replace(copy.spec, targets=fewer)
    with pytest.raises(InputError, match="fit the spec"):
        checkpoint.read_checkpoint(copy, encode(other, copy.library))
    assert checkpoint.read_checkpoint(copy, encoding) is not None


@pytest.mark.parametrize("damage", [None, b"", b"broken"])
def test_a_run_without_its_checkpoint_keeps_its_front(copy, damage, capsys):
    """Begun anew it would write over the front; it says how to go on from that."""
    path = copy.folder / "checkpoint.npz"
    path.unlink()
    if damage is not None:
        path.write_bytes(damage)
    before = (copy.folder / "front.csv").read_bytes()
    assert main(["resume", str(copy.folder), "--evaluations", "99999"]) == 2
    said = capsys.readouterr().err
    assert "checkpoint.npz" in said
    words = shlex.split(said.split("plyfront ")[1])
    assert (copy.folder / "front.csv").read_bytes() == before
    out = copy.folder.with_name("on")
    assert main([*words, "--evaluations", "300", "--out", str(out)]) == 0
    assert set(copy.front["id"]) & set(open_run(out).front["id"])
    # the history alone tells too that there was one
    path.unlink(missing_ok=True)
    (copy.folder / "front.csv").unlink()
    with pytest.raises(InputError, match="is not there any more"):
        resume_run(copy.folder)


@pytest.mark.parametrize("name", ["front.csv", "exact.csv"])
def test_a_damaged_table_is_written_again(copy, name):
    """A night's search must not end at a table that it replaces anyway."""
    before = {path: path.read_bytes() for path in copy.folder.glob("*.csv")}
    for damage in (
        b"\xff\x00",
        b"",
        b"id,weight_g\n1,2\n",
        before[copy.folder / name][:99],
    ):
        (copy.folder / name).write_bytes(damage)
        resume_run(copy.folder)
        for path, content in before.items():
            if path.name != "history.csv":
                assert path.read_bytes() == content


def test_designs_that_are_gone_are_missed_and_written_again(copy, capsys):
    picked = suggest(copy.front, copy.spec, copy.library.currency)[0].design_id
    text = copy.designs[picked].read_bytes()
    copy.designs[picked].unlink()
    assert main(["review", str(copy.folder)]) == 2
    said = capsys.readouterr().err
    assert picked in said
    assert "plyfront resume" in said
    shutil.rmtree(copy.folder / "designs")
    assert main(["review", str(copy.folder)]) == 2
    assert "Traceback" not in capsys.readouterr().err
    resume_run(copy.folder)
    copy.require_designs()
    assert copy.designs[picked].read_bytes() == text


def test_a_damaged_history_says_that_it_may_go(copy):
    path = copy.folder / "history.csv"
    path.write_bytes(b"\xff\x00")
    with pytest.raises(InputError, match=r"1 problem(.|\n)*delete it to go on"):
        open_run(copy.folder)
    path.unlink()
    assert resume_run(copy.folder).state == "done"


def test_a_checkpoint_is_never_unpickled(copy):
    """A pickle in the archive is refused, not run."""
    path = copy.folder / "checkpoint.npz"
    with np.load(path, allow_pickle=False) as arrays:
        held = dict(arrays)
    held["p_F"] = np.array([print], dtype=object)
    np.savez(path, **held)
    with pytest.raises(InputError, match="allow_pickle"):
        read_all(copy.folder)


# -------------------------------------------------------------------------- writing


def fail_from(monkeypatch, name: str, code: int = errno.ENOSPC) -> None:
    """Let the disk be full for files of some name."""
    made = files.tempfile.mkstemp

    def mkstemp(*, dir, prefix, suffix):  # noqa: A002
        if name in prefix:
            raise OSError(code, os.strerror(code))
        return made(dir=dir, prefix=prefix, suffix=suffix)

    monkeypatch.setattr(files.tempfile, "mkstemp", mkstemp)


@pytest.mark.parametrize("name", ["checkpoint.npz", "front.csv", "run.json"])
def test_a_full_disk_leaves_what_was_there(copy, monkeypatch, name):
    before = contents(copy.folder)

    def listen(standing):
        if "are not on disk" in standing.trouble:
            signal.raise_signal(signal.SIGINT)  # no more waiting for room

    with monkeypatch.context() as patch:
        fail_from(patch, name)
        with pytest.raises(OSError, match="No space left") as caught:
            resume_run(copy.folder, evaluations=BUDGET + 400, listener=listen)
    assert Path(caught.value.filename) == copy.folder / name
    assert "plyfront resume" in caught.value.__notes__[-1]
    assert len(caught.value.__notes__) == (2 if name == "checkpoint.npz" else 1)
    after = contents(copy.folder)
    assert after[name] == before[name]
    assert not [path for path in after if path.endswith(".part")]
    read_all(copy.folder)
    # with room again it goes on to what it would have been
    assert resume_run(copy.folder, evaluations=BUDGET + 400).state == "done"


def test_a_write_that_fails_half_way_leaves_the_old_file(tmp_path, monkeypatch):
    path = files.write_text(tmp_path / "a.txt", "old")

    def full(_handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        files.write_text(path, "new")
    assert path.read_text(encoding="utf-8") == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_a_missed_checkpoint_does_not_end_the_search(small_spec, tmp_path, monkeypatch):
    """Half-way the disk is full; the search goes on, says so, and writes at the end."""
    monkeypatch.setattr("optimiser.watch.CHECKPOINT_EVERY", 0.0)
    monkeypatch.setattr("optimiser.watch._TELL_EVERY", 0.0)
    troubles = []

    def listen(standing):
        troubles.append(standing.trouble)
        if len(troubles) == 2:
            fail_from(monkeypatch, "checkpoint.npz")
        if len(troubles) == 5:
            monkeypatch.undo()

    out = tmp_path / "run"
    run = run_spec(small_spec, out=out, evaluations=400, listener=listen)
    assert any("No space left on device: no checkpoint" in t for t in troubles)
    assert troubles[0] == ""
    assert run.state == "done"
    read_all(run.folder)


def test_the_writing_of_a_front_is_told(copy):
    """Some thousand designs take a minute or two."""
    encoding = encode(copy.spec, copy.library)
    state = checkpoint.read_checkpoint(copy, encoding)
    told = []
    write_front(copy, state, encoding, lambda *how_far: told.append(how_far))
    assert told == [(i, state.archive.n) for i in range(state.archive.n + 1)]
    assert len(copy.front) == state.archive.n


def test_a_design_that_is_better_by_rounding_alone_is_not_on_the_front(copy):
    encoding = encode(copy.spec, copy.library)
    state = checkpoint.read_checkpoint(copy, encoding)
    archive = state.archive
    # worse in all objectives but one, where it is better in the last digit
    archive.F[1] = archive.F[0] + 0.01 * np.abs(archive.F[0])
    archive.F[1, -1] = np.nextafter(archive.F[0, -1], -np.inf)
    write_front(copy, state, encoding)
    assert copy.about["designs"] == archive.n - 1
    names = [encoding.design(genome, copy.spec.name) for genome in archive.genomes[:2]]
    kept, dropped = (design_file(one, copy, f"../{LIBRARY}")[0] for one in names)
    assert kept in copy.designs
    assert dropped not in copy.designs


def test_a_design_that_alone_gives_other_numbers_is_left_out(copy):
    """A front must not show what its design files do not give."""
    encoding = encode(copy.spec, copy.library)
    state = checkpoint.read_checkpoint(copy, encoding)
    state.archive.metrics[3] *= 1.0 + 1e-6
    for path in copy.designs.values():
        path.unlink()
    write_front(copy, state, encoding)
    assert len(copy.about["left_out"]) == 1
    assert copy.about["designs"] == state.archive.n - 1
    assert set(copy.front["id"]) == set(copy.designs)
    assert copy.about["left_out"][0] not in copy.designs


def test_history_drops_what_a_killed_run_saw_beyond_its_checkpoint(copy):
    checkpoint.add_history(copy, Progress(evaluations=10, seconds=1.0), 10.0, 0.0)
    assert list(copy.history["evaluations"]) == [10]
    checkpoint.add_history(copy, Progress(evaluations=30, seconds=2.0), None, 0.1)
    checkpoint.add_history(copy, Progress(evaluations=20, seconds=2.0), 12.0, 0.1)
    assert list(copy.history["evaluations"]) == [10, 20]
