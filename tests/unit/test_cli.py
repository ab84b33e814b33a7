"""Commands: what they print, and how they end."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from importlib.resources import as_file, files
from pathlib import Path

import pytest

from model import METRICS
from optimiser.cli import main
from optimiser.inputs import packaged_scenarios
from tests.conftest import SCENARIOS
from tests.search.courses import spec_with

pytestmark = pytest.mark.usefixtures("brisk", "brisk_lays", "few_explained")

SPEC = SCENARIOS / "fairway_58" / "spec.toml"
DESIGN = SCENARIOS / "designs" / "fairway-60.toml"
COMMANDS = (
    "demo",
    "check",
    "evaluate",
    "bench",
    "search",
    "resume",
    "review",
    "sheet",
    "accuracy",
    "explain",
    "try",
    "open",
    "nudge",
    "compare",
)


@pytest.fixture(scope="module")
def small_spec(tmp_path_factory):
    return spec_with(tmp_path_factory.mktemp("spec"), population=100)


@pytest.fixture(scope="module")
def folder(small_spec, tmp_path_factory):
    out = tmp_path_factory.mktemp("cli") / "a run"
    words = ["search", str(small_spec), "--evaluations", "900", "--out", str(out)]
    assert main(words) == 0
    return out


def plyfront(*words, **options):
    command = [sys.executable, "-m", "optimiser.cli", *map(str, words)]
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **options
    )


# ---------------------------------------------------------------------------- check


@pytest.mark.parametrize("name", ["fairway_58", "driver_40", "hybrid_85", "iron_95"])
def test_check_describes_each_scenario(name, capsys):
    assert main(["check", str(packaged_scenarios() / name / "spec.toml")]) == 0
    out = capsys.readouterr().out
    for word in ("Weight", "Torque", "torque pair", "flag_length_min", "150 mm"):
        assert word in out


def test_check_describes_designs_libraries_and_runs(folder, capsys):
    assert main(["check", str(DESIGN)]) == 0
    out = capsys.readouterr().out
    assert "mandrel" in out
    assert "good" in out
    with as_file(files("model") / "data" / "library") as library:
        assert main(["check", str(library)]) == 0
    out = capsys.readouterr().out
    for word in ("standard-125", "slim-5", "USD/m²"):
        assert word in out
    assert main(["check", str(folder)]) == 0
    assert "done" in capsys.readouterr().out


def test_check_tells_files_apart(folder, capsys):
    with as_file(files("model") / "data" / "library") as library:
        for path, kind in (
            (SPEC, "spec"),
            (DESIGN, "design"),
            (library, "library"),
            (folder, "run"),
        ):
            assert main(["check", str(path), "--json"]) == 0
            assert json.loads(capsys.readouterr().out)["kind"] == kind


def test_check_gives_all_faults_at_once(tmp_path, capsys):
    text = SPEC.read_text(encoding="utf-8")
    text = text.replace('name = "torque pair"', 'name = "torque pair"\nangel = "0"')
    bad = tmp_path / "bad.toml"
    bad.write_text(text.replace("252 cpm", "252 mm"), encoding="utf-8")
    assert main(["check", str(bad)]) == 2
    error = capsys.readouterr().err
    assert "2 problems" in error
    assert "Did you mean 'angle'?" in error
    assert "252 mm" in error


def test_a_command_does_not_wait_for_the_libraries_of_another():
    """What draws and what searches takes most of a second to load."""
    drawing = "{'matplotlib', 'ezdxf', 'reportlab', 'moocore'}"
    code = f"""
import sys
from optimiser.cli import main
status = main(["check", {str(SPEC)!r}])
sys.exit(status or sorted({drawing} & set(sys.modules)) or 0)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")


# ------------------------------------------------------------------------- evaluate


def test_evaluate_prints_json_alone(capsys):
    assert main(["evaluate", str(DESIGN), "--json"]) == 0
    captured = capsys.readouterr()
    report = json.loads(captured.out)
    assert captured.err == ""
    assert {"name", "metrics", "profile", "flags", "strength", "warnings"} <= set(
        report
    )
    assert set(report["metrics"]) == {metric.column for metric in METRICS}
    assert set(report["profile"]) == {
        "station_mm",
        "inner_diameter_mm",
        "outer_diameter_mm",
        "ei_n_m2",
        "gj_n_m2",
        "mass_g_per_m",
        "kga_n",
        "ea_n",
        "coupling_n_m",
        "d22_n_m",
    }
    names = [point["name"] for point in report["strength"]]
    assert sorted(names) == ["A", "B", "C", "T", "envelope"]
    keys = {"material", "angle", "wraps", "area_net_m2", "area_gross_m2"}
    assert all(keys | {"mass_g", "cost"} <= set(flag) for flag in report["flags"])
    cost = sum(flag["cost"] for flag in report["flags"])
    assert cost == pytest.approx(report["metrics"]["material_cost"], rel=1e-9)


def test_evaluate_prints_tables_and_the_caution(capsys):
    assert main(["evaluate", str(DESIGN)]) == 0
    out = capsys.readouterr().out
    for metric in METRICS:
        assert (metric.label in out) == (metric.key != "impact")  # nobody asked for it
    assert "torque pair" in out
    assert "envelope" in out
    assert "no substitute for physical proof tests" in out


# ------------------------------------------------------------ search, review, sheet


def test_search_says_what_it_found(small_spec, folder, tmp_path, capsys):
    out = str(tmp_path / "r")
    words = ["search", str(small_spec), "--evaluations", "900", "--out", out]
    assert main([*words, "--json"]) == 0
    captured = capsys.readouterr()
    found = json.loads(captured.out)
    assert found["state"] == "done"
    assert found["options"]["evaluations"] == 900
    assert len(found["front"]) == found["designs"] > 0
    assert found["front"][0].keys() >= {metric.column for metric in METRICS}
    again = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    assert again["designs"] == found["designs"]


def test_the_commands_that_are_printed_work(folder, capsys, tmp_path):
    """What is said to be done next can be copied, blanks in the path and all."""
    assert main(["resume", str(folder)]) == 0
    captured = capsys.readouterr()
    assert "nothing was left of its budget" in captured.err
    lines = re.findall(r"plyfront (sheet|review) (.*)", captured.out)
    assert {name for name, _ in lines} == {"sheet", "review"}
    for name, words in lines:
        shell = subprocess.run(
            ["sh", "-c", f'for w in {words}; do echo "$w"; done'],
            capture_output=True,
            text=True,
            check=True,
        )
        out = tmp_path / name
        assert main([name, *shell.stdout.split("\n")[:-1], "--out", str(out)]) == 0
        assert any(out.iterdir())
    said = capsys.readouterr().out
    assert "layup_sheet.pdf" in said
    assert "no substitute for physical proof tests" in said


def test_review_and_sheet_write_into_the_run(folder, capsys):
    assert main(["review", str(folder), "--json"]) == 0
    review = json.loads(capsys.readouterr().out)
    assert len(review["picks"]) >= 3
    assert all(pick["reason"] for pick in review["picks"])
    assert {Path(name).name for name in review["files"]} >= {
        "review.html",
        "picks.csv",
    }
    identity = review["picks"][0]["id"]
    words = ["--design", identity[:9], "--part", "sheet", "--json"]
    assert main(["sheet", str(folder), *words]) == 0
    sheet = json.loads(capsys.readouterr().out)
    assert any(name.endswith("layup_sheet.pdf") for name in sheet["files"])
    for name in review["files"] + sheet["files"]:
        assert Path(name).stat().st_size > 0
        assert Path(name).is_relative_to(folder)


def test_a_design_of_a_run_is_a_design_file(folder, capsys, tmp_path):
    path = next((folder / "designs").iterdir())
    assert main(["evaluate", str(path), "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    front = (folder / "front.csv").read_text(encoding="utf-8").splitlines()
    (row,) = [line for line in front if line.startswith(path.stem)]
    weight = float(row.split(",")[1])
    assert report["metrics"]["weight_g"] == pytest.approx(weight, rel=1e-9)
    words = ["sheet", str(path), "--part", "sheet", "--out", str(tmp_path / "s")]
    assert main(words) == 0
    assert (tmp_path / "s" / "layup_sheet.pdf").exists()


def test_resume_goes_on(tmp_path, folder, capsys):
    run = shutil.copytree(folder, tmp_path / "run")
    assert main(["resume", str(run), "--evaluations", "1500", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["evaluations"] >= 1500
    assert found["options"]["evaluations"] == 1500
    assert main(["resume", str(run), "--time", "0.001 s", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["options"]["evaluations"] is None


def test_an_own_library_is_used_everywhere(tmp_path, capsys):
    with as_file(files("model") / "data" / "library") as packaged:
        own = shutil.copytree(packaged, tmp_path / "own")
    table = own / "prepregs.csv"
    text = table.read_text(encoding="utf-8").replace("standard-125,", "own-125,")
    table.write_text(text, encoding="utf-8")
    design = tmp_path / "design.toml"
    text = DESIGN.read_text(encoding="utf-8").replace('"standard-125"', '"own-125"')
    design.write_text(text, encoding="utf-8")
    assert main(["evaluate", str(design)]) == 2
    assert "own-125" in capsys.readouterr().err
    for command in ("check", "evaluate"):
        assert main([command, str(design), "--library", str(own)]) == 0
    out = str(tmp_path / "sheet")
    words = ["sheet", str(design), "--library", str(own), "--out", out]
    assert main([*words, "--part", "sheet", "--part", "bill"]) == 0
    assert main(["check", str(SPEC), "--library", str(own)]) == 2
    assert "standard-125" in capsys.readouterr().err


# ------------------------------------------------------------------ ways it can fail


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["serach", "x"], "no command 'serach'. Did you mean 'search'?"),
        (["search", str(SPEC), "--sede", "3"], "Did you mean '--seed'?"),
        (["search", str(SPEC), "--evalutions=3"], "Did you mean '--evaluations'?"),
        (["search", str(SPEC), "--eval", "3"], "no option '--eval'"),
        (["evaluate", str(DESIGN), "--jsno"], "Did you mean '--json'?"),
        (["evaluate", str(DESIGN), "more"], "'more' is one word too many"),
        (["search"], "SPEC"),
        (["search", "nowhere.toml"], "nowhere.toml"),
        (["evaluate", "nowhere.toml"], "nowhere.toml"),
        (["evaluate", str(SCENARIOS)], "a folder, not a file"),
        (["check", "nowhere"], "nowhere"),
        (["check", str(SCENARIOS)], "fibres.csv"),
        (["resume", "nowhere"], "is not the folder of a run"),
        (["review", str(SCENARIOS)], "is not the folder of a run"),
        (["sheet", str(SCENARIOS)], "is not the folder of a run"),
        (["sheet", str(DESIGN), "--design", "12"], "goes with a run folder"),
        (["search", str(SPEC), "--evaluations", "0"], "whole number"),
        (["search", str(SPEC), "--evaluations", "1e5"], "whole number"),
        (["search", str(SPEC), "--seed", "-1"], "whole number"),
        (["search", str(SPEC), "--seed", "9" * 30], "above 9,223,372,036,854,775,807"),
        (["search", str(SPEC), "--islands", "100000"], "above 1,000"),
        (["search", str(SPEC), "--time", "8"], "unit"),
        (["search", str(SPEC), "--time", "8 mm"], "not a time"),
        (["search", str(SPEC), "--time", "-8 h"], "above nought"),
        (["search", str(SPEC), "--library", "nowhere"], "nowhere"),
        (["search", str(DESIGN)], "this is a design. Give a target spec"),
        (["evaluate", str(SPEC)], "this is a target spec. Give a design"),
        ([], "COMMAND"),
    ],
)
def test_bad_words_are_answered_without_a_traceback(
    words, said, capsys, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    captured = capsys.readouterr()
    assert said in captured.err
    assert "Traceback" not in captured.err
    assert captured.out == ""
    assert not list(tmp_path.iterdir())


def test_a_sheet_needs_a_design_of_the_run(folder, capsys):
    assert main(["sheet", str(folder)]) == 2
    assert "--design" in capsys.readouterr().err
    identity = next((folder / "designs").iterdir()).stem
    near = identity[:-1] + ("0" if identity[-1] != "0" else "1")
    assert main(["sheet", str(folder), "--design", near]) == 2
    assert f"Did you mean '{identity}'?" in capsys.readouterr().err
    words = ["sheet", str(folder), "--design", identity, "--library", "x"]
    assert main(words) == 2
    assert "a run has its own library" in capsys.readouterr().err


def test_what_cannot_be_written_is_said(tmp_path, capsys):
    (tmp_path / "file").touch()
    out = tmp_path / "file" / "run"
    assert main(["search", str(SPEC), "--out", str(out)]) == 1
    error = capsys.readouterr().err
    assert str(out) in error
    assert "not a directory" in error


def test_an_impossible_spec_says_what_is_missed_by_how_much(
    tmp_path, capsys, monkeypatch
):
    text = SPEC.read_text(encoding="utf-8").replace("252 cpm", "700 cpm")
    spec = tmp_path / "stiff.toml"
    spec.write_text(text, encoding="utf-8")
    out = tmp_path / "run"
    words = ["search", str(spec), "--evaluations", "600", "--out", str(out)]
    assert main(words) == 1
    captured = capsys.readouterr()
    assert captured.out == ""
    found = re.search(
        r"frequency ([\d.]+) cpm, asked 698\.0 cpm to 702\.0 cpm: ([\d.]+) cpm too low",
        captured.err,
    )
    assert found is not None
    value, missing = map(float, found.groups())
    assert value + missing == pytest.approx(698.0, abs=0.06)
    # the nearest design is there to be looked at, and measures what was said
    assert main(["evaluate", str(out / "nearest.toml"), "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report["metrics"]["frequency_cpm"] == pytest.approx(value, abs=0.05)
    assert main(["review", str(out)]) == 1
    assert "cpm too low" in capsys.readouterr().err
    # the reason is not asked for twice, which takes longer than all of this
    monkeypatch.setattr("optimiser.run.write_explanation", lambda *_: [])
    assert main(["resume", str(out), "--evaluations", "700", "--json"]) == 1
    about = json.loads(capsys.readouterr().out)
    assert about["front"] == []
    assert any("cpm too low" in words for words in about["nearest"])


def test_a_run_without_its_front_says_how_to_get_it(folder, tmp_path, capsys):
    run = shutil.copytree(folder, tmp_path / "run")
    shutil.rmtree(run / "designs")
    (run / "front.csv").unlink()
    # nobody is told that nothing was found
    assert main(["review", str(run)]) == 1
    said = capsys.readouterr().err
    assert "plyfront resume" in said
    assert "no feasible design" not in said
    about = json.loads((run / "run.json").read_text(encoding="utf-8"))
    killed = json.dumps(about | {"state": "running"})
    (run / "run.json").write_text(killed, encoding="utf-8")
    assert main(["review", str(run)]) == 1
    assert "plyfront resume" in capsys.readouterr().err
    assert main(["resume", str(run)]) == 0
    assert main(["review", str(run)]) == 0


# ------------------------------------------------------------------- as a process


@pytest.mark.parametrize("which", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupt_keeps_everything(small_spec, tmp_path, which):
    out = tmp_path / "run"
    process = plyfront("search", small_spec, "--out", out, "--time", "1 h")
    deadline = time.monotonic() + 100.0
    while not (out / "run.json").exists():
        assert process.poll() is None
        assert time.monotonic() < deadline
        time.sleep(0.05)
    time.sleep(1.0)
    process.send_signal(which)
    said, error = process.communicate(timeout=100)
    assert process.returncode == 130, error
    assert "plyfront resume" in error
    assert "Traceback" not in error
    assert (out / "checkpoint.npz").exists()
    assert json.loads((out / "run.json").read_text())["state"] == "interrupted"
    assert (out / "front.csv").exists()
    assert "on the front" in said


def test_a_reader_that_goes_early_is_no_fault():
    process = plyfront("evaluate", DESIGN)
    assert process.stdout is not None
    process.stdout.close()
    assert process.stderr is not None
    error = process.stderr.read()
    process.stderr.close()
    assert process.wait() == 0
    assert error == ""


def test_evaluate_shows_every_number_with_its_unit(capsys):
    assert main(["evaluate", str(DESIGN)]) == 0
    said = capsys.readouterr().out
    for unit in (" g\n", " mm\n", " cpm\n", " deg\n", " %\n", " USD\n"):
        assert unit in said


def test_a_terminal_without_the_letters_is_no_fault():
    environment = os.environ | {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    said, error = plyfront("evaluate", DESIGN, env=environment).communicate()
    assert "Traceback" not in error
    assert "Frequency" in said


def test_help_and_version(capsys):
    assert main(["--help"]) == 0
    out = capsys.readouterr().out
    assert all(command in out for command in COMMANDS)
    for command in COMMANDS:
        assert main([command, "--help"]) == 0
        assert "--json" in capsys.readouterr().out
    assert main(["--version"]) == 0
    assert re.fullmatch(r"plyfront \d+\.\d+\.\d+\n", capsys.readouterr().out)


def test_demo_goes_from_an_empty_folder_to_a_layup_sheet(tmp_path, capsys, monkeypatch):
    # fewer than a person is shown, who waits for it once
    monkeypatch.setattr("optimiser.demo_command._DEMO_EVALUATIONS", 600)
    assert main(["demo", "--out", str(tmp_path / "run"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    names = {Path(name).name for name in found["files"]}
    assert {"layup_sheet.pdf", "review.html", "picks.csv"} <= names
    assert all(Path(name).exists() for name in found["files"])
    assert {pick["id"] for pick in found["picks"]} <= {
        row["id"] for row in found["front"]
    }
