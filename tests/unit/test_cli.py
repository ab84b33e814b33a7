"""Commands: what they print, and how they end."""

import json
import os
import signal
import subprocess
import sys
import time

import pytest

from optimiser.cli import main
from tests.conftest import SCENARIOS

SPEC = SCENARIOS / "fairway_58" / "spec.toml"
DESIGN = SCENARIOS / "designs" / "fairway-60.toml"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("cli") / "run"
    assert main(["search", str(SPEC), "--evaluations", "8000", "--out", str(out)]) == 0
    return out


@pytest.mark.parametrize("name", ["fairway_58", "driver_40", "hybrid_85", "iron_95"])
def test_check_describes_each_scenario(name, capsys):
    assert main(["check", str(SCENARIOS / name / "spec.toml")]) == 0
    out = capsys.readouterr().out
    for word in ("Weight", "Torque", "torque pair", "flag_length_min", "150 mm"):
        assert word in out


def test_check_tells_designs_and_libraries_apart(capsys):
    assert main(["check", str(DESIGN), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["kind"] == "design"
    assert main(["check", "model/data/library"]) in {0, 2}  # only from the source tree


def test_evaluate_prints_json_alone(capsys):
    assert main(["evaluate", str(DESIGN), "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert set(report["metrics"]) >= {"weight_g", "torque_deg", "frequency_cpm"}
    assert set(report["profile"]) == {
        "station_mm",
        "inner_diameter_mm",
        "outer_diameter_mm",
        "ei_n_m2",
        "gj_n_m2",
        "mass_g_per_m",
    }
    assert {point["name"] for point in report["strength"]} == {
        "T",
        "A",
        "B",
        "C",
        "envelope",
    }
    mass = sum(flag["mass_g"] for flag in report["flags"])
    assert mass <= report["metrics"]["weight_g"] + 1e-6


def test_evaluate_prints_a_table_and_the_caution(capsys):
    assert main(["evaluate", str(DESIGN)]) == 0
    out = capsys.readouterr().out
    assert "Frequency" in out
    assert "no substitute for physical proof tests" in out


def test_search_review_and_sheet(folder, capsys):
    assert main(["review", str(folder), "--json"]) == 0
    review = json.loads(capsys.readouterr().out)
    assert len(review["picks"]) >= 3
    identity = review["picks"][0]["id"]
    assert main(["sheet", str(folder), "--design", identity[:9], "--json"]) == 0
    files = json.loads(capsys.readouterr().out)["files"]
    assert any(name.endswith("layup_sheet.pdf") for name in files)
    assert all(os.path.getsize(name) > 0 for name in files)  # noqa: PTH202


def test_resume_goes_on(folder, capsys):
    assert main(["resume", str(folder), "--evaluations", "9000", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["evaluations"] >= 9000


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["serach", "x"], "Did you mean 'search'?"),
        (["search", str(SPEC), "--sede", "3"], "Did you mean '--seed'?"),
        (["search", "nowhere.toml"], "nowhere.toml"),
        (["evaluate", "nowhere.toml"], "nowhere.toml"),
        (["check", "nowhere"], "nowhere"),
        (["resume", "nowhere"], "is not the folder of a run"),
        (["review", str(SCENARIOS)], "is not the folder of a run"),
        (["sheet", str(SCENARIOS)], "is not the folder of a run"),
        (["search", str(SPEC), "--evaluations", "0"], "whole number"),
        (["search", str(SPEC), "--time", "8"], "unit"),
        (["search", str(SPEC), "--library", "nowhere"], "nowhere"),
        ([], "COMMAND"),
    ],
)
def test_bad_words_are_answered_without_a_traceback(words, said, capsys):
    assert main(words) == 2
    error = capsys.readouterr().err
    assert said in error
    assert "Traceback" not in error


def test_a_sheet_needs_a_design_of_the_run(folder, capsys):
    assert main(["sheet", str(folder)]) == 2
    assert "--design" in capsys.readouterr().err
    assert main(["sheet", str(folder), "--design", "nothing"]) == 2
    assert "no such design" in capsys.readouterr().err


def test_an_impossible_spec_says_what_is_missed(tmp_path, capsys):
    text = SPEC.read_text(encoding="utf-8").replace("252 cpm", "400 cpm")
    spec = tmp_path / "stiff.toml"
    spec.write_text(text, encoding="utf-8")
    out = tmp_path / "run"
    status = main(["search", str(spec), "--evaluations", "1500", "--out", str(out)])
    assert status == 1
    assert "nearest design" in capsys.readouterr().err


def test_an_interrupt_keeps_everything(tmp_path):
    out = tmp_path / "run"
    process = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "optimiser.cli",
            "search",
            str(SPEC),
            "--out",
            str(out),
            "--evaluations",
            "100000000",
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    deadline = time.monotonic() + 100
    while not (out / "run.json").exists():
        assert time.monotonic() < deadline
        time.sleep(0.05)
    time.sleep(4.0)
    process.send_signal(signal.SIGINT)
    _, error = process.communicate(timeout=100)
    assert process.returncode == 130, error
    assert "plyfront resume" in error
    assert "Traceback" not in error
    assert (out / "checkpoint.npz").exists()
    assert json.loads((out / "run.json").read_text())["state"] == "interrupted"
