"""Flat pieces against the closed forms of a cone's development and of a spiral."""

import dataclasses
import math

import numpy as np
import pytest
import shapely
from scipy.integrate import quad

from model import Flag, mean_cone, pieces_of
from tests.unit.shown_shafts import a_report, the_library

LIBRARY = the_library()

FRUSTUM = (
    "Bronshtein, Semendyayev, Musiol, Muehlig, Handbook of Mathematics, 5th ed., 2007, "
    "stereometry: lateral surface of a frustum pi l (R + r), development of a cone as "
    "a sector of radius l and angle 2 pi r / l; from memory"
)
SPIRAL = (
    "Bronshtein, Semendyayev, Musiol, Muehlig, Handbook of Mathematics, 5th ed., 2007, "
    "curves: arc length in polar coordinates, and the spiral of Archimedes; from memory"
)


def cut_of_cone(tip, butt, length, turns):
    """A report whose flag of given turns lies on a cone, without any thickness."""
    report = a_report()
    station = np.array([0.0, length])
    inner = np.array([tip, butt])
    flag = Flag(
        name="sector",
        material=report.flags[0].material,
        angle=0.0,
        is_pair=False,
        start=0.0,
        end=length,
        wraps=turns,
    )
    cut = dataclasses.replace(
        report.flags[0],
        angle=0.0,
        is_pair=False,
        pieces=1,
        cut_station=station,
        cut_width=turns * math.pi * 2.0 * inner,
        cut_inner=inner,
        cut_outer=inner,
        cut_length=length,
    )
    design = dataclasses.replace(report.design, flags=(flag,))
    return dataclasses.replace(report, design=design, flags=(cut,)), cut, flag


@pytest.mark.source(FRUSTUM)
@pytest.mark.parametrize(
    ("tip", "butt", "length", "turns"),
    [
        (2.5e-3, 7.0e-3, 1.1, 1.0),
        (2.5e-3, 7.0e-3, 1.1, 4.0),
        (4.0e-3, 9.0e-3, 0.4, 3.5),
        # far from any shaft, so that an arc and its chord are easily told apart
        (0.05, 0.15, 0.5, 0.7),
    ],
)
def test_a_piece_on_a_cone_is_a_sector_of_a_ring(tip, butt, length, turns):
    report, _, _ = cut_of_cone(tip, butt, length, turns)
    (piece,) = pieces_of(report, LIBRARY)
    slant = math.hypot(length, butt - tip)
    sine = (butt - tip) / slant
    inner, outer = tip / sine, butt / sine
    apex = np.array([-inner, 0.0])
    radius = np.hypot(*(piece.outline - apex).T)
    turned = np.arctan2(*(piece.outline - apex).T[::-1])
    assert radius.min() == pytest.approx(inner, rel=1e-9)
    assert radius.max() == pytest.approx(outer, rel=1e-9)
    # every corner lies on one of the two arcs, between the two straight edges
    off = np.minimum(np.abs(radius - inner), np.abs(radius - outer))
    assert off.max() < 1e-9
    assert turned.min() == pytest.approx(0.0, abs=1e-12)
    assert turned.max() == pytest.approx(turns * 2.0 * math.pi * sine, rel=1e-9)
    # chords of at most 2 mm cut off a little of the arcs
    area = turns * math.pi * (tip + butt) * slant
    assert piece.area == pytest.approx(area, rel=2e-5)


@pytest.mark.source(FRUSTUM)
def test_a_square_end_runs_out_of_square_by_the_height_of_the_arc():
    report, cut, flag = cut_of_cone(2.5e-3, 7.0e-3, 1.1, 4.0)
    (square,) = pieces_of(report, LIBRARY, ends="square")
    (arc,) = pieces_of(report, LIBRARY)
    cone = mean_cone(cut, flag)
    outer = 7.0e-3 / cone.sine
    drop = outer * (1.0 - math.cos(cut.cut_width[-1] / outer))
    corner = arc.outline[np.argmax(arc.outline[:, 1])]
    slant = math.hypot(1.1, 4.5e-3)
    assert slant - corner[0] == pytest.approx(drop, rel=1e-6)
    assert drop > 5e-3
    assert np.allclose(np.unique(square.outline[:, 0]), [0.0, 1.1])
    assert square.area == pytest.approx(arc.area, rel=3e-5)


@pytest.mark.source(SPIRAL)
def test_each_turn_is_as_long_as_what_it_lies_on():
    report = a_report()
    for cut in report.flags:
        for i in (0, -1):
            inner, outer = cut.cut_inner[i], cut.cut_outer[i]
            width = cut.cut_width[i]
            if width == 0.0:
                continue
            turns = width / (math.pi * (inner + outer))
            rise = (outer - inner) / (2.0 * math.pi * turns)
            length, _ = quad(
                lambda t, a=inner, b=rise: math.hypot(a + b * t, b),
                0.0,
                2.0 * math.pi * turns,
            )
            assert width == pytest.approx(length, rel=5e-4)
            if cut.is_pair:
                # where the second piece begins: half of the first turn
                half, _ = quad(
                    lambda t, a=inner, b=rise: math.hypot(a + b * t, b), 0.0, math.pi
                )
                pieces = [p for p in pieces_of(report, LIBRARY) if p.name == cut.name]
                assert pieces[1].offset[i] == pytest.approx(half, rel=5e-4)


@pytest.mark.source(FRUSTUM)
def test_developing_keeps_areas_between_any_edges():
    _, cut, flag = cut_of_cone(0.05, 0.15, 0.5, 0.7)
    cone = mean_cone(cut, flag)
    along = np.linspace(0.0, 0.5, 2001)
    across = 0.05 + 0.04 * np.sin(9.0 * along)
    edge = cone.flat(along, across)
    base = cone.flat(along, np.zeros_like(along))
    end = [
        cone.flat(np.full(400, x), np.linspace(0.0, w, 400))
        for x, w in ((0.5, across[-1]), (0.0, across[0]))
    ]
    ring = shapely.Polygon(np.vstack([base, end[0], edge[::-1], end[1][::-1]]))
    area = np.trapezoid(across, along) / math.sqrt(1.0 - cone.sine**2)
    assert ring.area == pytest.approx(area, rel=1e-5)
