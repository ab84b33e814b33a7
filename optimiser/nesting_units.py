"""Pieces as they lie on a roll: alone or two head to tail, and their profile across it.

X runs along the roll, Y across it; profiles stand on lines of equal Y, a pitch apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from numpy.typing import NDArray

if TYPE_CHECKING:
    from model import Piece

Array = NDArray[np.float64]

#: Distance of the lines along the roll. [m]
PITCH: Final = 0.5e-3
#: Shifts along a piece that are tried when two are laid head to tail.
_SHIFTS: Final = 40
#: Most shift of two pieces that lie head to tail, in lengths of theirs; None for that
#: with which they fill their rectangle best. All are tried.
STAGGERS: Final = (None, 0.1, 0.2, 0.35)
#: Sine of the angle to the roll below which a piece lies along it. [-]
_ALONG: Final = 0.15
#: What is not looked at. [m]
NOTHING: Final = 2e-6


@dataclass(frozen=True, slots=True)
class Unit:
    """One piece or two head to tail, turned as they lie on the roll."""

    left: Array  #: least X on each line from its lowest [m]
    right: Array  #: most X [m]
    #: turned by half a turn; place of u = v = 0 from the unit's left and lowest [m]
    members: tuple[tuple[bool, float, float], ...]
    lean: float  #: growth of X with Y along the pieces; none if they lie along X [-]

    @property
    def lines(self) -> int:
        """Lines that the unit covers."""
        return len(self.left)

    @property
    def depth(self) -> float:
        """Length along the roll, of what leans between lines of its own lean. [m]."""
        own = self.right - self.lean * PITCH * np.arange(self.lines)
        back = self.left - self.lean * PITCH * np.arange(self.lines)
        return float(own.max() - back.min())


@dataclass(slots=True)
class Kind:
    """Pieces that are alike, one a shaft."""

    piece: Piece
    ones: list[Unit]  #: one piece, both ways
    twos: list[list[Unit]]  #: for each stagger


def turned_by(points: Array, angle: float) -> Array:
    """Turn points about 0, 0.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Places. [m]
    angle : float
        Anticlockwise. [rad]

    Returns
    -------
    points : ndarray, shape (n, 2)
        Places. [m]
    """
    c, s = math.cos(angle), math.sin(angle)
    turned: Array = points @ np.array([[c, s], [-s, c]])
    return turned


def kind_of_piece(piece: Piece, gap: float, n_lines: int) -> Kind:
    """Units that a piece makes: alone in both directions, and two head to tail.

    Parameters
    ----------
    piece : Piece
        The piece. [SI]
    gap : float
        Cutting gap between pieces. [m]
    n_lines : int
        Lines that the width of the roll has room for. [-]

    Returns
    -------
    kind : Kind
        Its units, grown by half the gap. [SI]
    """
    grown = _grown(piece, gap / 2.0)
    nowhere = np.zeros(2)
    return Kind(
        piece=piece,
        ones=[
            _unit([(grown, turned, nowhere)], piece.roll_turn)
            for turned in (False, True)
        ],
        twos=[_head_to_tail(piece, grown, n_lines, stagger) for stagger in STAGGERS],
    )


def _grown(piece: Piece, by: float) -> Array:
    """Outline of a piece grown by a margin; across the roll by no more than that.

    A corner that is grown to a point reaches further out than the margin, so a piece
    that just fits the roll from corner to corner would not.
    """
    mitred = shapely.buffer(
        shapely.Polygon(piece.outline), by, join_style="mitre", mitre_limit=1.5
    )
    across = turned_by(piece.outline, piece.roll_turn)[:, 1]
    low, high = float(across.min()) - by, float(across.max()) + by
    band = np.array([[-1e2, low], [1e2, low], [1e2, high], [-1e2, high]])
    within = shapely.intersection(
        mitred, shapely.Polygon(turned_by(band, -piece.roll_turn))
    )
    corners: Array = shapely.get_coordinates(within)[:-1]
    return corners


def _unit(parts: list[tuple[Array, bool, Array]], roll_turn: float) -> Unit:
    """Turn the parts onto the roll and take their profile across it."""
    outlines, zeros = [], []
    sine = math.sin(roll_turn)
    for grown, turned, shift in parts:
        own = -grown if turned else grown
        outlines.append(turned_by(own + shift, roll_turn))
        zeros.append((turned, *turned_by(shift[None, :], roll_turn)[0]))
    corner = np.vstack(outlines).min(axis=0)
    left, right = profile([outline - corner for outline in outlines])
    return Unit(
        left=left,
        right=right,
        members=tuple(
            (turned, float(x - corner[0]), float(y - corner[1]))
            for turned, x, y in zeros
        ),
        lean=0.0 if abs(sine) < _ALONG else math.cos(roll_turn) / sine,
    )


def _head_to_tail(
    piece: Piece, grown: Array, n_lines: int, stagger: float | None
) -> list[Unit]:
    """Two pieces head to tail, and the same turned by half a turn.

    The second lies over the slanting edge of the first, with its own slanting edge.
    It is shifted along the first where the two then fill their rectangle best; or, with
    a stagger, by no more than that share of the length, where they lie closest.
    """
    low, second_low = grown.min(axis=0), (-grown).min(axis=0)
    # across the pieces as a function of the distance along them
    _, over = profile([(grown - low)[:, ::-1]])
    under, _ = profile([(-grown - second_low)[:, ::-1]])
    n, height = len(over), float(np.ptp(grown[:, 1]))
    most = 0.98 if stagger is None else stagger
    best: tuple[float, int, list[Unit]] | None = None
    step = most * n / _SHIFTS
    # over the whole range, then closely about the best
    for around in (False, True):
        middle, reach = (best[1], step) if around and best else (0, most * n)
        shifts = np.linspace(middle - reach, middle + reach, 2 * _SHIFTS + 1).astype(
            int
        )
        for shift in sorted(set(shifts.tolist()), key=abs):
            if abs(shift) >= n:
                continue
            a, b = max(0, shift), min(n, n + shift)
            rise = float((over[a:b] - under[a - shift : b - shift]).max())
            size = max(rise, 0.0) + height
            if stagger is None:
                size *= n + abs(shift)
            if best is not None and size > best[0] - PITCH:
                continue
            moved = np.array([shift * PITCH, rise]) + low - second_low
            here = np.zeros(2)
            units = [
                _unit([(grown, False, here), (grown, True, moved)], piece.roll_turn),
                _unit([(grown, True, here), (grown, False, -moved)], piece.roll_turn),
            ]
            if units[0].lines <= n_lines:
                best = (size, shift, units)
    return [] if best is None else best[2]


def profile(outlines: Sequence[Array]) -> tuple[Array, Array]:
    """Least and most X of outlines on lines of equal Y, a pitch apart.

    Parameters
    ----------
    outlines : sequence of ndarray, shape (n, 2)
        Closed polygons, lowest point of all at Y = 0. [m]

    Returns
    -------
    left, right : ndarray
        On lines from Y = 0; straight between lines, they enclose the outlines. [m]
    """
    top = max(float(outline[:, 1].max()) for outline in outlines)
    n = max(2, math.ceil((top - NOTHING) / PITCH) + 1)
    left, right = np.full(n, np.inf), np.full(n, -np.inf)
    for outline in outlines:
        ends = np.roll(outline, -1, axis=0)
        for (x1, y1), (x2, y2) in zip(outline, ends, strict=True):
            if y1 > y2:
                x1, y1, x2, y2 = x2, y2, x1, y1
            j1 = math.ceil((y1 - NOTHING) / PITCH)
            j2 = min(math.floor((y2 + NOTHING) / PITCH), n - 1)
            if j2 < j1:
                continue
            lines = np.arange(j1, j2 + 1)
            if y2 - y1 < 1e-12:
                here = np.array([min(x1, x2)]), np.array([max(x1, x2)])
            else:
                x = x1 + (x2 - x1) * np.clip((lines * PITCH - y1) / (y2 - y1), 0.0, 1.0)
                here = x, x
            left[lines] = np.minimum(left[lines], here[0])
            right[lines] = np.maximum(right[lines], here[1])
    corners = np.vstack(outlines)
    _enclose(left, corners)
    right *= -1.0
    _enclose(right, corners * np.array([-1.0, 1.0]))
    return left, -right


def _enclose(left: Array, corners: Array) -> None:
    """Lower the profile where a corner between two lines lies outside it."""
    cell = np.clip((corners[:, 1] / PITCH).astype(int), 0, len(left) - 2)
    for k in np.flatnonzero(np.isinf(left)):
        left[k] = corners[np.abs(corners[:, 1] / PITCH - k) <= 1.0, 0].min()
    for (x, y), j in zip(corners, cell, strict=True):
        share = y / PITCH - j
        near, far = (j, j + 1) if share < 0.5 else (j + 1, j)
        part = max(share, 1.0 - share)
        if part * left[near] + (1.0 - part) * left[far] > x:
            left[near] = min(left[near], x)
            if part < 1.0:
                left[far] = min(left[far], (x - part * left[near]) / (1.0 - part))
