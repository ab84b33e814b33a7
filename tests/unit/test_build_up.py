"""Build-up of the wall: straight edges, stepped mandrels, grinding, taper tips."""

from dataclasses import replace
from math import pi

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model import (
    Bench,
    Design,
    Finish,
    Flag,
    InputError,
    Mandrel,
    Shaft,
    design_from_text,
    design_to_text,
    evaluate,
    read_library,
)

LIBRARY = read_library()
LENGTH = 1.0


def library_with(*breaks):
    """The packaged library with one mandrel, given as (distance, diameter)."""
    distance, diameter = zip(*breaks, strict=True)
    core = Mandrel(name="core", distance=distance, diameter=diameter)
    return replace(LIBRARY, mandrels={"core": core})


def shaft_of(*flags, finish=None, length=LENGTH):
    return Design(
        name="a study",
        shaft=Shaft(length=length, mandrel="core", mandrel_set=0.0),
        finish=finish or Finish(),
        flags=flags,
        bench=Bench(),
    )


def flag(name, **changes):
    usual = {
        "material": "standard-125",
        "angle": 0.0,
        "is_pair": False,
        "start": 0.0,
        "end": LENGTH,
        "wraps": 3.0,
    }
    return Flag(name=name, **{**usual, **changes})


CONE = library_with((0.0, 5e-3), (1.2, 14e-3))
#: A mandrel whose middle is thinner than the line between its ends.
STEPPED = library_with((0.0, 5e-3), (0.5, 6e-3), (1.2, 14e-3))


def cut_of(report, name):
    return next(one for one in report.flags if one.name == name)


def test_widths_of_whole_turns_give_whole_turns_on_a_straight_cone():
    by_wraps = evaluate(shaft_of(flag("body")), CONE)
    width = cut_of(by_wraps, "body").cut_width
    straight = flag("body", wraps=0.0, width_tip=width[0], width_butt=width[-1])
    by_width = evaluate(shaft_of(straight), CONE)
    found = cut_of(by_width, "body")
    assert found.wraps_least == pytest.approx(3.0, abs=1e-5)
    assert found.wraps_most == pytest.approx(3.0, abs=1e-5)
    for key in ("weight", "frequency", "torque", "balance_point"):
        assert by_width.metrics[key] == pytest.approx(by_wraps.metrics[key], rel=1e-5)


@pytest.mark.parametrize(("is_pair", "pieces"), [(False, 1), (True, 2)])
def test_a_straight_edge_gives_fractions_on_a_stepped_mandrel(is_pair, pieces):
    """At the break the turns solve w = n pi (d + pieces n t), by hand."""
    angle = np.radians(45.0) if is_pair else 0.0
    common = {"is_pair": is_pair, "angle": angle, "wraps": 0.0}
    body = flag("body", **common, width_tip=0.060, width_butt=0.120)
    report = evaluate(shaft_of(body, flag("cover")), STEPPED)
    t = LIBRARY.prepregs["standard-125"].cured().thickness
    here = np.abs(report.profile.station - 0.5) < 1e-9
    inner = report.profile.inner_diameter[here][0]
    width = 0.090
    n = (-inner + np.sqrt(inner**2 + 4 * pieces * t * width / pi)) / (2 * pieces * t)
    assert n % 1 == pytest.approx(n - int(n))
    cover = 3.0 * t
    outer = report.profile.outer_diameter[here][0]
    assert (outer - inner) / 2 == pytest.approx(pieces * n * t + cover, rel=1e-9)
    cut = cut_of(report, "body")
    assert cut.wraps_least < n <= cut.wraps_most + 1e-9
    assert cut.area_net == pytest.approx(pieces * 0.090 * LENGTH, rel=1e-12)
    assert cut.cut_width[[0, -1]] == pytest.approx([0.060, 0.120])


def test_cut_width_follows_the_diameter_at_every_mandrel_break():
    report = evaluate(shaft_of(flag("body")), STEPPED)
    cut = cut_of(report, "body")
    t = LIBRARY.prepregs["standard-125"].cured().thickness
    assert 0.5 in np.round(cut.cut_station, 9)
    d = np.interp(cut.cut_station, [0.0, 0.5, 1.2], [5e-3, 6e-3, 14e-3])
    assert cut.cut_width == pytest.approx(3 * pi * (d + 3 * t), rel=1e-12)


@given(tip=st.floats(0.02, 0.2), butt=st.floats(0.02, 0.3), pair=st.booleans())
@settings(max_examples=25, deadline=None)
def test_rolled_area_is_what_was_cut(tip, butt, pair):
    """Thickness times mean circumference of the ring is the area of the piece."""
    angle = np.radians(30.0) if pair else 0.0
    body = flag(
        "body", wraps=0.0, width_tip=tip, width_butt=butt, is_pair=pair, angle=angle
    )
    t = LIBRARY.prepregs["standard-125"].cured().thickness
    report = evaluate(shaft_of(body), STEPPED)
    outer, inner = report.profile.outer_diameter, report.profile.inner_diameter
    volume = np.trapezoid(pi / 4 * (outer**2 - inner**2), report.profile.station)
    assert volume == pytest.approx(cut_of(report, "body").area_net * t, rel=2e-5)


def test_a_straight_edged_design_reads_back_equal():
    design = shaft_of(flag("body", wraps=0.0, width_tip=0.06, width_butt=0.12))
    text = design_to_text(design)
    assert 'width = { tip = "60 mm", butt = "120 mm" }' in text
    assert "wraps" not in text
    assert design_from_text(text, "text", STEPPED) == design


def test_grinding_reports_the_mass_and_plies_it_takes():
    t = LIBRARY.prepregs["standard-125"].cured().thickness
    density = LIBRARY.prepregs["standard-125"].cured().density
    bare = evaluate(shaft_of(flag("body"), flag("cover", wraps=2.0)), CONE)
    ground = evaluate(
        shaft_of(flag("body"), flag("cover", wraps=2.0), finish=Finish(grind=1.5 * t)),
        CONE,
    )
    cover, body = cut_of(ground, "cover"), cut_of(ground, "body")
    assert cover.plies_ground == pytest.approx(1.5, rel=1e-6)
    assert body.plies_ground == 0.0
    assert body.mass_ground == pytest.approx(0.0, abs=1e-12)
    lost = bare.metrics["weight"] - ground.metrics["weight"]
    assert ground.mass_ground == pytest.approx(lost, rel=1e-9)
    # a shell of 1.5 plies at the outside, on a mean diameter half a depth further in
    outer = bare.profile.outer_diameter
    shell = density * np.trapezoid(
        pi * (outer - 1.5 * t) * 1.5 * t, bare.profile.station
    )
    assert lost == pytest.approx(shell, rel=1e-6)


def test_a_taper_tip_grows_as_it_is_asked_to():
    """0.355 in at the end, growing 0.0075 in per inch (an invented taper)."""
    finish = Finish(tip_diameter=0.355 * 0.0254, tip_parallel=0.1, tip_taper=0.0075)
    thick = library_with((0.0, 6e-3), (1.2, 14e-3))
    report = evaluate(shaft_of(flag("body", wraps=18.0), finish=finish), thick)
    tip = report.profile.station < 0.1 - 1e-9
    x = report.profile.station[tip]
    wanted = 0.355 * 0.0254 + 0.0075 * x
    assert report.profile.outer_diameter[tip] == pytest.approx(wanted, rel=1e-9)


def test_a_build_too_thin_says_how_many_millimetres_are_missing():
    finish = Finish(tip_diameter=8.5e-3, tip_parallel=0.076)
    with pytest.raises(InputError, match=r"2\.\d{3} mm of diameter are missing"):
        evaluate(shaft_of(flag("body"), flag("cover", wraps=1.0), finish=finish), CONE)


# -------------------------------------------------------------- facade of the physics


def test_exact_evaluation_is_near_the_fast_one():
    design = shaft_of(
        flag("pair", is_pair=True, angle=np.radians(45.0), wraps=3.0), flag("cover")
    )
    fast, exact = evaluate(design, CONE), evaluate(design, CONE, exact=True)
    assert exact.metrics == fast.section.metrics
    for key in ("frequency", "torque", "durability"):
        assert exact.metrics[key] != fast.metrics[key]
        assert exact.metrics[key] == pytest.approx(fast.metrics[key], rel=2e-3)
    EI = fast.profile.EI / exact.profile.EI - 1.0
    assert fast.section.EI_difference == pytest.approx(EI[np.argmax(np.abs(EI))])
    assert fast.section.worst < 0.002
    envelope = next(p for p in exact.strength if p.name == "envelope")
    assert envelope.margin == pytest.approx(exact.metrics["durability"], rel=1e-9)


def test_all_flags_may_have_run_out_where_the_shaft_is_trimmed():
    """What lies in the trim is cut off, so that nothing need be left at its end."""
    whole = flag("body"), flag("cover")
    ending = tuple(replace(one, run_out_butt=0.010) for one in whole)
    trimmed = replace(shaft_of(*ending).shaft, trim_tip=0.0, trim_butt=0.015)
    for exact in (False, True):
        plain, run_out = (
            evaluate(replace(shaft_of(*flags), shaft=trimmed), CONE, exact=exact)
            for flags in (whole, ending)
        )
        np.testing.assert_allclose(run_out.profile.EI, plain.profile.EI, rtol=1e-12)
        for key in ("weight", "frequency", "torque", "durability"):
            assert run_out.metrics[key] == pytest.approx(plain.metrics[key], rel=1e-9)


def test_a_single_angle_is_warned_of_with_the_equipment_rule():
    single = flag("twisted", angle=np.radians(30.0))
    report = evaluate(shaft_of(single, flag("cover")), CONE)
    assert any("Equipment Rules (2019), part 2, 2b" in said for said in report.warnings)
    assert np.abs(report.profile.coupling).min() > 1.0
    balanced = evaluate(
        shaft_of(flag("pair", is_pair=True, angle=np.radians(30.0)), flag("cover")),
        CONE,
    )
    # the +30 ply of each turn lies inside the -30 ply, so a little is left over
    share = np.abs(balanced.profile.coupling) / np.abs(report.profile.coupling)
    assert share.mean() < 0.1
    assert not any("Equipment" in said for said in balanced.warnings)


def test_a_fast_section_that_is_off_is_said_to_be():
    """Stiff fibre at 25 degrees in a thick tip, where the fast section is worst."""
    narrow = library_with((0.0, 4e-3), (1.2, 5e-3))
    stiff = next(
        name for name, p in LIBRARY.prepregs.items() if p.fibre.fibre_class == "pitch"
    )
    design = shaft_of(
        flag("hoop", material=stiff, angle=pi / 2, wraps=1.0),
        flag("pair", material=stiff, is_pair=True, angle=np.radians(25.0), wraps=6.0),
        flag("cover", material=stiff, wraps=5.0),
    )
    report = evaluate(design, narrow)
    assert abs(report.section.EI_difference) > 0.01
    assert any("evaluate it with the exact section" in said for said in report.warnings)


def test_what_breaks_is_named():
    design = shaft_of(
        flag("pair", is_pair=True, angle=np.radians(45.0), wraps=3.0), flag("cover")
    )
    bench = Bench(impact_moment=40.0, crush_load=50.0)
    report = evaluate(replace(design, bench=bench), CONE)
    found = {one.name: one for one in report.breaking}
    assert set(found) == {"torsion", "crushing", "impact"}
    assert found["torsion"].flag == "pair"
    assert found["torsion"].load == report.metrics["torsion_strength"]
    assert found["crushing"].margin == pytest.approx(
        report.metrics["crush_load"] / 50.0 - 1.0
    )
    assert found["impact"].margin == report.metrics["impact"]
    assert found["impact"].load == pytest.approx(40.0 * (1 + found["impact"].margin))


def test_straight_plies_alone_break_in_torsion_by_shear():
    report = evaluate(shaft_of(flag("body", wraps=5.0)), CONE)
    torsion = next(one for one in report.breaking if one.name == "torsion")
    assert torsion.mode == "shear of every ply"


def test_cooling_and_the_quadratic_criterion_lower_what_is_borne():
    design = shaft_of(
        flag("pair", is_pair=True, angle=np.radians(45.0), wraps=3.0), flag("cover")
    )
    plain = evaluate(design, CONE)
    for bench in (
        Bench(strength_criterion="quadratic"),
        Bench(strength_criterion="quadratic", temperature_drop=100.0),
    ):
        other = evaluate(replace(design, bench=bench), CONE)
        assert other.metrics["durability"] < plain.metrics["durability"]
        assert other.design_id != plain.design_id
        envelope = next(p for p in other.strength if p.name == "envelope")
        assert envelope.mode.startswith("quadratic, ")
        assert envelope.margin == pytest.approx(other.metrics["durability"], rel=1e-9)
