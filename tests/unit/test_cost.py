"""Roll that a batch takes, counted by hand, and against pieces that are laid."""

from dataclasses import replace

import pytest

from model import Cutting, Design, evaluate, pieces_of
from optimiser.sheet import lays_of
from tests.unit.shown_shafts import LENGTH, a_flag, the_library, usual_design

LIBRARY = the_library()
ROLL, GAP, EDGE = 1.0, 0.003, 0.010
OWN = "standard-100"  # a prepreg that no flag of the usual design is of


def design(*flags, batch):
    usual = usual_design()
    assert all(flag.material != OWN for flag in usual.flags)
    assert LIBRARY.prepregs[OWN].roll_width == ROLL
    shaft = replace(usual.shaft, trim_tip=0.0, trim_butt=0.0)
    cutting = Cutting(gap=GAP, roll_edge=EDGE, batch=batch)
    flags = (*usual.flags, *flags)
    return replace(usual, shaft=shaft, flags=flags, cutting=cutting)


def rectangle(name, start, end, width):
    """A flag whose piece is a rectangle on the roll."""
    flag = a_flag(name, OWN, 0.0, start, end, 1.0)
    return replace(flag, wraps=None, width_tip=width, width_butt=width)


def taken(made: Design):
    """Length of roll that a batch takes of that prepreg."""
    report = evaluate(made, LIBRARY)
    areas = [f.area_gross for f in report.flags if f.material == OWN]
    return sum(areas) * made.cutting.batch / ROLL


def laid(made: Design):
    report = evaluate(made, LIBRARY)
    pieces = [p for p in pieces_of(report, LIBRARY) if p.material == OWN]
    (lay,) = lays_of(report, LIBRARY, pieces, int(made.cutting.batch))
    return lay.length


@pytest.mark.parametrize(
    ("batch", "rows"),
    # (980 + 3) / (117 + 3) = 8.2, so eight lie across the roll
    [(1, 1), (8, 1), (9, 2), (12, 2), (100, 13)],
)
def test_rectangles_are_counted_by_the_row(batch, rows):
    made = design(rectangle("long", 0.0, LENGTH, 0.117), batch=batch)
    assert taken(made) == pytest.approx(rows * (LENGTH + GAP), rel=1e-9)
    # their ends are arcs as a cone unrolls, a millimetre or two deep
    assert taken(made) == pytest.approx(laid(made), rel=0.005)


def test_short_pieces_lie_beside_the_last_row_of_long_ones():
    """Twelve long pieces are two rows, of which 983 - 4 x 120 = 503 mm are left free.

    Of short ones 400 mm long and 97 mm wide, two are as long as a long one and five lie
    side by side there: ten, and two in a row of their own.
    """
    assert 2 * 0.4 + GAP < LENGTH < 3 * 0.4
    long = rectangle("long", 0.0, LENGTH, 0.117)
    short = rectangle("short", 0.2, 0.6, 0.097)
    made = design(short, long, batch=12)
    assert taken(made) == pytest.approx(2 * (LENGTH + GAP) + 0.403, rel=1e-9)
    alone = taken(design(long, batch=12)) + taken(design(short, batch=12))
    assert taken(made) < alone
    # in proportion to what they take by themselves
    report = evaluate(made, LIBRARY)
    a, b = (f.area_gross for f in report.flags if f.material == OWN)
    assert 0.0 < a < b


def test_run_outs_lie_beside_run_outs():
    """Pieces that run out over half their length, two in a rectangle.

    One beyond the other they are 2 x 160 - 80 long and as wide as one, for less roll
    than side by side, where they are nearly twice as wide.
    """
    made = design(a_flag("tip", OWN, 0.0, 0.0, 0.160, 5.0, butt=0.080), batch=96)
    report = evaluate(made, LIBRARY)
    (flag,) = [f for f in report.flags if f.material == OWN]
    wide = max(flag.cut_width)
    pairs = int((ROLL - 2 * EDGE + GAP) // (wide + 2 * GAP))
    assert 96 % (2 * pairs) == 0
    assert taken(made) == pytest.approx(96 / (2 * pairs) * (0.240 + GAP), rel=1e-6)
    side_by_side = int((ROLL - 2 * EDGE + GAP) // (1.9 * wide))
    assert taken(made) < 0.8 * 96 / (2 * side_by_side) * (0.160 + GAP)


def test_pairs_of_one_prepreg_share_the_triangles_where_a_batch_ends():
    one = a_flag("one", OWN, 45.0, 0.0, LENGTH, 1.0, pair=True)
    two = replace(one, name="two")
    both, single = taken(design(one, two, batch=12)), taken(design(one, batch=12))
    assert single < both < 1.8 * single
    # of very many there is nothing to share
    both = taken(design(one, two, batch=100_000))
    single = taken(design(one, batch=100_000))
    assert both == pytest.approx(2 * single, rel=0.1)


@pytest.mark.parametrize("batch", [12, 100])
@pytest.mark.parametrize(
    "flags",
    [
        (a_flag("full", OWN, 0.0, 0.0, LENGTH, 2.0),),
        (a_flag("full", OWN, 0.0, 0.0, LENGTH, 3.0),),
        (a_flag("pair", OWN, 45.0, 0.0, LENGTH, 2.0, pair=True),),
        (
            a_flag("full", OWN, 0.0, 0.0, LENGTH, 2.0),
            a_flag("tip", OWN, 0.0, 0.0, 0.300, 3.0, butt=0.080),
        ),
    ],
    ids=["two wraps", "three wraps", "pair", "full and tip"],
)
def test_it_is_near_what_is_laid(flags, batch):
    made = design(*flags, batch=batch)
    assert taken(made) == pytest.approx(laid(made), rel=0.06)
