import math
from collections import Counter

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from model import Cutting, InputError, Piece, pieces_of
from optimiser.nesting import lay_pieces
from optimiser.nesting_units import profile
from tests.unit.shown_shafts import a_report, the_library

ROLL = 1.0
CUTTING = Cutting()
#: nothing that a knife could tell [m]
NOTHING = 5e-6


def a_piece(mark, angle, length, tip, butt, run_out=0.0, bow=0.0):
    corners = [(0.0, 0.0), (length, 0.0), (length, butt)]
    if bow:
        corners.append((0.5 * length, 0.5 * (tip + butt) + bow))
    corners.append((run_out, tip))
    if run_out:
        corners.append((0.0, 0.0))
    else:
        corners.append((0.0, tip))
    outline = np.array(list(dict.fromkeys(corners)))
    return Piece(
        mark=mark,
        flag=0,
        name=mark,
        material="any",
        angle=angle,
        outline=outline,
        start=0.0,
        offset=(0.0, 0.0),
        notches=np.empty((0, 4)),
        splices=np.empty((0, 4)),
    )


ANGLES = st.sampled_from([0, 0, 0, 15, 30, 45, -45, 60, -75, 90]).map(math.radians)


@st.composite
def kinds(draw):
    found = []
    for i in range(draw(st.integers(1, 4))):
        tip = draw(st.floats(0.015, 0.12))
        length = draw(st.floats(0.15, 0.9))
        found.append(
            a_piece(
                f"{i}",
                draw(ANGLES),
                length,
                tip,
                tip + draw(st.floats(0.0, 0.07)),
                run_out=draw(st.sampled_from([0.0, 0.3])) * length,
                bow=draw(st.sampled_from([0.0, 0.004, -0.004])),
            )
        )
    return found


def check(lay, pieces, batch, cutting, roll=ROLL):
    assert Counter(id(one.piece) for one in lay.laid) == {
        id(piece): batch for piece in pieces
    }
    for piece in pieces:
        shafts = [one.shaft for one in lay.laid if one.piece is piece]
        assert sorted(shafts) == list(range(batch))
    placed = [one.place(one.piece.outline) for one in lay.laid]
    for one, outline in zip(lay.laid, placed, strict=True):
        # fibres along the roll, and the piece seen on the same face
        own = np.array(
            [[0.0, 0.0], [math.cos(one.piece.angle), math.sin(one.piece.angle)]]
        )
        along = np.diff(one.place(own), axis=0)[0]
        assert abs(along[1]) < 1e-12
        assert abs(along[0]) == pytest.approx(1.0)
        assert shapely.LinearRing(outline).is_ccw
        assert shapely.Polygon(outline).area == pytest.approx(one.piece.area)
        assert outline[:, 1].min() >= cutting.roll_edge - NOTHING
        assert outline[:, 1].max() <= roll - cutting.roll_edge + NOTHING
        assert outline[:, 0].min() >= -NOTHING
        assert outline[:, 0].max() <= lay.length + NOTHING
    polygons = [shapely.Polygon(outline) for outline in placed]
    tree = shapely.STRtree(polygons)
    first, second = tree.query(polygons, predicate="dwithin", distance=cutting.gap)
    for i, j in zip(first, second, strict=True):
        if i < j:
            assert polygons[i].distance(polygons[j]) >= cutting.gap - NOTHING
    assert lay.area_net <= lay.area
    assert lay.mean_length <= lay.length + 1e-12


@settings(max_examples=10, deadline=None)
@given(kinds(), st.integers(1, 5), st.sampled_from([0.0, 0.003, 0.01]))
def test_pieces_never_overlap_never_leave_the_roll_never_turn_a_fibre(
    pieces, batch, gap
):
    cutting = Cutting(gap=gap)
    check(lay_pieces(pieces, ROLL, cutting, batch=batch), pieces, batch, cutting)


@settings(max_examples=40, deadline=None)
@given(kinds())
def test_a_profile_encloses_its_outline(pieces):
    for piece in pieces:
        outline = piece.outline - piece.outline.min(axis=0)
        left, right = profile([outline])
        y = np.arange(len(left)) * 0.5e-3
        ring = np.vstack(
            [np.column_stack([left, y]), np.column_stack([right, y])[::-1]]
        )
        around = shapely.buffer(shapely.Polygon(ring), NOTHING)
        assert around.contains(shapely.Polygon(outline))
        hull = shapely.Polygon(outline).convex_hull
        # what begins within a row counts in the whole row
        row = 0.5e-3 * np.ptp(outline[:, 0])
        assert around.area < 1.02 * hull.area + 2.0 * row + 1e-4


def test_a_real_shaft_is_laid_whole_and_apart():
    report, library = a_report(), the_library()
    pieces = pieces_of(report, library)
    for material in dict.fromkeys(piece.material for piece in pieces):
        mine = [piece for piece in pieces if piece.material == material]
        width = library.prepregs[material].roll_width
        lay = lay_pieces(mine, width, report.design.cutting, batch=7)
        check(lay, mine, 7, report.design.cutting, width)


def test_rectangles_that_fill_the_roll_leave_only_gaps():
    # nineteen of 48 mm with 3 mm between them are 966 mm of the 980 between the edges
    piece = a_piece("strip", 0.0, 0.5, 0.048, 0.048)
    lay = lay_pieces([piece], ROLL, CUTTING, batch=38)
    assert lay.length == pytest.approx(2 * 0.503, abs=1e-3)


def test_trapezia_go_head_to_tail():
    piece = a_piece("trapezium", 0.0, 1.0, 0.040, 0.100)
    lay = lay_pieces([piece], ROLL, CUTTING, batch=12)
    # in twos 140 mm wide and their gaps, six of them across the roll
    assert lay.length == pytest.approx(1.003, abs=2e-3)
    assert Counter(one.turned for one in lay.laid) == {False: 6, True: 6}


def test_run_outs_go_head_to_tail_in_one_lane():
    piece = a_piece("wedge", 0.0, 0.4, 0.300, 0.300, run_out=0.2)
    lay = lay_pieces([piece], ROLL, CUTTING, batch=6)
    # three lanes of two, each pair 400 + 200 mm and what two gaps take
    assert lay.length == pytest.approx(0.6066, abs=2e-3)


def test_a_bias_piece_of_full_length_takes_its_slanting_strip():
    piece = a_piece("bias", math.radians(45), 1.09, 0.08, 0.08)
    few, many = (lay_pieces([piece], ROLL, CUTTING, batch=n) for n in (20, 40))
    pitch = (many.length - few.length) / 20
    assert pitch == pytest.approx(0.083 * math.sqrt(2.0), rel=5e-3)


def test_the_lay_does_not_depend_on_chance():
    pieces = [
        a_piece("a", 0.0, 0.6, 0.04, 0.07),
        a_piece("b", math.radians(45), 0.5, 0.05, 0.08),
    ]
    first, second = (lay_pieces(pieces, ROLL, CUTTING, batch=5) for _ in range(2))
    assert [(o.x, o.y, o.turned) for o in first.laid] == [
        (o.x, o.y, o.turned) for o in second.laid
    ]


@pytest.mark.usefixtures("brisk_lays_once")
def test_pieces_wider_than_the_roll_are_refused_all_at_once():
    wide = [a_piece(m, math.radians(90), 1.2, 0.04, 0.05) for m in ("3", "8A")]
    fits = a_piece("1", 0.0, 1.2, 0.04, 0.05)
    with pytest.raises(InputError) as error:
        lay_pieces([wide[0], fits, wide[1]], ROLL, CUTTING)
    assert len(error.value.faults) == 2
    assert "piece 3 of 3 lies 1200.0 mm wide" in error.value.faults[0].message
    assert "980.0 mm" in error.value.faults[1].message


@pytest.mark.usefixtures("brisk_lays_once")
@pytest.mark.parametrize("angle", [30, 45, -60, 75, 90])
def test_a_piece_that_just_fits_from_corner_to_corner_is_laid(angle):
    turn = math.radians(angle)
    sine, cosine = abs(math.sin(turn)), math.cos(turn)
    usable = ROLL - 2.0 * CUTTING.roll_edge
    breadth = 0.06
    length = (usable - breadth * cosine) / sine  # its diagonal corners touch the edges
    piece = a_piece("whole", turn, length, breadth, breadth)
    lay = lay_pieces([piece], ROLL, CUTTING, batch=3)
    check(lay, [piece], 3, CUTTING)
    longer = a_piece("longer", turn, length + 2e-3, breadth, breadth)
    with pytest.raises(InputError, match="can be used"):
        lay_pieces([longer], ROLL, CUTTING)
