"""The ply that governs, against a loop over plies; ties go to the first rolled."""

import numpy as np
import pytest

from model.failure import MODES, ply_margins
from model.governing import CRACK, FIBRE, QUADRATIC, Rings, governing_plies
from tests.tubes import Layer, Tube, kaw_ply, ply_of

STIFF = ply_of(350e9, 6e9, 4.2e9, 0.28, 1750e6, 875e6, 30e6, 120e6, 54e6)
WALL = (
    Layer(kaw_ply(), 45, 0.3e-3, is_pair=True),
    Layer(STIFF, 30, 0.1e-3),
    Layer(kaw_ply(), 0, 0.5e-3),
)


@pytest.mark.parametrize("load", ["bending", "torsion"])
@pytest.mark.parametrize("drop", [0.0, 100.0])
def test_the_least_margin_of_all_plies(load, drop):
    tube = Tube(5e-3, WALL, drop=drop)
    field = getattr(tube, load)[:, 0]
    size = 0.5 if load == "bending" else 10.0
    each = [
        ply_margins(
            tube.rings.limits[k],
            *tube.rings.angles[k],
            WALL[k].is_pair,
            size * (field[0] + field[1] * tube.r_out[k, 0]),
            size * (field[2] + field[5] * tube.r_out[k, 0]),
            size * (field[3] + field[4] * tube.r_out[k, 0]),
            *tube.free[:, 0],
        )
        for k in range(3)
    ]
    found = governing_plies(
        tube.rings, getattr(tube, load), np.array([size]), tube.free
    )
    for row in (FIBRE, CRACK, QUADRATIC):
        margins = [ply[2 * row] for ply in each]
        k = int(np.argmin(margins))
        assert found.margin[row, 0] == pytest.approx(margins[k], rel=1e-12)
        assert found.ring[row, 0] == k
        assert found.mode[row, 0] == each[k][2 * row + 1]


def test_ties_go_to_the_ply_rolled_first():
    tube = Tube(5e-3, WALL)
    rings = tube.rings
    # twice the same ring, as two flags of equal radius would be
    order = [2, 2]
    twice = Rings(*(part[order] for part in rings))
    found = governing_plies(twice, tube.bending, np.ones(1))
    assert found.ring[:, 0].tolist() == [0, 0, 0]
    assert MODES[found.mode[FIBRE, 0]] == "fibre tension"


def test_unloaded_points_and_rings_ground_away_are_left_out():
    tube = Tube(5e-3, (*WALL, Layer(STIFF, 0, 0.0)))
    assert governing_plies(tube.rings, tube.bending, np.zeros(1)).ring[0, 0] == -1
    found = governing_plies(tube.rings, tube.bending, np.ones(1))
    assert found.ring[FIBRE, 0] == 1
    assert np.all(found.ring >= 0)
    nothing = governing_plies(tube.rings, tube.bending, np.zeros(1)).margin
    assert np.all(np.isinf(nothing))
