"""A search that starts from designs at hand, and one with flags that are fixed."""

import json
import shutil
from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from model import METRIC, InputError, design_to_text, read_design
from optimiser.cli import main
from optimiser.course import Solo, Stall
from optimiser.encoding import encode
from optimiser.islands import Islands
from optimiser.run import Hands, resume_run, run_spec
from optimiser.store import open_run
from tests.conftest import SCENARIOS
from tests.search.courses import EIGHT, assert_same_run, course_of, spec_with

pytestmark = pytest.mark.usefixtures("brisk")

ONE = Hands(workers=1)
HAND = SCENARIOS / "designs" / "fairway-60.toml"


@pytest.fixture(scope="module")
def spec(tmp_path_factory):
    return spec_with(tmp_path_factory.mktemp("spec"), population=60)


@pytest.fixture(scope="module")
def front(spec, tmp_path_factory):
    return run_spec(spec, out=tmp_path_factory.mktemp("front"), evaluations=450)


def test_the_first_generation_holds_the_designs_given(spec, front, tmp_path):
    """Their ids are those of the front, as if the search had found them itself."""
    said = []
    run = run_spec(
        spec,
        out=tmp_path / "run",
        seed=7,
        evaluations=1,
        start_from=[front.folder],
        say=said.append,
    )
    assert set(run.designs) == set(front.designs)
    assert len(run.designs) > 10
    assert run.about["evaluations"] == len(front.designs)
    assert said[0].endswith(f"{len(front.designs)} as given")
    # and bred from with the rest
    run = resume_run(run.folder, evaluations=len(front.designs) + 1)
    state = course_of(run).found()
    assert state.progress.generation == 1
    held = {genome.tobytes() for genome in state.population.genomes}
    given = {genome.tobytes() for genome in run.starts.genomes(course_of(run).encoding)}
    assert len(held & given) > 5
    assert len(held - given) > 5


@pytest.mark.parametrize("islands", [1, 2])
def test_a_run_from_designs_goes_on_as_if_never_stopped(
    spec, tmp_path, islands, monkeypatch
):
    monkeypatch.setattr("optimiser.run.write_front", lambda *_: None)
    begin = partial(run_spec, spec, islands=islands, hands=ONE, start_from=[HAND])
    whole = begin(out=tmp_path / "whole", evaluations=600)
    run = begin(out=tmp_path / "run", evaluations=300)
    assert_same_run(resume_run(run.folder, evaluations=600, hands=ONE), whole)
    # killed before its first checkpoint, with the design no longer there
    for name in ("checkpoint.npz", "history.csv", "front.csv"):
        (run.folder / name).unlink(missing_ok=True)
    assert_same_run(resume_run(run.folder, hands=ONE), whole)
    assert open_run(run.folder).starts == whole.starts
    # the record is part of the run, and is missed
    (run.folder / "start.json").unlink()
    with pytest.raises(InputError, match=r"start\.json"):
        open_run(run.folder)


@pytest.mark.parametrize("course", [Solo, Islands])
def test_designs_come_before_all_others(scenario, library, front, course):
    options = replace(scenario.search, population=60, islands=2)
    encoding = encode(replace(scenario, search=options), library)
    genomes = course_of(front).found().archive.genomes
    begun = course(encoding, Stall())
    begun.begin(genomes)
    state = begun.states[0]
    assert {g.tobytes() for g in state.archive.genomes} == {
        g.tobytes() for g in genomes
    }
    assert begun.progress.evaluations == len(genomes)
    assert begun.progress.generation == 0


def test_a_start_that_cannot_be_built_names_what_stands_in_the_way(spec, tmp_path):
    text = spec.read_text(encoding="utf-8")
    band = 'butt_diameter = { target = "15.2 mm"'
    assert band in text
    path = tmp_path / "wide.toml"
    path.write_text(text.replace(band, 'butt_diameter = { target = "19 mm"'), "utf-8")
    said = []
    with pytest.raises(InputError) as caught:
        run_spec(path, out=tmp_path / "run", start_from=[HAND], hold=["torque pair"])
    assert "left out" in str(caught.value)
    run = run_spec(
        path, out=tmp_path / "run", evaluations=1, start_from=[HAND], say=said.append
    )
    (start,) = run.starts.designs
    assert start.genome is None
    assert "butt diameter" in start.said[1]
    assert "too low" in start.said[1]
    assert start.said[1] in said[0]


def test_a_start_whose_flags_do_not_fit_says_so(spec, tmp_path):
    """A place is filled with the least it can hold, which may end below its start."""
    text = spec.read_text(encoding="utf-8")
    for old, new in (
        ('butt_diameter = { target = "15.2 mm"', 'butt_diameter = { target = "19 mm"'),
        ('from = "500 mm", to = "950 mm"', 'from = "400 mm", to = "950 mm"'),
        ('run_out = "50 mm"\noptional = true', 'run_out = "50 mm"'),
    ):
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "odd.toml"
    path.write_text(text, encoding="utf-8")
    run = run_spec(path, out=tmp_path / "run", evaluations=1, start_from=[HAND])
    (start,) = run.starts.designs
    assert start.genome is None
    assert start.said[1] == "as given: a flag does not lie between tip and butt"


def test_a_spec_is_not_taken_for_a_design(spec, tmp_path):
    with pytest.raises(InputError) as caught:
        run_spec(spec, out=tmp_path / "run", start_from=[spec])
    assert "this is a target spec. Give a design here" in str(caught.value)
    with pytest.raises(InputError) as caught:
        run_spec(HAND, out=tmp_path / "run")
    assert "this is a design. Give a target spec here" in str(caught.value)
    assert not (tmp_path / "run").exists()


def test_what_does_not_fit_is_said_with_how_far_it_lies(spec, front, tmp_path):
    design = read_design(next(iter(front.designs.values())), front.library)
    first = design.flags[0]
    moved = replace(first, wraps=first.wraps + 0.2)
    hoop = replace(first, name="odd", angle=np.radians(10.0), is_pair=True)
    changed = replace(design, flags=(moved, *design.flags[1:], hoop), library=None)
    path = tmp_path / "changed.toml"
    path.write_text(design_to_text(changed), encoding="utf-8")
    said = []
    run = run_spec(
        spec,
        out=tmp_path / "run",
        evaluations=1,
        start_from=[path],
        say=said.append,
    )
    (start,) = run.starts.designs
    assert not start.is_exact
    words = "\n".join(start.said)
    assert f"{first.wraps:g} wraps for {moved.wraps:g}" in words
    assert 'flag "odd" has no place' in words
    assert " g for " in words
    assert all(line in said[0] for line in start.said)
    # but for what has no place, it is the design that it was made of
    own = run.starts.genomes(course_of(run).encoding)[0]
    assert course_of(run).encoding.design(own, "own").flags == design.flags


def test_what_cannot_be_started_from_is_refused(spec, front, tmp_path):
    alone = shutil.copy(front.folder / "front.csv", tmp_path / "front.csv")
    missing = tmp_path / "missing.toml"
    options = {"out": tmp_path / "run", "evaluations": 1}
    with pytest.raises(InputError) as caught:
        run_spec(spec, start_from=[missing, alone], **options)
    assert len(caught.value.faults) == 2
    assert str(missing) in str(caught.value)
    assert "run folder" in str(caught.value)
    with pytest.raises(InputError, match="--start-from"):
        run_spec(spec, hold=["torque pair"], **options)
    with pytest.raises(InputError) as caught:
        run_spec(spec, start_from=[HAND], hold=["torque pear", "middle"], **options)
    assert "Did you mean 'torque pair'?" in str(caught.value)
    assert "no flag of" in str(caught.value)
    assert not (tmp_path / "run").exists()


def test_a_flag_that_is_held_stays_as_it_is(spec, front, tmp_path):
    name = "torque pair"
    run = run_spec(
        spec,
        out=tmp_path / "run",
        evaluations=200,
        start_from=[front.folder / "front.csv"],
        hold=[name],
    )
    path = front.designs[front.front["id"].iloc[0]]
    first = read_design(path, front.library)
    (wanted,) = [flag for flag in first.flags if flag.name == name]
    assert len(run.designs) > 3
    for path in run.designs.values():
        (flag,) = [f for f in read_design(path, run.library).flags if f.name == name]
        assert flag == wanted
    again = resume_run(run.folder, evaluations=300)
    (place,) = [place for place in again.spec.places if place.name == name]
    assert place.n_choices == 1
    assert len(again.designs) > 3


# --------------------------------------------------------------------------- fixed


def test_the_command_starts_from_a_design_and_holds_its_flag(
    spec, front, tmp_path, capsys
):
    path = next(iter(front.designs.values()))
    words = ["--start-from", str(path), "--hold", "torque pair", "--evaluations", "60"]
    out = tmp_path / "run"
    assert main(["search", str(spec), *words, "--out", str(out), "--json"]) == 0
    said = capsys.readouterr()
    assert "1 as given" in said.err
    assert json.loads(said.out)["evaluations"] >= 60
    run = open_run(out)
    # what is not on the front any more is bettered there
    traded = [METRIC[target.metric].column for target in run.spec.trades]
    sense = [1.0 if target.trade == "less" else -1.0 for target in run.spec.trades]
    own = front.front.set_index("id").loc[path.stem, traded].to_numpy(dtype=float)
    better = (run.front[traded].to_numpy() - own) * sense <= 1e-9
    assert better.all(axis=1).any()
    held = [
        next(f for f in read_design(each, run.library).flags if f.name == "torque pair")
        for each in (path, *run.designs.values())
    ]
    assert len(held) > 2
    assert all(flag == held[0] for flag in held)


def fixed(spec, design, names, **rules):
    """The spec with some places as a design has them, and nothing where it has none."""
    flags = {flag.name: flag for flag in design.flags}
    places = []
    for place in spec.places:
        if place.name not in names:
            places.append(place)
        elif place.name in flags:
            flag = flags[place.name]
            (sheet,) = [
                sheet
                for sheet in place.sheets
                if sheet.material == flag.material and sheet.angle == flag.angle
            ]
            one = {"starts": (flag.start,), "ends": (flag.end,), "wraps": (flag.wraps,)}
            places.append(replace(place, sheets=(sheet,), optional=False, **one))
    rules = replace(spec.rules, **rules)
    return replace(spec, places=tuple(places), rules=rules)


@pytest.mark.parametrize("reorder", [True, False])
@pytest.mark.parametrize("share", [0.5, 1.0])
def test_fixed_flags_stay_in_every_design(front, library, share, reorder):
    """Several, or all of them: what is left free is searched."""
    design = read_design(front.designs[front.front["id"].iloc[0]], front.library)
    names = [flag.name for flag in design.flags]
    kept = set(names[: round(share * len(names))])
    away = {place.name for place in front.spec.places} - set(names)
    spec = fixed(front.spec, design, kept | away, reorder=reorder)
    if not reorder:
        by_name = {place.name: place for place in spec.places}
        spec = replace(spec, places=tuple(by_name[name] for name in names))
    search = Solo(encode(spec, library), Stall())
    search.run(lambda: True, evaluations=400, seconds=None)
    archive = search.found().archive
    assert archive.n >= 1
    # the set of the mandrel is left, even where all flags are fixed
    assert search.is_exhausted or search.progress.evaluations >= 400
    fixed_flags = {flag.name: flag for flag in design.flags if flag.name in kept}
    for genome in archive.genomes:
        flags = search.encoding.design(genome, "x").flags
        assert {f.name: f for f in flags if f.name in kept} == fixed_flags
        if not reorder:
            assert [flag.name for flag in flags] == names


def test_a_run_from_the_only_design_there_is_ends(tmp_path):
    """It has no neighbour either, and no pair of changes leads anywhere."""
    text = EIGHT.replace('["700 mm", "1067 mm"]', '"1067 mm"')
    text = text.replace("wraps = [2, 3]", "wraps = 3")
    path = tmp_path / "one.toml"
    path.write_text(text.replace('["200 mm", "300 mm"]', '"300 mm"'), encoding="utf-8")
    first = run_spec(path, out=tmp_path / "first", evaluations=300)
    assert first.about["exhausted"]
    assert len(first.designs) == 1
    run = run_spec(
        path, out=tmp_path / "run", evaluations=300, start_from=[first.folder]
    )
    assert run.about["exhausted"]
    assert set(run.designs) == set(first.designs)


def test_without_its_checkpoint_a_run_says_what_was_held(spec, front, tmp_path):
    run = run_spec(
        spec,
        out=tmp_path / "run",
        evaluations=150,
        islands=2,
        hands=ONE,
        start_from=[front.folder],
        hold=["torque pair"],
    )
    assert len(run.designs)
    (run.folder / "checkpoint.npz").unlink()
    with pytest.raises(InputError) as caught:
        resume_run(run.folder)
    assert "--hold 'torque pair' --islands 2" in str(caught.value)
