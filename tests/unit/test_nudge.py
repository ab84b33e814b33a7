"""Nudges: which designs, how they are moved, and what is counted."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from model import METRICS, evaluate, read_design
from optimiser.cli import main
from optimiser.nudge import NUDGES, nudge_run, nudged, spread
from optimiser.nudge_text import nudge_text, write_nudges
from optimiser.run import run_spec
from tests.conftest import SCENARIOS

pytestmark = pytest.mark.usefixtures("brisk")

BY = 0.002
KEYS = {metric.column: metric for metric in METRICS}


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    out = tmp_path_factory.mktemp("nudge") / "run"
    spec = SCENARIOS / "hybrid_85" / "spec.toml"
    return run_spec(spec, out=out, evaluations=1_200)


@pytest.fixture(scope="module")
def nudges(run):
    return nudge_run(run, n=4, by=BY, draws=20)


def rows_of(nudges, nudge, what):
    table = nudges.table
    return table[(table["nudge"] == nudge) & (table["what"] == what)]


def moved(design, k, side, by):
    flags = list(design.flags)
    name = ("start", "end")[side]
    flags[k] = replace(flags[k], **{name: getattr(flags[k], name) + by})
    return replace(design, flags=tuple(flags))


def test_designs_are_spread_over_the_front():
    """Of a cross of points, the middle and the four tips come first."""
    F = np.array([[0, 0], [5, 0], [-5, 0], [0, 5], [0, -5], [1, 0], [0, 1], [0.5, 0]])
    chosen = spread(F, 4, seed=3)
    assert len(set(chosen)) == 4
    assert len({1, 2, 3, 4} & set(chosen)) >= 3
    assert spread(F, 4, seed=3) == chosen
    assert sorted(spread(F, 50, seed=3)) == list(range(8))
    starts = {spread(F, 1, seed)[0] for seed in range(40)}
    assert len(starts) > 4


def test_changes_are_those_of_evaluating_each_by_itself(run, nudges):
    """Every inner end by itself, moved by hand and evaluated through the front door."""
    library = run.library
    for identity in nudges.table["design"].unique()[:2]:
        design = read_design(run.design_path(identity), library)
        nominal = evaluate(design, library).metrics
        length = design.shaft.length
        cases = [
            evaluate(moved(design, k, side, by), library).metrics
            for k, flag in enumerate(design.flags)
            for side, x in enumerate((flag.start, flag.end))
            if 1e-6 < x < length - 1e-6
            for by in (-BY, BY)
        ]
        for what in ("frequency_cpm", "weight_g", "torque_deg", "durability"):
            metric = KEYS[what]
            row = rows_of(nudges, "end", what).set_index("design").loc[identity]
            values = np.array([case[metric.key] for case in cases]) * metric.scale
            change = values - nominal[metric.key] * metric.scale
            assert row["cases"] == len(cases)
            assert row["nominal"] == pytest.approx(nominal[metric.key] * metric.scale)
            assert abs(row["largest_change"]) == pytest.approx(
                np.abs(change).max(), rel=1e-6
            )
            low = -np.inf if np.isnan(row["low"]) else row["low"]
            high = np.inf if np.isnan(row["high"]) else row["high"]
            assert row["out"] == ((values < low) | (values > high)).sum()
            if what == "frequency_cpm":
                assert row["share_of_band"] == pytest.approx(
                    np.abs(change).max() / (high - low), rel=1e-6
                )


def test_finer_and_exact_are_what_they_say(run, nudges):
    library = run.library
    identity = nudges.table["design"].iloc[0]
    design = read_design(run.design_path(identity), library)
    reports = {
        "finer": evaluate(design, library, cell=0.0025),
        "exact": evaluate(design, library, cell=0.0025, exact=True),
    }
    nominal = evaluate(design, library).metrics
    for nudge, report in reports.items():
        for what in ("frequency_cpm", "torque_deg", "durability"):
            metric = KEYS[what]
            row = rows_of(nudges, nudge, what).set_index("design").loc[identity]
            change = report.metrics[metric.key] - nominal[metric.key]
            assert row["cases"] == 1
            assert row["largest_change"] == pytest.approx(
                change * metric.scale, rel=1e-6, abs=1e-9
            )


def test_the_set_moves_no_further_than_the_mandrel_reaches(run):
    library, spec = run.library, run.spec
    identity = next(iter(run.designs))
    design = read_design(run.design_path(identity), library)
    # at the mandrel's ends the tip may be too thin to be ground to size
    design = replace(design, finish=replace(design.finish, tip_diameter=None))
    last = library.mandrels[design.shaft.mandrel].distance[-1]
    ends = (spec.trim_tip, last - design.shaft.length - spec.trim_butt)
    for at in ends:
        there = replace(design, shaft=replace(design.shaft, mandrel_set=at))
        table = nudged(spec, library, {"x": there}, by=BY, draws=5, seed=1)
        rows = table[(table["nudge"] == "set") & (table["what"] == "butt_diameter_mm")]
        slope = library.mandrels[design.shaft.mandrel]
        x = np.clip([at - BY, at + BY], *ends) + design.shaft.length
        d = np.interp([*x, at + design.shaft.length], slope.distance, slope.diameter)
        expected = np.abs(d[:2] - d[2]).max() * 1e3
        assert abs(rows["largest_change"].iloc[0]) == pytest.approx(expected, rel=1e-3)


def test_a_design_at_the_edge_of_its_band_leaves_it(run):
    """A band drawn so that the design lies just inside is left; a wide one is not."""
    library, spec = run.library, run.spec
    design = read_design(run.design_path(next(iter(run.designs))), library)
    weight = evaluate(design, library).metrics["weight"]
    for low, high, leaves in (
        (weight - 1e-6, weight + 1e-3, True),
        (weight - 1e-2, weight + 1e-2, False),
    ):
        targets = tuple(
            replace(t, low=low, high=high) if t.metric == "weight" else t
            for t in spec.targets
        )
        table = nudged(
            replace(spec, targets=targets),
            library,
            {"x": design},
            by=BY,
            draws=30,
            seed=1,
        )
        rows = table[
            (table["what"] == "weight_g") & table["nudge"].isin(["end", "all"])
        ]
        assert (rows["out"] > 0).all() == leaves
        assert (rows["out_by"] > 0).all() == leaves
        if leaves:
            # one way out of two leaves; at random about half
            assert rows.set_index("nudge").loc["end", "out"] * 2 == pytest.approx(
                rows.set_index("nudge").loc["end", "cases"], abs=2
            )


def test_same_seed_same_table_and_a_smaller_move_less(run, nudges):
    again = nudge_run(run, n=4, by=BY, draws=20)
    pd.testing.assert_frame_equal(again.table, nudges.table)
    less = nudge_run(run, n=4, by=BY / 4, draws=20)
    for nudge in ("end", "set", "all"):
        a, b = (rows_of(n, nudge, "weight_g") for n in (less, nudges))
        # up and down weigh nearly the same, so either may be the larger
        ratio = a["largest_change"].to_numpy() / b["largest_change"].to_numpy()
        assert np.abs(ratio) == pytest.approx(0.25, abs=0.05)


def test_what_is_written_says_the_same(nudges, tmp_path):
    table, text = write_nudges(tmp_path, nudges)
    pd.testing.assert_frame_equal(pd.read_csv(table), nudges.table, rtol=1e-12)
    words = text.read_text(encoding="utf-8")
    assert words == nudge_text(nudges) + "\n"
    for key in NUDGES:
        assert f"{nudges.n_outside(key)} of {nudges.n_designs}" in words
    for word in ("Frequency [cpm]", "proof tests", "safety sheet"):
        assert word in words


def test_the_command(run, capsys):
    assert main(["nudge", str(run.folder), "--designs", "3", "--by", "1 mm"]) == 0
    out = capsys.readouterr().out
    assert "3 of the" in out
    assert "1.0 mm" in out
    assert str(run.folder / "nudge.csv") in out
    assert (run.folder / "nudge.txt").exists()
    words = ["nudge", str(run.folder), "--draws", "5", "--json"]
    assert main(words) == 0
    what = json.loads(capsys.readouterr().out)
    assert what["by_mm"] == 2.0
    assert what["draws"] == 5
    assert set(what["designs_outside"]) == set(NUDGES)
    assert len(what["rows"]) % what["designs"] == 0


@pytest.mark.parametrize(
    "words", [["--by", "2"], ["--by", "40 mm"], ["--designs", "0"], ["--draws", "x"]]
)
def test_bad_options_are_refused(run, capsys, words):
    assert main(["nudge", str(run.folder), *words]) == 2
    assert words[1] in capsys.readouterr().err


def test_a_run_without_a_front_says_so(tmp_path, capsys, monkeypatch):
    # why it has none is asked elsewhere, and takes longer than its search
    monkeypatch.setattr("optimiser.run.write_explanation", lambda *_: [])
    text = (SCENARIOS / "iron_95" / "spec.toml").read_text(encoding="utf-8")
    spec = tmp_path / "spec.toml"
    spec.write_text(text.replace("306 cpm", "700 cpm"), encoding="utf-8")
    empty = run_spec(spec, out=tmp_path / "empty", evaluations=50)
    assert main(["nudge", str(empty.folder)]) == 1
    assert "no feasible design" in capsys.readouterr().err
    assert not (empty.folder / "nudge.csv").exists()
