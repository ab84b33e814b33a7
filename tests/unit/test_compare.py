"""Two designs side by side: what differs is said, and nothing else."""

import dataclasses
import json
import math
from itertools import combinations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model import METRIC, design_to_text
from optimiser.cli import main
from optimiser.compare import _longest_rise, compare_designs
from optimiser.compare_text import (
    changes_table,
    compare_json,
    compare_text,
    pieces_table,
    write_compare,
)
from optimiser.sheet import write_parts
from optimiser.sheet_record import MADE_FROM
from tests.unit.shown_shafts import a_flag, a_report, a_spec, the_library, usual_design


def changed_design():
    """Hoop earlier, stiffener longer, body thicker, a flag gone, a flag new."""
    usual = usual_design("fairway trial, changed")
    pair, hoop, stiffener, filler, _bias, body, butt_hoop, cover = usual.flags
    return dataclasses.replace(
        usual,
        shaft=dataclasses.replace(usual.shaft, trim_butt=0.020),
        bench=dataclasses.replace(usual.bench, tip_mass=0.200),
        flags=(
            hoop,
            pair,
            dataclasses.replace(stiffener, end=0.300),
            filler,
            dataclasses.replace(body, wraps=2.5, material="standard-125"),
            butt_hoop,
            cover,
            a_flag("patch", "standard-100", 0, 0.0, 0.200, 1, butt=0.05),
        ),
    )


@pytest.fixture(scope="module")
def reports():
    return a_report(), a_report(changed_design())


@pytest.fixture(scope="module")
def spec(tmp_path_factory):
    return a_spec(tmp_path_factory.mktemp("spec"))


@pytest.fixture(scope="module")
def found(reports, spec):
    return compare_designs(*reports, spec)


def test_a_design_does_not_differ_from_itself(reports):
    same = compare_designs(reports[0], reports[0])
    assert same.changed_flags == ()
    assert same.settings == ()
    assert same.pieces == ()
    assert pieces_table(same).empty
    assert "The layups are the same." in compare_text(same)
    assert "All pieces are cut alike." in compare_text(same)
    assert all(old == new for old, new in same.metrics)


def test_changed_flags(found):
    words = {pair.name: pair.words for pair in found.flags}
    assert words == {
        "tip hoop": "place 2 to 1",
        "torque pair": "",
        "tip stiffener": "end",
        "tip filler": "",
        "butt bias": "only in A",
        "body": "material, wraps",
        "butt hoop": "",
        "cover": "",
        "patch": "only in B",
    }
    assert sum(pair.is_moved for pair in found.flags) == 1
    body = next(pair for pair in found.flags if pair.name == "body")
    assert {(c.key, c.a, c.b) for c in body.changes} == {
        ("material", "intermediate-100", "standard-125"),
        ("wraps", "2", "2.5"),
    }


def test_changed_settings(found):
    assert {(c.table, c.key, c.a, c.b) for c in found.settings} == {
        ("shaft", "trim_butt", "15 mm", "20 mm"),
        ("bench", "tip_mass", "205 g", "200 g"),
    }
    assert any("[bench]" in note for note in found.notes)


def test_metrics_are_those_of_the_reports(found, reports):
    shown = {old.label: (old, new) for old, new in found.metrics}
    for key, metric in METRIC.items():
        values = [report.metrics[key] for report in reports]
        if metric.needs or None in values:
            continue
        for row, value in zip(shown[metric.label], values, strict=True):
            assert row.value == pytest.approx(value * metric.scale, rel=1e-12)
    old, new = shown["Weight"]
    assert (old.low, old.high) == pytest.approx((55.75, 58.75))
    assert new.is_asked


def test_a_flag_given_another_name_is_the_same_flag():
    usual = usual_design()
    flags = list(usual.flags)
    flags[5] = dataclasses.replace(flags[5], name="main body")
    other = dataclasses.replace(usual, flags=tuple(flags))
    pair = compare_designs(a_report(usual), a_report(other)).changed_flags
    assert [(p.name, p.words, p.place_a, p.place_b) for p in pair] == [
        ("main body", "name", 6, 6)
    ]


def test_pieces_above_a_thicker_flag_are_wider_and_those_below_are_not():
    # common practice: a piece of n turns grows by n pi times what the diameter grows
    usual = usual_design()
    flags = list(usual.flags)
    flags[5] = dataclasses.replace(flags[5], wraps=2.5)
    other = dataclasses.replace(usual, flags=tuple(flags))
    a, b = a_report(usual), a_report(other)
    found = compare_designs(a, b)
    assert [piece.name for piece in found.pieces] == ["body", "butt hoop", "cover"]
    bleed = usual.finish.resin_bleed
    thickness = the_library().prepregs["intermediate-100"].cured(bleed).thickness
    hoop = found.pieces[1]
    assert hoop.widest == pytest.approx(math.pi * 2.0 * 0.5 * thickness, rel=1e-6)
    cover = found.pieces[2]
    assert cover.widest == pytest.approx(2.0 * math.pi * thickness, rel=1e-6)


def test_pieces_table_has_both_widths(found, reports):
    table = pieces_table(found).set_index("flag")
    stiffener = table.loc["tip stiffener"]
    a, b = reports[0].flags[2], reports[1].flags[2]
    assert stiffener["cut_length_a_mm"] == round(a.cut_length * 1e3, 1)
    assert stiffener["cut_length_b_mm"] == round(b.cut_length * 1e3, 1)
    assert pd.isna(table.loc["patch", "pieces_a"])
    assert table.loc["patch", "pieces_b"] == 1
    assert pd.isna(table.loc["butt bias", "cut_length_b_mm"])


@given(st.permutations(range(6)))
def test_as_few_flags_as_can_be_are_said_to_be_moved(places):
    rises = [
        set(chosen)
        for n in range(len(places) + 1)
        for chosen in combinations(places, n)
        if list(chosen) == sorted(chosen)
    ]
    found = _longest_rise(places)
    assert found in rises
    assert len(found) == max(map(len, rises))


def test_json_has_it_all_and_is_strict(found):
    values = json.loads(json.dumps(compare_json(found), allow_nan=False))
    assert values["a"]["id"] == found.a.design_id
    flags = {flag["name"]: flag for flag in values["flags"]}
    assert flags["patch"]["place_a"] is None
    assert flags["cover"]["changed"] is False
    pieces = {piece["flag"]: piece for piece in values["pieces"]}
    assert pieces["patch"]["cut_length_a_mm"] is None
    assert len(values["metrics"]["a"]) == len(values["metrics"]["b"])
    assert values["spec"] == "fairway trial spec"


def test_files(found, tmp_path):
    mandrel = the_library().mandrels["slim-5"]
    paths = write_compare(tmp_path, found, (mandrel, mandrel))
    assert {path.name for path in paths} == {path.name for path in tmp_path.iterdir()}
    assert (tmp_path / "compare.png").read_bytes()[:4] == b"\x89PNG"
    read = pd.read_csv(tmp_path / "compare_changes.csv")
    assert read["where"].tolist() == changes_table(found)["where"].tolist()
    assert len(pd.read_csv(tmp_path / "compare_pieces.csv")) == len(found.pieces)


def test_the_command(tmp_path, capsys):
    for name, design in (("a", usual_design()), ("b", changed_design())):
        text = design_to_text(design)
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    words = ["compare", str(tmp_path / "a.toml"), str(tmp_path / "b.toml")]
    assert main([*words, "--out", str(tmp_path / "out")]) == 0
    said = capsys.readouterr().out
    assert "tip stiffener" in said
    assert "Pieces that are cut otherwise" in said
    assert "both flag maps" in said
    assert main([*words, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["files"] == []
    assert main([words[0], words[1], str(tmp_path)]) == 2
    assert "another of its kind" in capsys.readouterr().err
    assert main([words[0], words[1], str(tmp_path / "no.toml")]) == 2
    assert "no.toml" in capsys.readouterr().err


def test_the_spec_beside_an_archived_sheet_is_known(spec, tmp_path, capsys):
    write_parts(a_report(), the_library(), tmp_path, parts=[], spec=spec)
    design = str(tmp_path / MADE_FROM / "design.toml")
    assert main(["compare", design, design, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["spec"] == "fairway trial spec"
