"""A run that goes on under other bands, without starting over."""

import json
import shutil
from functools import partial

import numpy as np
import pytest

from model import InputError, read_library
from optimiser import anew
from optimiser.cli import main
from optimiser.run import Hands, resume_run, run_spec
from optimiser.spec_change import other_choices
from optimiser.spec_file import read_spec
from optimiser.store import open_run
from tests.search.courses import (
    assert_same_course,
    assert_same_run,
    course_of,
    spec_with,
)

pytestmark = pytest.mark.usefixtures("brisk")

ONE = Hands(workers=1)
EARLY = ("500 mm", "510 mm", "530 mm", "1067 mm")
LATE = ("500 mm", "530 mm", "560 mm", "1067 mm")
TORQUE = 'torque = { trade = "less", at_most = "4.6 deg" }'


def changed(spec, folder, *pairs):
    """A copy of a spec with some of its text replaced."""
    text = spec.read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    path = folder / "new.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def spec(tmp_path_factory):
    return spec_with(tmp_path_factory.mktemp("spec"), population=60, exchange=400)


@pytest.fixture(scope="module")
def runs(spec, tmp_path_factory):
    """A run, and one of two islands, to be copied."""
    return {
        n: run_spec(
            spec,
            out=tmp_path_factory.mktemp("runs") / str(n),
            islands=n,
            evaluations=700,
            hands=ONE,
        )
        for n in (1, 2)
    }


@pytest.fixture
def no_front(monkeypatch):
    """Fronts follow from what is compared, and take longer than these runs."""

    def make():
        for where in ("run", "anew"):
            monkeypatch.setattr(f"optimiser.{where}.write_front", lambda *_: None)

    return make


@pytest.fixture
def copy(runs, tmp_path):
    def make(n, name="run"):
        return open_run(shutil.copytree(runs[n].folder, tmp_path / name))

    return make


@pytest.mark.usefixtures("young")
@pytest.mark.parametrize("islands", [1, 2])
def test_a_band_tightened_keeps_what_fits(copy, spec, tmp_path, islands, no_front):
    run = copy(islands)
    front = run.front
    limit = float(front["torque_deg"].quantile(0.7))
    tight = changed(
        spec,
        tmp_path,
        (TORQUE, f'torque = {{ trade = "less", at_most = "{limit:.4f} deg" }}'),
    )
    fits = set(front["id"][front["torque_deg"] <= round(limit, 4)])
    said = []
    resume = partial(resume_run, hands=ONE, say=said.append)
    run = resume(run.folder, evaluations=1, spec=tight)
    # no evaluation beyond those of the change: what fits stays, and nothing else is new
    assert set(run.front["id"]) == fits
    assert f"{len(fits)} of {len(front)} designs of the front stay" in said[0]
    assert f"{len(front) - len(fits)} left it" in said[0]
    assert "torque: at most" in said[0]
    # what no longer fits breeds on as infeasible
    violation = np.concatenate([s.population.violation for s in course_of(run).states])
    assert (violation > 0.0).any()
    # both specs are kept, and the history says when they changed
    folder = run.folder
    assert (folder / "spec.toml").read_bytes() == tight.read_bytes()
    assert (folder / "spec-1.toml").read_bytes() == spec.read_bytes()
    (note,) = run.about["specs"]
    assert note["file"] == "spec-1.toml"
    assert note["left"] == len(front) - len(fits)
    assert run.history["spec"].iloc[-1] == 2
    assert run.history["spec"].iloc[0] == 1
    # and from here on it is a run like any other
    no_front()
    whole = resume(copy(islands, "whole").folder, evaluations=1_500, spec=tight)
    resume(folder, evaluations=1_100)
    assert_same_course(resume(folder, evaluations=1_500), whole)


@pytest.mark.parametrize("islands", [1, 2])
def test_a_slip_in_a_band_costs_nothing(copy, spec, tmp_path, islands):
    """What left the front is back under a spec that it keeps."""
    run = copy(islands)
    front = run.front
    least = float(front["torque_deg"].min()) + 1e-4
    slip = changed(
        spec,
        tmp_path,
        (TORQUE, f'torque = {{ trade = "less", at_most = "{least:.4f} deg" }}'),
    )
    said = []
    resume = partial(resume_run, hands=ONE, evaluations=1, say=said.append)
    run = resume(run.folder, spec=slip)
    assert len(run.front) < 0.2 * len(front)
    assert "the run keeps them: under a spec that they keep" in said[0]
    run = resume(run.folder, spec=run.folder / "spec-1.toml")
    assert set(run.front["id"]) == set(front["id"])
    # what is kept is checked like a checkpoint is
    (run.folder / "aside.npz").write_bytes(b"no arrays")
    with pytest.raises(InputError, match=r"aside\.npz: 1 problem"):
        resume(run.folder, spec=slip)
    assert open_run(run.folder).about["specs"][-1]["file"] == "spec-2.toml"
    assert not (run.folder / "spec-3.toml").exists()


def test_objectives_points_and_rules_may_change_too(copy, spec, tmp_path):
    run = copy(1)
    other = changed(
        spec,
        tmp_path,
        ("\ndurability", '\ntip_deflection = { trade = "less" }\ndurability'),
        ('station = "200 mm"', 'station = "210 mm"'),
        ("[search]", '[rules]\nwall_min = "0.61 mm"\n[search]'),
    )
    said = []
    run = resume_run(run.folder, evaluations=900, spec=other, say=said.append)
    assert "tip deflection: traded, less is better; it was: not asked for" in said[0]
    assert "EI at 210 mm" in said[0]
    assert "wall_min in [rules]: 0.61 mm; it was: 0.6 mm" in said[0]
    assert [target.metric for target in run.spec.trades][2] == "tip_deflection"
    assert len(run.front) > 3
    assert any("210" in column for column in run.front.columns)


def test_the_same_spec_changes_nothing(copy, spec):
    run = copy(1)
    said = []
    again = resume_run(run.folder, spec=spec, say=said.append)
    assert_same_run(again, run)
    assert "nothing other" in said[0]
    assert not (run.folder / "spec-1.toml").exists()


def test_what_a_spec_says_of_the_search_is_not_taken_in_silence(copy, spec, tmp_path):
    run = copy(1)
    other = changed(spec, tmp_path, ("[search]", "[search]\nseed = 77"))
    said = []
    resume_run(run.folder, spec=other, say=said.append)
    assert "seed in [search]" in said[0]
    assert "population" not in said[0]
    assert open_run(run.folder).spec.search.seed == run.spec.search.seed
    assert "nothing other" in said[1]


def test_other_choices_are_refused_by_name(copy, spec, tmp_path, capsys):
    run = copy(1)
    other = changed(
        spec,
        tmp_path,
        ("wraps = { from = 1, to = 4, step = 0.5 }", "wraps = [2, 3]"),
        ('mandrel = ["slim-4", "slim-5"]', 'mandrel = "slim-4"'),
        ('name = "hoop"', 'name = "hoops"'),
        ('trim_tip = "10 mm"', 'trim_tip = "12 mm"'),
    )
    before = {path.name: path.read_bytes() for path in run.folder.glob("*.*")}
    assert main(["resume", str(run.folder), "--spec", str(other)]) == 2
    error = capsys.readouterr().err
    assert "[shaft], mandrel = slim-4: the run has slim-4, slim-5." in error
    assert "[shaft], trim_tip = 12 mm: the run has 10 mm." in error
    assert 'place "torque pair", wraps = 2, 3: the run has 1 to 4 by 0.5 (7).' in error
    assert "no such place in the run. Did you mean 'hoop'?" in error
    assert 'place "hoop": is missing' in error
    assert "--start-from" in error
    after = {path.name: path.read_bytes() for path in run.folder.glob("*.*")}
    assert before == after
    with pytest.raises(InputError, match="no such file"):
        resume_run(run.folder, spec=tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("key", "first", "second"),
    [
        ("wraps = { from = 1, to = 4, step = 0.5 }", (1, 1.5, 2, 3), (1, 2, 2.5, 3)),
        ('end = { from = "500 mm", to = "1067 mm", step = "5 mm" }', EARLY, LATE),
    ],
)
def test_values_amid_a_list_are_choices_too(spec, tmp_path, key, first, second):
    """Genomes count along the list: with other values they are other designs."""
    name = key.split()[0]

    def listing(values):
        path = changed(spec, tmp_path, (key, f"{name} = {list(values)}"))
        return read_spec(path, read_library())

    old, new = listing(first), listing(second)
    assert not other_choices(old, old)
    (fault,) = other_choices(old, new)
    assert fault.key == name
    # each is told whole
    for value in first:
        assert str(value).removesuffix(" mm") in fault.message
    for value in second:
        assert str(value).removesuffix(" mm") in str(fault.value)


def test_a_change_of_spec_that_was_cut_off_and_not_asked_again_leaves_nothing(
    copy, spec, tmp_path, monkeypatch, no_front
):
    no_front()
    name = ('name = "fairway 58"', 'name = "tight 58"')
    tight = changed(spec, tmp_path, ("4.6 deg", "3 deg"), name)
    run = copy(1)
    write = anew.write_text

    def write_text(path, text):
        if path.name == "spec.toml":
            raise KeyboardInterrupt
        return write(path, text)

    monkeypatch.setattr(anew, "write_text", write_text)
    with pytest.raises(KeyboardInterrupt):
        resume_run(run.folder, evaluations=900, spec=tight)
    assert open_run(run.folder).about["spec"].startswith("tight")
    monkeypatch.undo()
    no_front()
    again = resume_run(run.folder, evaluations=900)
    assert again.about["spec"] == run.about["spec"]
    assert not again.about["specs"]
    assert not list(run.folder.glob("spec-*.toml"))


def test_a_moved_band_on_a_diameter_does_not_start_over(copy, spec, tmp_path, no_front):
    """Designs whose ends are off by all of the band are brought to their size."""
    no_front()
    text = spec.read_text(encoding="utf-8")
    at = next(line for line in text.splitlines() if line.startswith("butt_diameter"))
    size = float(at.split('target = "')[1].split(" mm")[0])
    thicker = at.replace(f"{size:g} mm", f"{size + 0.2:g} mm")
    assert thicker != at
    run = copy(1)
    before = course_of(run).found().archive
    run = resume_run(
        run.folder, evaluations=1, spec=changed(spec, tmp_path, (at, thicker))
    )
    found = course_of(run).found()
    assert before.n > 10
    # it breeds from what it had, and the nearest of it is not far off
    assert found.living.n > 0.5 * before.n
    least = found.living.violation.min() if not found.archive.n else 0.0
    assert least < 1.0


def test_another_order_of_rolling_is_another_choice(copy, spec, tmp_path, capsys):
    run = copy(1)
    text = spec.read_text(encoding="utf-8")
    assert "reorder" not in text
    place = text[text.index("[[place]]") :].splitlines()[0]
    ruled = "[rules]\nreorder = false\n" if "[rules]" not in text else None
    pair = (
        (place, f"{ruled}{place}") if ruled else ("[rules]", "[rules]\nreorder = false")
    )
    other = tmp_path / "new.toml"
    other.write_text(text.replace(*pair, 1), encoding="utf-8")
    assert main(["resume", str(run.folder), "--spec", str(other)]) == 2
    assert "[rules], reorder = false: the run has true." in capsys.readouterr().err


@pytest.mark.parametrize("step", ["former", "spec", "checkpoint", "front", "go"])
def test_a_kill_while_a_spec_is_taken(
    copy, spec, tmp_path, monkeypatch, no_front, step
):
    """Wherever it is cut off, asking again gives the run that it would have been."""
    no_front()
    tight = changed(spec, tmp_path, ("4.6 deg", "3 deg"), ("0.15 }", "0.2 }"))
    whole = resume_run(copy(1, "whole").folder, evaluations=1_500, spec=tight)
    run = copy(1)

    class KilledError(BaseException):
        pass

    def cut(*_):
        raise KilledError

    if step in {"former", "spec"}:
        write = anew.write_text

        def write_text(path, text):
            if (path.name == "spec.toml") == (step == "spec"):
                raise KilledError
            return write(path, text)

        monkeypatch.setattr(anew, "write_text", write_text)
    else:
        name = {"checkpoint": "anew.write_checkpoint", "front": "anew.write_front"}
        monkeypatch.setattr(f"optimiser.{name.get(step, 'run._go')}", cut)
    with pytest.raises(KilledError):
        resume_run(run.folder, evaluations=1_500, spec=tight)
    monkeypatch.undo()
    no_front()
    again = resume_run(run.folder, evaluations=1_500, spec=tight)
    if step == "spec":
        # the mark stood and the spec did not: measured twice, which is counted
        assert again.about["evaluations"] >= whole.about["evaluations"]
    else:
        assert_same_course(again, whole)
    assert [path.name for path in sorted(run.folder.glob("spec-*.toml"))] == [
        "spec-1.toml"
    ]
    about = json.loads((run.folder / "run.json").read_text(encoding="utf-8"))
    assert [one["file"] for one in about["specs"]] == ["spec-1.toml"]
