import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
import shapely

from model import evaluate, pieces_of, read_design, read_library

LIBRARY = read_library()
DESIGNS = Path(__file__).parents[2] / "scenarios" / "designs"


def report_of(name, **changes):
    design = read_design(DESIGNS / f"{name}.toml", LIBRARY)
    return evaluate(dataclasses.replace(design, **changes), LIBRARY)


REPORTS = {name: report_of(name) for name in ("fairway-60", "iron-95")}


@pytest.mark.parametrize("name", REPORTS)
@pytest.mark.parametrize("ends", ["developed", "square"])
def test_areas_are_those_that_are_paid_for(name, ends):
    report = REPORTS[name]
    pieces = pieces_of(report, LIBRARY, ends=ends)
    for k, cut in enumerate(report.flags):
        area = sum(piece.area for piece in pieces if piece.flag == k)
        assert area == pytest.approx(cut.area_net, rel=2e-4)


def test_areas_hold_where_many_turns_run_out_over_a_short_length():
    report = REPORTS["fairway-60"]
    flag = dataclasses.replace(
        report.design.flags[0], wraps=7.0, end=0.230, run_out_butt=0.080
    )
    report = report_of("fairway-60", flags=(flag, *report.design.flags[1:]))
    (piece,) = (p for p in pieces_of(report, LIBRARY) if p.flag == 0)
    assert piece.area == pytest.approx(report.flags[0].area_net, rel=2e-4)


@pytest.mark.parametrize("name", REPORTS)
@pytest.mark.parametrize("ends", ["developed", "square"])
@pytest.mark.parametrize("turn_over", [False, True])
def test_outlines_are_sound(name, ends, turn_over):
    for piece in pieces_of(REPORTS[name], LIBRARY, ends=ends, turn_over=turn_over):
        ring = shapely.LinearRing(piece.outline)
        assert ring.is_simple
        assert ring.is_ccw
        for u, v, along, across in piece.notches:
            assert ring.distance(shapely.Point(u, v)) < 1e-5
            assert math.hypot(along, across) == pytest.approx(1.0)
            inside = shapely.Point(u + 2e-3 * along, v + 2e-3 * across)
            assert shapely.Polygon(piece.outline).contains(inside)


def test_the_straight_edge_is_straight_and_as_long_as_the_flag():
    report = REPORTS["fairway-60"]
    for piece in pieces_of(report, LIBRARY):
        if "." in piece.mark:
            continue
        cut = report.flags[piece.flag]
        edge = piece.outline[np.abs(piece.outline[:, 1]) < 1e-9]
        assert edge[0, 0] == 0.0
        assert edge[:, 0].max() == pytest.approx(cut.cut_length, rel=1e-4)
        assert piece.outline[:, 1].min() == 0.0


def test_square_pieces_have_the_widths_of_the_sheet():
    report = REPORTS["iron-95"]
    for piece in pieces_of(report, LIBRARY, ends="square"):
        if "." in piece.mark:
            continue
        cut = report.flags[piece.flag]
        corners = {(round(u, 9), round(v, 9)) for u, v in piece.outline}
        for x, w in zip(cut.cut_station, cut.cut_width, strict=True):
            assert (round(x - cut.cut_station[0], 9), round(w, 9)) in corners


def test_a_pair_is_two_pieces_whose_fibres_are_mirrored():
    first, second = (
        p for p in pieces_of(REPORTS["fairway-60"], LIBRARY) if p.flag == 1
    )
    assert (first.mark, second.mark) == ("2A", "2B")
    assert first.angle == pytest.approx(math.radians(45))
    assert second.angle == -first.angle
    assert np.array_equal(first.outline, second.outline)
    assert first.offset == (0.0, 0.0)
    # half of a third of three turns, less for the growth of the later ones
    for offset, width in zip(second.offset, (0.0602, 0.1322), strict=True):
        assert 0.85 < offset / (width / 6.0) < 1.0


def test_turned_over_the_second_piece_is_the_mirror_image_at_the_same_angle():
    pieces = pieces_of(REPORTS["fairway-60"], LIBRARY, turn_over=True)
    first, second = (p for p in pieces if p.flag == 1)
    assert second.angle == first.angle
    assert second.area == pytest.approx(first.area)
    mirrored = {(round(u, 9), round(-v, 9)) for u, v in first.outline}
    assert mirrored == {(round(u, 9), round(v, 9)) for u, v in second.outline}


def test_a_hoop_wider_than_its_roll_is_joined_along_its_fibres():
    report = REPORTS["fairway-60"]
    parts = [p for p in pieces_of(report, LIBRARY) if p.flag == 2]
    cutting = report.design.cutting
    usable = LIBRARY.prepregs["standard-30"].roll_width - 2.0 * cutting.roll_edge
    assert [p.mark for p in parts] == ["3.1", "3.2"]
    assert len(parts) == report.flags[2].splices + 1
    for part in parts:
        # the fibres run across the flag, so its length lies across the roll
        assert np.ptp(part.outline[:, 0]) <= usable + 1e-9
        ((u1, v1, u2, v2),) = part.splices
        assert math.atan2(v2 - v1, u2 - u1) == pytest.approx(math.pi / 2)
    together = shapely.union_all([shapely.Polygon(p.outline) for p in parts])
    assert together.geom_type == "Polygon"
    assert together.area == pytest.approx(report.flags[2].area_net, rel=1e-3)


def test_a_splice_that_would_leave_a_sliver_is_moved():
    report = REPORTS["fairway-60"]
    cutting = dataclasses.replace(report.design.cutting, roll_edge=0.0)
    design = dataclasses.replace(report.design, cutting=cutting)
    prepreg = dataclasses.replace(LIBRARY.prepregs["standard-30"], roll_width=1.085)
    library = dataclasses.replace(
        LIBRARY, prepregs={**LIBRARY.prepregs, "standard-30": prepreg}
    )
    parts = [
        p
        for p in pieces_of(dataclasses.replace(report, design=design), library)
        if p.flag == 2
    ]
    widths = sorted(float(np.ptp(p.outline[:, 0])) for p in parts)
    assert widths[0] == pytest.approx(0.05, abs=1e-6)
    # the end at the tip is an arc, a quarter of a millimetre high
    assert sum(widths) == pytest.approx(1.092, abs=3e-4)


def test_a_piece_of_given_widths_has_straight_edges():
    report = REPORTS["fairway-60"]
    flag = dataclasses.replace(
        report.design.flags[3], wraps=0.0, width_tip=0.050, width_butt=0.090
    )
    flags = (*report.design.flags[:3], flag, *report.design.flags[4:])
    (piece,) = (
        p
        for p in pieces_of(report_of("fairway-60", flags=flags), LIBRARY, ends="square")
        if p.flag == 3
    )
    assert len(piece.outline) == 4
    heights = piece.outline[piece.outline[:, 1] > 0.0]
    assert sorted(heights[:, 1]) == pytest.approx([0.050, 0.090])


def test_an_overlap_widens_every_piece_along_its_wound_edge():
    report = REPORTS["iron-95"]
    wider = pieces_of(report, LIBRARY, overlap=0.002)
    for plain, wide in zip(pieces_of(report, LIBRARY), wider, strict=True):
        if len(plain.splices) or len(wide.splices):
            continue
        long = np.ptp(plain.outline[:, 0])
        # the wound edge of a cone is a little longer than the straight one
        assert wide.area - plain.area == pytest.approx(0.002 * long, rel=0.02)
        np.testing.assert_allclose(wide.notches, plain.notches, atol=1e-9)
