"""Lays: how the pieces of a batch lie on the roll of each prepreg.

X runs along the roll, Y across it. Pieces lie with their fibres along X and may be
turned by half a turn, which leaves fibres as they are; they are never turned over.
Each piece is grown by half the gap, then pushed along the roll against what already
lies there, wherever across the roll it comes to lie best. What lies there is a *front*:
how far each of many lines along the roll is taken. Pieces of one kind go head to tail
in twos, so that slanting edges meet.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import permutations
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from model import Fault, InputError

if TYPE_CHECKING:
    from model import Cutting, Piece

Array = NDArray[np.float64]

#: Distance of the lines along the roll. [m]
PITCH: Final = 0.5e-3
#: Shifts along a piece that are tried when two are laid head to tail.
_SHIFTS: Final = 40
#: Most shift of two pieces that lie head to tail, in lengths of theirs; None for that
#: with which they fill their rectangle best. All are tried.
_STAGGERS: Final = (None, 0.1, 0.2, 0.35)
#: Share of a piece's length by which it may lie further along the roll if it fits
#: better there.
_SLACK: Final = 0.03
#: What is not looked at. [m]
_NOTHING: Final = 2e-6
#: Sine of the angle to the roll below which a piece lies along it. [-]
_ALONG: Final = 0.15
#: Most orders of kinds that are tried, with a batch of so many shafts; and how many of
#: them are then tried with the whole batch.
_ORDERS: Final = 8
_TRIAL: Final = 16
_CHOSEN: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A piece on the roll."""

    piece: Piece
    shaft: int  #: which shaft of the batch, from 0 [-]
    turned: bool  #: by half a turn [-]
    x: float  #: place of its u = v = 0 along the roll [m]
    y: float  #: and across it [m]

    @property
    def turn(self) -> float:
        """Angle of its u axis from the roll's length. [rad]."""
        return self.piece.roll_turn + (math.pi if self.turned else 0.0)

    def place(self, points: Array) -> Array:
        """Bring points of the piece onto the roll.

        Parameters
        ----------
        points : ndarray, shape (n, 2)
            Places u, v on the piece. [m]

        Returns
        -------
        points : ndarray, shape (n, 2)
            Places X, Y on the roll. [m]
        """
        placed: Array = _turned(points, self.turn) + np.array([self.x, self.y])
        return placed


@dataclass(frozen=True, slots=True, kw_only=True)
class Lay:
    """The lay of one prepreg."""

    material: str
    roll_width: float  #: [m]
    roll_edge: float  #: not used at either edge of the roll [m]
    batch: int  #: shafts [-]
    laid: tuple[Laid, ...]
    length: float  #: of roll, up to the last piece [m]
    mean_length: float  #: the same, mean over the width of the roll [m]

    @property
    def area(self) -> float:
        """Area of roll that is cut off. [m²]."""
        return self.length * self.roll_width

    @property
    def area_net(self) -> float:
        """Area of all pieces. [m²]."""
        return sum(one.piece.area for one in self.laid)

    @property
    def share_used(self) -> float:
        """Area of pieces over area of roll. [-]."""
        return self.area_net / self.area


@dataclass(frozen=True, slots=True)
class _Unit:
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
        """Mean length along the roll. [m]."""
        own = self.right - self.lean * PITCH * np.arange(self.lines)
        back = self.left - self.lean * PITCH * np.arange(self.lines)
        return float(own.max() - back.min())


@dataclass(slots=True)
class _Kind:
    """Pieces that are alike, one a shaft."""

    piece: Piece
    ones: list[_Unit]
    twos: list[list[_Unit]]  #: for each stagger


def lay_pieces(
    pieces: Sequence[Piece],
    roll_width: float,
    cutting: Cutting,
    *,
    batch: int = 1,
) -> Lay:
    """Lay the pieces of a batch of equal shafts on a roll.

    Parameters
    ----------
    pieces : sequence of Piece
        Pieces of one shaft, all of one prepreg. [SI]
    roll_width : float
        Width of the roll. [m]
    cutting : Cutting
        Gap and unused edges. [SI]
    batch : int
        Shafts. [-]

    Returns
    -------
    lay : Lay
        Every piece of every shaft once; the shortest of some lays. [SI]

    Raises
    ------
    InputError
        With every piece that does not fit the width of the roll.
    """
    usable = roll_width - 2.0 * cutting.roll_edge
    n_lines = int((usable + cutting.gap + _NOTHING) / PITCH) + 1
    kinds = [_kind(piece, cutting.gap, n_lines) for piece in pieces]
    faults = [
        _too_wide(kind, usable, cutting)
        for kind in kinds
        if kind.ones[0].lines > n_lines
    ]
    if faults:
        raise InputError(f"lay of {pieces[0].material}", faults)
    order, ways = _searched(kinds, batch, n_lines)
    placed, front = _lay_in_order(kinds, order, ways, batch, n_lines)
    length = float(front.max())
    count = [0] * len(kinds)
    laid = []
    low = cutting.roll_edge - cutting.gap / 2.0
    for k, unit, x, q in placed:
        for turned, u, v in unit.members:
            laid.append(
                Laid(
                    piece=kinds[k].piece,
                    shaft=count[k],
                    turned=turned,
                    x=x + u,
                    y=low + q * PITCH + v,
                )
            )
            count[k] += 1
    return Lay(
        material=pieces[0].material,
        roll_width=roll_width,
        roll_edge=cutting.roll_edge,
        batch=batch,
        laid=tuple(laid),
        length=length,
        mean_length=float(front.mean()),
    )


def _too_wide(kind: _Kind, usable: float, cutting: Cutting) -> Fault:
    piece = kind.piece
    span = (kind.ones[0].lines - 1) * PITCH - cutting.gap
    return Fault(
        "[cutting]",
        "roll_edge",
        None,
        f"piece {piece.mark} of {piece.name} lies {1e3 * span:.1f} mm wide on the "
        f"roll, where {1e3 * usable:.1f} mm can be used. Shorten the flag, choose "
        "another angle, or lower splice_from.",
    )


def _searched(
    kinds: Sequence[_Kind], batch: int, n_lines: int
) -> tuple[tuple[int, ...], list[int]]:
    """Order of the kinds, and the way each goes head to tail, of the shortest lay."""

    def length(order: Sequence[int], ways: Sequence[int], count: int) -> float:
        reach = _lay_in_order(kinds, order, ways, count, n_lines)[1]
        # of equally long lays, the one that leaves more at the end of its roll
        return float(reach.max() + 1e-3 * reach.mean())

    plain = [0] * len(kinds)
    orders = list(_orders(kinds))
    orders.sort(key=lambda order: length(order, plain, min(batch, _TRIAL)))
    best = (math.inf, orders[0], plain)
    for order in orders[:_CHOSEN]:
        ways = plain
        least = length(order, ways, batch)
        for k in order:
            for way in range(-1, len(_STAGGERS)):
                other = [*ways[:k], way, *ways[k + 1 :]]
                if way != ways[k] and (found := length(order, other, batch)) < least:
                    least, ways = found, other
        if least < best[0]:
            best = (least, order, ways)
    return best[1:]


def _orders(kinds: Sequence[_Kind]) -> Iterator[tuple[int, ...]]:
    """Orders of the kinds: groups of one direction, in all orders; long ones first."""
    groups: dict[float, list[int]] = {}
    for k, kind in enumerate(kinds):
        groups.setdefault(round(kind.piece.angle, 6), []).append(k)
    for members in groups.values():
        members.sort(key=lambda k: -float(np.ptp(kinds[k].piece.outline[:, 0])))
    for count, chosen in enumerate(permutations(groups.values())):
        if count >= _ORDERS:
            return
        yield tuple(k for members in chosen for k in members)


class _Front:
    """How far each line along the roll is taken, and where units would come to lie."""

    def __init__(self, n_lines: int) -> None:
        self.reach: Array = np.zeros(n_lines)
        self._landing: dict[int, Array] = {}

    def landing(self, unit: _Unit) -> Array:
        """Least X of a unit, for each line that its lowest point can lie on."""
        found = self._landing.get(id(unit))
        if found is None:
            found = self._landing[id(unit)] = self._land(unit, 0, len(self.reach))
        return found

    def _land(self, unit: _Unit, first: int, last: int) -> Array:
        """Landings of a unit between two lines of the front."""
        under = sliding_window_view(self.reach[first:last], unit.lines)
        landing: Array = (under - unit.left).max(axis=1)
        return landing

    def lay(self, unit: _Unit, x: float, q: int, watched: Sequence[_Unit]) -> None:
        """Lay a unit; landings of watched units stay known, others are forgotten."""
        end = q + unit.lines
        self.reach[q:end] = np.maximum(self.reach[q:end], x + unit.right)
        kept = {}
        for other in watched:
            landing = self._landing.get(id(other))
            if landing is None:
                continue
            first = max(0, q - other.lines + 1)
            last = min(len(self.reach), end + other.lines - 1)
            landing[first : last - other.lines + 1] = self._land(other, first, last)
            kept[id(other)] = landing
        self._landing = kept


def _lay_in_order(
    kinds: Sequence[_Kind],
    order: Sequence[int],
    ways: Sequence[int],
    batch: int,
    n_lines: int,
) -> tuple[list[tuple[int, _Unit, float, int]], Array]:
    """Lay kind after kind; give each unit's place and the front they leave."""
    front = _Front(n_lines)
    placed = []
    for k in order:
        kind = kinds[k]
        left = batch
        twos = kind.twos[ways[k]] if ways[k] >= 0 else []
        while left:
            along, unit, x, q = _best_place(kind.ones, front)
            if left > 1 and twos:
                two = _best_place(twos, front)
                if two[0] <= along + _SLACK * unit.depth + PITCH:
                    _, unit, x, q = two
            front.lay(unit, x, q, [*kind.ones, *twos])
            placed.append((k, unit, x, q))
            left -= len(unit.members)
    return placed, front.reach


def _best_place(
    units: Sequence[_Unit], front: _Front
) -> tuple[float, _Unit, float, int]:
    """How far back a unit can lie, and where it then lies with least roll lost."""
    options = []
    for unit in units:
        x = front.landing(unit)
        # what leans is as far along wherever it lies on a line of its own direction
        options.append((unit, x, x - unit.lean * PITCH * np.arange(len(x))))
    nearest = min(float(along.min()) for _, _, along in options)
    best = (math.inf, units[0], 0.0, 0)
    for unit, x, along in options:
        q = np.flatnonzero(along <= nearest + _SLACK * unit.depth)
        if len(q):
            score = (along[q] - nearest) * unit.lines + q * unit.depth
            i = int(np.argmin(score))
            if score[i] < best[0]:
                best = (float(score[i]), unit, float(x[q[i]]), int(q[i]))
    return nearest, *best[1:]


def _turned(points: Array, angle: float) -> Array:
    c, s = math.cos(angle), math.sin(angle)
    turned: Array = points @ np.array([[c, s], [-s, c]])
    return turned


def _kind(piece: Piece, gap: float, n_lines: int) -> _Kind:
    """Units that a piece makes: alone in both directions, and two head to tail."""
    grown = np.asarray(
        shapely.buffer(
            shapely.Polygon(piece.outline),
            gap / 2.0,
            join_style="mitre",
            mitre_limit=1.5,
        ).exterior.coords
    )[:-1]
    nowhere = np.zeros(2)
    return _Kind(
        piece=piece,
        ones=[
            _unit([(grown, turned, nowhere)], piece.roll_turn)
            for turned in (False, True)
        ],
        twos=[_head_to_tail(piece, grown, n_lines, stagger) for stagger in _STAGGERS],
    )


def _unit(parts: list[tuple[Array, bool, Array]], roll_turn: float) -> _Unit:
    """Turn the parts onto the roll and take their profile across it."""
    outlines, zeros = [], []
    sine = math.sin(roll_turn)
    for grown, turned, shift in parts:
        own = -grown if turned else grown
        outlines.append(_turned(own + shift, roll_turn))
        zeros.append((turned, *_turned(shift[None, :], roll_turn)[0]))
    corner = np.vstack(outlines).min(axis=0)
    left, right = profile([outline - corner for outline in outlines])
    return _Unit(
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
) -> list[_Unit]:
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
    best: tuple[float, int, list[_Unit]] | None = None
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
    n = max(2, math.ceil((top - _NOTHING) / PITCH) + 1)
    left, right = np.full(n, np.inf), np.full(n, -np.inf)
    for outline in outlines:
        ends = np.roll(outline, -1, axis=0)
        for (x1, y1), (x2, y2) in zip(outline, ends, strict=True):
            if y1 > y2:
                x1, y1, x2, y2 = x2, y2, x1, y1
            j1 = math.ceil((y1 - _NOTHING) / PITCH)
            j2 = min(math.floor((y2 + _NOTHING) / PITCH), n - 1)
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
