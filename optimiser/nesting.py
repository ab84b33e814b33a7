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
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from model import Fault, InputError
from optimiser.nesting_units import (
    NOTHING,
    PITCH,
    STAGGERS,
    Kind,
    Unit,
    kind_of_piece,
    turned_by,
)

if TYPE_CHECKING:
    from model import Cutting, Piece

Array = NDArray[np.float64]

#: Share of a piece's length by which it may lie further along the roll if it fits
#: better there.
_SLACK: Final = 0.03
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
        placed: Array = turned_by(points, self.turn) + np.array([self.x, self.y])
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
    n_lines = int((usable + cutting.gap + NOTHING) / PITCH) + 1
    kinds = [kind_of_piece(piece, cutting.gap, n_lines) for piece in pieces]
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


def _too_wide(kind: Kind, usable: float, cutting: Cutting) -> Fault:
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
    kinds: Sequence[Kind], batch: int, n_lines: int
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
            for way in range(-1, len(STAGGERS)):
                other = [*ways[:k], way, *ways[k + 1 :]]
                if way != ways[k] and (found := length(order, other, batch)) < least:
                    least, ways = found, other
        if least < best[0]:
            best = (least, order, ways)
    return best[1:]


def _orders(kinds: Sequence[Kind]) -> Iterator[tuple[int, ...]]:
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

    def landing(self, unit: Unit) -> Array:
        """Least X of a unit, for each line that its lowest point can lie on."""
        found = self._landing.get(id(unit))
        if found is None:
            found = self._landing[id(unit)] = self._land(unit, 0, len(self.reach))
        return found

    def _land(self, unit: Unit, first: int, last: int) -> Array:
        """Landings of a unit between two lines of the front."""
        under = sliding_window_view(self.reach[first:last], unit.lines)
        landing: Array = (under - unit.left).max(axis=1)
        return landing

    def lay(self, unit: Unit, x: float, q: int, watched: Sequence[Unit]) -> None:
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
    kinds: Sequence[Kind],
    order: Sequence[int],
    ways: Sequence[int],
    batch: int,
    n_lines: int,
) -> tuple[list[tuple[int, Unit, float, int]], Array]:
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


def _best_place(units: Sequence[Unit], front: _Front) -> tuple[float, Unit, float, int]:
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
