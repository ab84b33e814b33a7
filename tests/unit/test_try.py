"""Edits in a few words, and the command that tries them."""

import json
from dataclasses import replace

import pytest

from model import InputError, design_id, evaluate, read_design
from optimiser.beside import beside_rows
from optimiser.cli import main
from optimiser.edits import Edit, apply_edits
from optimiser.words import titled
from tests.conftest import SCENARIOS
from tests.unit.shown_shafts import a_spec

DESIGN = SCENARIOS / "designs" / "fairway-60.toml"
SPEC = SCENARIOS / "fairway_58" / "spec.toml"


@pytest.fixture(scope="module")
def design(library):
    return read_design(DESIGN, library)


def edited(design, library, *edits):
    return apply_edits(design, [Edit(*edit) for edit in edits], library, "it")


def names(design):
    return [flag.name for flag in design.flags]


def faults(design, library, *edits):
    with pytest.raises(InputError) as caught:
        edited(design, library, *edits)
    return [str(fault) for fault in caught.value.faults]


def test_keys_of_a_flag_are_set(design, library):
    found = edited(
        design,
        library,
        ("set", "torque pair: wraps = 2.5, material = high-85, angle = +-40"),
        ("set", '#1 : end = 17 in, run_out = { tip = "0 mm", butt = "50 mm" }'),
        ("set", "butt: clock = 90 deg"),
    )
    pair = found.flags[1]
    assert (pair.wraps, pair.material, pair.is_pair) == (2.5, "high-85", True)
    assert pair.angle == pytest.approx(0.6981317)
    assert found.flags[0].end == 0.4318
    assert found.flags[0].run_out_butt == 0.05
    assert found.flags[4].clock == pytest.approx(1.5707963)
    untouched = [k for k in range(7) if k not in (0, 1, 4)]
    assert all(found.flags[k] == design.flags[k] for k in untouched)


def test_a_quantity_grows_by_another_of_its_kind(design, library):
    found = edited(
        design,
        library,
        ("set", "body: wraps += 0.5"),
        ("set", "body: wraps += 0.5"),
        ("set", "tip core: end -= 1 in, run_out.butt -= 100 mm"),
        ("set", "shaft: mandrel_set += 5 mm"),
        ("set", "finish: coating = none"),
    )
    assert found.flags[3].wraps == 3.0
    assert found.flags[0].end == pytest.approx(0.4246)
    assert found.flags[0].run_out_butt == pytest.approx(0.05)
    assert found.shaft.mandrel_set == pytest.approx(0.085)
    assert found.finish.coating == 0.0


def test_flags_come_go_and_move(design, library):
    assert names(edited(design, library, ("remove", "butt"))) == [
        "tip core",
        "torque pair",
        "hoop",
        "body",
        "cover",
        "tip outer",
    ]
    order = names(design)
    for words, place in (
        ("hoop: 1", 0),
        ("hoop: first", 0),
        ("hoop: last", 6),
        ("hoop: 7", 6),
        ("hoop: 5", 4),
        ("hoop: before cover", 4),
        ("hoop: after cover", 5),
        ("hoop: before torque pair", 1),
        ("hoop: after #1", 1),
    ):
        left = [name for name in order if name != "hoop"]
        wanted = [*left[:place], "hoop", *left[place:]]
        assert names(edited(design, library, ("move", words))) == wanted, words
    new = "extra: material = standard-75, angle = 0, start = 0 mm, end = 300 mm"
    new += ", wraps = 1"
    assert names(edited(design, library, ("add", new)))[-1] == "extra"
    for words, place in (("before = hoop", 2), ('after = "hoop"', 3)):
        found = names(edited(design, library, ("add", f"{new}, {words}")))
        assert found[place] == "extra"


def test_an_edit_works_on_what_those_before_it_made(design, library):
    found = edited(
        design,
        library,
        ("remove", "#1"),
        ("set", "#1: name = bias: inner"),
        ("set", "bias: inner: wraps = 2"),
    )
    assert found.flags[0].name == "bias: inner"
    assert found.flags[0].wraps == 2.0


def test_two_flags_of_one_name_are_told_apart_by_number(design, library):
    flags = (*design.flags, replace(design.flags[3], name="cover"))
    twice = replace(design, flags=flags)
    said = faults(twice, library, ("set", "cover: wraps = 1"))
    assert "2 flags have that name. Say which: #6, #8." in said[0]
    assert edited(twice, library, ("set", "#8: wraps = 1")).flags[7].wraps == 1.0


def test_everything_that_is_wrong_is_named_at_once(design, library):
    said = faults(
        design,
        library,
        ("set", "torq pair: wraps = 2"),
        ("set", "#12: wraps = 2"),
        ("set", "body wraps = 2"),
        ("set", "body: wraps"),
        ("set", "shaft: width.left = 3 mm"),
        ("set", "body: clock += 3 deg"),
        ("set", "body: material += 3 deg"),
        ("set", "body: end += 3 g"),
        ("set", "cover: wrap = 2, material = standard-105"),
        ("set", "shaft: mandrel_set = 3 kg"),
        ("move", "hoop: 20"),
        ("move", "hoop: after hoop"),
        ("remove", "but"),
        ("add", "x: wraps += 2"),
    )
    for words in (
        "Did you mean 'torque pair'?",
        "Flags are #1 to #7.",
        "no flag is named",
        "'wraps' is not 'key = value'",
        "It has tip and butt.",
        "clock is not set",
        "to which nothing can be added",
        "is the unit of a mass, not a length",
        "Did you mean 'wraps'?",
        "Did you mean 'standard-1",
        "number from 1 to 7",
        "before or after itself",
        "Did you mean 'butt'?",
        "wraps has nothing to add to yet",
    ):
        assert any(words in line for line in said), words


@pytest.mark.parametrize(
    "text",
    [
        "",
        ":",
        ": wraps = 2",
        "body:",
        "body: wraps = ",
        "body: = 2",
        "body: wraps = {",
        'body: wraps = "3',
        "body: wraps = [1",
        "body: wraps = nan",
        "body: wraps = 1e400",
        "body: name = \x00",
        "body: wraps.tip = 3",
        "shaft: = ",
        "#: wraps = 2",
        "#0: wraps = 2",
        "body: wraps =" + "9" * 400,
        "body: width = {tip = 1}",
    ],
)
@pytest.mark.parametrize("kind", ["set", "add", "remove", "move"])
def test_no_edit_ends_in_a_traceback(design, library, kind, text):
    assert faults(design, library, (kind, text))


def test_values_stand_beside_the_bands(design, library, tmp_path):
    rows = {
        row.what: row
        for row in beside_rows(evaluate(design, library), a_spec(tmp_path))
    }
    assert rows["frequency_cpm"].state == "in"
    assert rows["weight_g"].band == "55.75 to 58.75"
    assert rows["durability"].band == "at least 0.150, more is better"
    assert rows["ei_at_200.0_mm_n_m2"].state == "high"
    assert rows["tip_deflection_mm"].state == ""
    assert "impact" not in rows


def test_the_command_saves_and_never_writes_over_unasked(tmp_path):
    out = tmp_path / "new.toml"
    words = ["try", str(DESIGN), "--set", "body: wraps = 2.5", "--out", str(out)]
    assert main([*words, "--name", "a heavier one"]) == 0
    saved = read_design(out)
    assert saved.name == "a heavier one"
    assert saved.flags[3].wraps == 2.5
    before = out.read_bytes()
    assert main([*words, "--set", "body: wraps = 3"]) == 2
    assert out.read_bytes() == before
    assert main([*words, "--set", "body: wraps = 3", "--overwrite"]) == 0
    assert read_design(out).flags[3].wraps == 3.0
    assert [path.name for path in tmp_path.iterdir()] == ["new.toml"]


def test_the_command_shows_both_beside_the_bands(capsys):
    words = ["try", str(DESIGN), "--set", "body: wraps = 2.5", "--spec", str(SPEC)]
    assert main(words) == 0
    out = capsys.readouterr().out
    for text in ("Before", "250.0 to 254.0", "too high", "misses: ", "no substitute"):
        assert text in out
    assert main([*words, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["before"][0]["value"] < data["after"][0]["value"]
    assert data["misses"]


def test_a_changed_design_does_not_go_by_the_id_of_the_first(design, library):
    identity = design_id(design, library)
    named = replace(design, name=f"fairway {identity}")
    heavier = ("set", "body: wraps = 2.5")
    once = edited(named, library, heavier)
    assert once.name == f"fairway {identity} changed"
    assert edited(once, library, ("set", "body: wraps = 3")).name == once.name
    assert edited(named, library, ("set", "body: wraps = 2")).name == named.name
    assert edited(design, library, heavier).name == design.name


def test_the_spec_beside_a_sheet_gives_the_bands(tmp_path, capsys):
    folder = tmp_path / "made_from"
    folder.mkdir()
    for path, name in ((DESIGN, "design.toml"), (SPEC, "spec.toml")):
        (folder / name).write_text(path.read_text(encoding="utf-8"), encoding="utf-8")
    words = ["try", str(folder / "design.toml"), "--set", "body: wraps = 2.5"]
    assert main([*words, "--json"]) == 0
    rows = {row["what"]: row for row in json.loads(capsys.readouterr().out)["after"]}
    assert rows["frequency_cpm"]["asked"] == "250.0 to 254.0"
    # a spec that cannot be read any more does not keep a design from being tried
    (folder / "spec.toml").write_text("format = 1", encoding="utf-8")
    assert main([*words, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["after"]
    assert all(row["low"] is None for row in rows)


def test_what_cannot_be_built_by_a_hair_is_measured_all_the_same(
    design, library, tmp_path, capsys
):
    thin = ("set", "tip outer: wraps = 1")
    there = evaluate(edited(design, library, thin), library, must_build=False)
    across = there.metrics["tip_diameter"] * 1e3
    assert "0.612 mm of diameter are missing" in str(there.obstacles[0])
    assert 8.5 - across == pytest.approx(0.612, abs=6e-4)

    def tried(diameter, *more):
        words = ["--set", thin[1], "--set", f"finish: tip_diameter = {diameter:.6f} mm"]
        status = main(["try", str(DESIGN), *words, "--spec", str(SPEC), *more])
        return status, capsys.readouterr().out

    # a hair less than there is and a hair more differ by 1e-4 of the diameter, so by
    # some 4e-4 of what goes with its fourth power
    less, short = (json.loads(tried(across + x, "--json")[1]) for x in (-4e-4, 4e-4))
    assert (less["can_be_built"], short["can_be_built"]) == (True, False)
    for old, new in zip(less["after"], short["after"], strict=True):
        assert new["value"] == pytest.approx(old["value"], 1e-3, 1e-3), new["what"]
    assert less["before"] == short["before"] != short["after"]
    assert short["misses"][0].startswith("cannot be built: [finish], tip_diameter")
    assert not any("cannot be built" in line for line in less["misses"])

    out = tmp_path / "thin.toml"
    status, text = tried(across + 4e-4, "--out", str(out))
    assert status == 1
    assert "misses: cannot be built: [finish], tip_diameter" in text
    assert "less than 0.001 mm of diameter are missing" in text
    assert "build below the tip diameter by less than 0.001 mm" in text
    assert f"wrote {out}; it cannot be built yet" in text
    assert read_design(out).finish.tip_diameter == pytest.approx(across / 1e3 + 4e-7)
    assert tried(across - 4e-4)[0] == 0
    # and is explained, from the file that was saved
    assert main(["explain", str(out)]) == 1
    told = " ".join(capsys.readouterr().out.split())
    assert "cannot be built: [finish], tip_diameter" in told
    assert "less than 0.001 mm short of the tip diameter" in told


def test_a_change_that_leaves_no_wall_is_said_beside_what_was(capsys):
    words = ["try", str(DESIGN), "--set", "finish: grind = 1 mm"]
    assert main(words) == 1
    out = capsys.readouterr().out
    assert "misses: cannot be built: [finish], grind" in out
    weight = next(line for line in out.splitlines() if line.startswith("Weight"))
    assert weight.split() == ["Weight", "[g]", "58.67", "–", "–"]
    assert main([*words, "--json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert data["after"] is None
    assert data["before"][0]["value"] == pytest.approx(58.67, abs=0.005)


def test_a_design_that_was_found_is_named_once():
    assert titled("fairway 58 A1", "A1") == "fairway 58 A1"
    assert titled("fairway 58 A1 changed", "B2") == "fairway 58 A1 changed (B2)"
    assert titled("A12", "A1") == "A12 (A1)"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["try", str(DESIGN)], "nothing to try"),
        (["try", str(SCENARIOS), "--remove", "x"], "neither a design file nor a run"),
        (["try", str(DESIGN), "--design", "ab", "--remove", "x"], "is one design"),
        (["explain", str(SCENARIOS / "nothing.toml")], "no such file"),
        (["try", str(DESIGN), "--remov", "x"], "Did you mean '--remove'?"),
        (["try", str(DESIGN), "--remove", "hoop", "--name", " "], "empty"),
    ],
)
def test_what_is_asked_amiss_is_said(words, said, capsys):
    assert main(words) == 2
    assert said in capsys.readouterr().err
