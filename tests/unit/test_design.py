"""Design files: round trips, ids, what is settled."""

import math
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model import (
    Bench,
    Costs,
    Cutting,
    Design,
    Finish,
    Flag,
    InputError,
    Shaft,
    design_from_text,
    design_id,
    design_to_text,
    evaluate,
    open_design,
    read_design,
    read_library,
)

LIBRARY = read_library()
DESIGNS = Path(__file__).parents[2] / "scenarios" / "designs"
FAIRWAY = DESIGNS / "fairway-60.toml"

names = st.text(
    st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=12
)
materials = st.sampled_from(sorted(LIBRARY.prepregs))
whole_length = st.floats(0.5, 1.1)


def lengths(least, most):
    return st.floats(least, most)


@st.composite
def flags(draw, length):
    is_pair = draw(st.booleans())
    start = draw(lengths(0.0, length - 0.01))
    end = draw(lengths(start + 0.002, length))
    room = (end - start) / 2.1
    return Flag(
        name=draw(names),
        material=draw(materials),
        angle=math.radians(draw(st.floats(0.01, 89.9) if is_pair else st.just(0.0))),
        is_pair=is_pair,
        start=start,
        end=end,
        wraps=draw(st.floats(0.01, 12)),
        run_out_tip=draw(st.just(0.0) | lengths(0.0, room)),
        run_out_butt=draw(st.just(0.0) | lengths(0.0, room)),
        clock=draw(st.none() | st.floats(-6.2, 6.2)),
    )


@st.composite
def designs(draw):
    shaft = Shaft(
        length=draw(whole_length),
        mandrel=draw(st.sampled_from(sorted(LIBRARY.mandrels))),
        mandrel_set=draw(lengths(0.03, 0.1)),
        trim_tip=draw(lengths(0.0, 0.02)),
        trim_butt=draw(lengths(0.0, 0.02)),
    )
    whole = draw(flags(shaft.length))
    whole = replace(
        whole, start=0.0, end=shaft.length, run_out_tip=0.0, run_out_butt=0.0
    )
    ground = draw(st.booleans())
    return Design(
        name=draw(names),
        shaft=shaft,
        finish=Finish(
            grind=draw(lengths(0.0, 1e-3)),
            tip_diameter=draw(lengths(5e-3, 12e-3)) if ground else None,
            tip_parallel=draw(lengths(0.01, 0.2)) if ground else 0.0,
            tip_blend=draw(lengths(0.0, 0.1)) if ground else 0.0,
            tip_taper=draw(st.floats(0.0, 0.05)) if ground else 0.0,
            coating=draw(st.floats(0.0, 0.2)),
            resin_bleed=draw(st.floats(0.0, 0.03)),
        ),
        flags=(whole, *draw(st.lists(flags(shaft.length), max_size=4))),
        bench=Bench(
            tip_mass=draw(st.floats(0.0, 0.4)),
            tip_mass_inertia=draw(st.floats(0.0, 1e-3)),
            torque_moment=draw(st.floats(0.1, 3.0)),
            butt_load=draw(st.floats(1.0, 40.0)),
        ),
        cutting=Cutting(
            gap=draw(lengths(0.0, 0.01)),
            splice_from=draw(st.floats(0, 1.5)),
            batch=draw(st.integers(1, 1000)),
        ),
        costs=Costs(
            labour_per_flag=draw(st.floats(0.0, 10.0)), scrap=draw(st.floats(0.0, 0.5))
        ),
    )


@settings(deadline=None)
@given(designs())
def test_written_design_reads_back_equal(design):
    text = design_to_text(design)
    again = design_from_text(text, "text", LIBRARY)
    assert again == design
    assert design_to_text(again) == text
    assert design_id(again, LIBRARY) == design_id(design, LIBRARY)


@settings(deadline=None)
@given(designs())
def test_numbers_are_settled_once(design):
    for part in (design.shaft, design.finish, design.bench, design.cutting):
        assert replace(part) == part
    for flag in design.flags:
        assert replace(flag) == flag


def test_lengths_are_kept_to_a_tenth_of_a_micrometre():
    shaft = Shaft(length=213 * 0.005 + 4e-8, mandrel="slim-5", mandrel_set=0.07)
    assert shaft.length == 1.065


def test_id_is_ten_hexadecimal_digits_and_ignores_names():
    design = read_design(FAIRWAY)
    first = design_id(design, LIBRARY)
    assert len(first) == 10
    assert int(first, 16) >= 0
    renamed = replace(
        design,
        name="another",
        flags=tuple(replace(flag, name=f"{flag.name} x") for flag in design.flags),
        library="elsewhere",
    )
    assert design_id(renamed, LIBRARY) == first


def test_id_ignores_the_names_of_materials_and_mandrels():
    design = read_design(FAIRWAY)
    prepregs = {
        f"{name}-x": replace(row, name=f"{name}-x", source="elsewhere")
        for name, row in LIBRARY.prepregs.items()
    }
    mandrels = {
        f"{name}-x": replace(row, name=f"{name}-x")
        for name, row in LIBRARY.mandrels.items()
    }
    library = replace(LIBRARY, prepregs=prepregs, mandrels=mandrels)
    renamed = replace(
        design,
        shaft=replace(design.shaft, mandrel=f"{design.shaft.mandrel}-x"),
        flags=tuple(
            replace(flag, material=f"{flag.material}-x") for flag in design.flags
        ),
    )
    assert design_id(renamed, library) == design_id(design, LIBRARY)


def changed(design):
    """Pairs of a description and the design with one number changed."""
    flag = design.flags[0]
    rest = design.flags[1:]
    yield "order", replace(design, flags=(*rest, flag))
    for name in ("angle", "start", "end", "wraps", "run_out_tip", "run_out_butt"):
        moved = replace(flag, **{name: getattr(flag, name) + 1e-3})
        yield name, replace(design, flags=(moved, *rest))
    yield "pair", replace(design, flags=(replace(flag, is_pair=True), *rest))
    yield "clock", replace(design, flags=(replace(flag, clock=0.0), *rest))
    for part in ("shaft", "finish", "bench", "cutting"):
        table = getattr(design, part)
        for field in fields(table):
            value = getattr(table, field.name)
            if isinstance(value, float):
                moved = replace(table, **{field.name: value + 1e-6})
                yield f"{part} {field.name}", replace(design, **{part: moved})


def test_id_changes_with_every_number():
    design = read_design(FAIRWAY)
    ids = {"none": design_id(design, LIBRARY)}
    for name, other in changed(design):
        ids[name] = design_id(other, LIBRARY)
    assert len(ids) > 40
    assert len(set(ids.values())) == len(ids)


@pytest.mark.parametrize(
    "name", ["faw", "price", "strain_compression", "E1", "thickness", "roll_width"]
)
def test_id_changes_with_the_library_rows_it_uses(name):
    design = read_design(FAIRWAY)
    first = design_id(design, LIBRARY)

    def library_with(material):
        row = LIBRARY.prepregs[material]
        moved = replace(row, **{name: (getattr(row, name) or 1.0) * 1.01})
        return replace(LIBRARY, prepregs={**LIBRARY.prepregs, material: moved})

    assert design_id(design, library_with("standard-125")) != first
    assert design_id(design, library_with("pitch-75")) == first


def test_id_changes_with_the_fibre_and_the_mandrel():
    design = read_design(FAIRWAY)
    first = design_id(design, LIBRARY)
    row = LIBRARY.prepregs["standard-125"]
    stiffer = replace(row, fibre=replace(row.fibre, E1=row.fibre.E1 * 1.01))
    library = replace(LIBRARY, prepregs={**LIBRARY.prepregs, "standard-125": stiffer})
    assert design_id(design, library) != first
    mandrel = LIBRARY.mandrels[design.shaft.mandrel]
    thicker = replace(mandrel, diameter=(*mandrel.diameter[:-1], 0.014))
    library = replace(LIBRARY, mandrels={**LIBRARY.mandrels, mandrel.name: thicker})
    assert design_id(design, library) != first


@pytest.mark.parametrize("path", sorted(DESIGNS.glob("*.toml")), ids=lambda p: p.stem)
def test_shipped_designs_round_trip(path):
    design, library = open_design(path)
    assert design_from_text(design_to_text(design), "text", library) == design


def test_a_design_brings_its_own_library(tmp_path):
    shop = tmp_path / "shop"
    shop.mkdir()
    for name, text in LIBRARY.files.items():
        (shop / name).write_text(text.replace("standard-125", "ours"), encoding="utf-8")
    folder = tmp_path / "designs"
    folder.mkdir()
    text = FAIRWAY.read_text(encoding="utf-8").replace("standard-125", "ours")
    path = folder / "own.toml"
    path.write_text(
        text.replace("format = 1", 'format = 1\nlibrary = "../shop"'), "utf-8"
    )
    design, library = open_design(path)
    assert design.library == "../shop"
    assert "ours" in library.prepregs
    with pytest.raises(InputError, match="no such prepreg"):
        open_design(path, LIBRARY)


def test_run_out_of_one_length_counts_for_both_ends():
    text = FAIRWAY.read_text(encoding="utf-8")
    text = text.replace(
        'run_out = { tip = "0 mm", butt = "150 mm" }', 'run_out = "60 mm"'
    )
    flag = design_from_text(text, "text", LIBRARY).flags[0]
    assert (flag.run_out_tip, flag.run_out_butt) == (0.06, 0.06)


def test_fairway_wood_of_the_examples_is_plausible():
    """Ranges of usual shafts of this kind, common practice."""
    metrics = evaluate(*open_design(FAIRWAY)).metrics
    assert 0.058 < metrics["weight"] < 0.063
    assert 245 < metrics["frequency"] * 60 < 260
    assert 3.5 < math.degrees(metrics["torque"]) < 4.5
    assert metrics["tip_diameter"] == pytest.approx(0.0085, abs=1e-9)
    assert 0.0148 < metrics["butt_diameter"] < 0.0157
    assert metrics["durability"] > 0.1


def test_iron_blank_of_the_examples_is_plausible():
    """Ranges of usual shafts of this kind, common practice."""
    report = evaluate(*open_design(DESIGNS / "iron-95.toml"))
    metrics = report.metrics
    assert 0.092 < metrics["weight"] < 0.098
    assert 300 < metrics["frequency"] * 60 < 330
    assert math.degrees(metrics["torque"]) < 4.0
    assert 0.0149 < metrics["butt_diameter"] < 0.0153
    parallel = report.profile.station < 0.229
    assert report.profile.outer_diameter[parallel] == pytest.approx(0.0094, abs=1e-9)


scalars = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=8),
    st.sampled_from(["5 mm", "±45", "90", "nan mm", "2 g", "standard-125", "1e9 m"]),
)


@settings(deadline=None, max_examples=300)
@given(
    st.sampled_from(
        [
            '"1067 mm"',
            '"slim-5"',
            '"80 mm"',
            '"±45"',
            "wraps = 3",
            '"8.5 mm"',
            "0.01",
            "[",
        ]
    ),
    scalars,
)
def test_any_value_is_read_or_reported(target, value):
    """Whatever stands in place of a value, there is a design or an input error."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = f'"{value}"'
    else:
        text = str(value)
    design = FAIRWAY.read_text(encoding="utf-8").replace(target, text, 1)
    message = "text: "
    try:
        design_from_text(design, "text", LIBRARY)
    except InputError as error:
        message = str(error)
    assert message.startswith("text: ")
