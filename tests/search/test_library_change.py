"""The library of a run changes under it: it is told, and taken where asked."""

import shutil
from importlib.resources import as_file
from importlib.resources import files as package_files

import numpy as np
import pytest

from model import InputError, evaluate, read_design
from optimiser import run_library
from optimiser.cli import main
from optimiser.run import Hands, resume_run, run_spec
from optimiser.run_folder import CONDITIONS
from optimiser.store import open_run
from tests.search.courses import (
    assert_same_run,
    course_of,
    spec_with,
)

pytestmark = pytest.mark.usefixtures("brisk")

ONE = Hands(workers=1)


@pytest.fixture(scope="module")
def own(tmp_path_factory):
    """A library of one's own."""
    folder = tmp_path_factory.mktemp("own") / "shop"
    with as_file(package_files("model") / "data" / "library") as packaged:
        return shutil.copytree(packaged, folder)


def dearer(folder, name="standard-125"):
    """Double the price of a prepreg."""
    path = folder / "prepregs.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    columns = head.split(",")
    at = next(i for i, column in enumerate(columns) if "price" in column)
    for i, row in enumerate(rows):
        cells = row.split(",")
        if cells[columns.index("prepreg")] == name:
            cells[at] = str(float(cells[at]) * 2.0)
            rows[i] = ",".join(cells)
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")


@pytest.fixture
def shop(own, tmp_path):
    return shutil.copytree(own, tmp_path / "shop")


@pytest.mark.parametrize("islands", [1, 2])
def test_a_changed_library_is_told_and_taken_only_if_asked(shop, tmp_path, islands):
    spec = spec_with(tmp_path, population=60, islands=islands, exchange=200)
    options = {"library": shop, "evaluations": 500, "hands": ONE}
    whole = run_spec(spec, out=tmp_path / "whole", **options)
    run = run_spec(spec, out=tmp_path / "run", **(options | {"evaluations": 300}))
    dearer(shop)
    said = []
    run = resume_run(run.folder, evaluations=500, hands=ONE, say=said.append)
    assert len(said) == 1
    assert str(shop) in said[0]
    assert "prepregs: standard-125 changed" in said[0]
    assert "--take-library" in said[0]
    assert run.about["library_changes"]
    assert_same_run(run, whole)  # with its own copy, as if nothing had happened
    cost = course_of(run).found().archive.F[:, 1].min()
    said.clear()
    run = resume_run(
        run.folder, evaluations=560, hands=ONE, take_library=True, say=said.append
    )
    assert "measured anew" in said[0]
    assert (
        course_of(run).found().archive.F[:, 1].min() > cost
    )  # straight plies are dear
    assert "library_changes" not in run.about
    assert (run.folder / "library" / "prepregs.csv").read_text() == (
        shop / "prepregs.csv"
    ).read_text()
    for path in list(run.designs.values())[:3]:
        report = evaluate(read_design(path), run.library)
        row = run.front.set_index("id").loc[path.stem]
        assert report.metrics["material_cost"] == pytest.approx(row["material_cost"])
    said.clear()
    resume_run(run.folder, hands=ONE, say=said.append)
    assert said == []


def test_price_breaks_that_change_are_told(shop, eight, tmp_path):
    run = run_spec(eight, out=tmp_path / "run", library=shop, evaluations=4)
    breaks = "prepreg,from_m2,price_per_m2\nstandard-125,50,1\n"
    (shop / "price_breaks.csv").write_text(breaks, encoding="utf-8")
    said = []
    resume_run(run.folder, say=said.append)
    assert (
        "changed since this run was started: price breaks: standard-125 new"
        in (said[0])
    )
    run = resume_run(run.folder, take_library=True)
    assert (run.folder / "library" / "price_breaks.csv").read_text() == breaks
    (shop / "price_breaks.csv").unlink()
    said.clear()
    resume_run(run.folder, say=said.append)
    assert "price breaks: standard-125 gone" in said[0]


def test_the_command_takes_a_changed_library(shop, eight, tmp_path, capsys):
    run = run_spec(eight, out=tmp_path / "run", library=shop, evaluations=4)
    cost = run.front["material_cost"].min()
    dearer(shop)
    words = ["resume", str(run.folder), "--evaluations", "8", "--json"]
    assert main(words) == 0
    assert "--take-library" in capsys.readouterr().err
    assert main([*words, "--take-library"]) == 0
    assert "measured anew" in capsys.readouterr().err
    assert open_run(run.folder).front["material_cost"].min() > cost


def test_a_library_that_is_gone_or_faulty_is_told(shop, eight, tmp_path):
    run = run_spec(eight, out=tmp_path / "run", library=shop, evaluations=4)
    (shop / "prepregs.csv").write_text("nonsense\n", encoding="utf-8")
    said = []
    resume_run(run.folder, say=said.append)
    assert "cannot be read any more" in said[0]
    shutil.rmtree(shop)
    said.clear()
    resume_run(run.folder, evaluations=6, say=said.append)
    assert "no such folder" in said[0]
    with pytest.raises(InputError, match="no such folder"):
        resume_run(run.folder, take_library=True)
    assert resume_run(run.folder, evaluations=8).state == "done"


@pytest.mark.parametrize("step", ["part", "moved", "swapped", "checkpoint"])
def test_a_kill_while_a_library_is_taken(shop, eight, tmp_path, monkeypatch, step):
    """Wherever it is cut off, library and numbers fit each other afterwards."""
    run = run_spec(eight, out=tmp_path / "run", library=shop)
    dearer(shop)

    class KilledError(BaseException):
        pass

    def cut(*_):
        raise KilledError

    rename = run_library.Path.rename
    if step == "part":
        monkeypatch.setattr(run_library, "write_text", cut)
    elif step == "moved":

        def once(self, target):
            if self.name == ".library.new":
                raise KilledError
            return rename(self, target)

        monkeypatch.setattr(run_library.Path, "rename", once)
    elif step == "swapped":
        monkeypatch.setattr("optimiser.run._go", cut)
    else:
        monkeypatch.setattr("optimiser.run.write_front", cut)
    with pytest.raises(KilledError):
        resume_run(run.folder, take_library=True)
    monkeypatch.undo()
    run = resume_run(run.folder)
    with np.load(run.folder / "checkpoint.npz") as opened:
        assert opened[CONDITIONS] == run.about.get(CONDITIONS, 0)
    archive = course_of(run).found().archive
    metrics, _ = course_of(run).encoding.measure(archive.genomes)
    asked = ~np.isnan(archive.metrics)
    np.testing.assert_allclose(archive.metrics[asked], metrics[asked], rtol=1e-12)
    assert len(run.front) == archive.n
    assert "left_out" not in run.about
