"""Where to put the cut edges, so that a shaft bends alike in all directions."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.clock import COS1, COS2, SIN1, SIN2
from model.direction import Rolled, clock_positions, harmonics_around, softness
from model.planes import NO_SPREAD

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
ComplexArray = NDArray[np.complex128]

#: Step between suggested clock positions. [rad]
CLOCK_STEP = math.radians(5.0)
_MOST_SWEEPS = 30
_RANDOM_STARTS = 12
#: Power of the spread that is summed over the stations while edges are moved.
_POWER = 8


class Suggestion(NamedTuple):
    """Clock positions that make a shaft more alike in all directions."""

    positions: Array  #: (n_flag,) of all flags, free or not [rad]
    spread_before: float  #: worst spread at the positions that were given [-]
    spread_after: float  #: worst spread at the suggested ones, never larger [-]


def suggest_clocks(
    rolled: Rolled,
    free: BoolArray,
    *,
    step: float = CLOCK_STEP,
    seed: int = 0,
) -> Suggestion:
    """Clock positions of the free flags that make the worst spread small.

    Parameters
    ----------
    rolled : Rolled
        The design; positions not stated are taken as evenly spread. [SI]
    free : ndarray of bool, shape (n_flag,)
        Flags whose edge may be moved. [-]
    step : float
        Step between the positions that are tried. [rad]
    seed : int
        Of the random starts. [-]

    Returns
    -------
    suggestion : Suggestion
        Positions, worst spread before and after. [rad, -]

    Notes
    -----
    The harmonics of a flag turn with its edge, so they are computed once. Edges are
    moved one at a time to their best position, from several starts: the given one, the
    even one, a greedy one, random ones. What is made small is the sum of the eighth
    power of the spread over the stations, since the worst alone holds every edge where
    two stations tie; then the worst itself. A flag whose turns are whole everywhere
    keeps its position, as it has no say.
    """
    given = clock_positions(rolled.clock)
    points = slice(rolled.tip, rolled.butt + 1)
    unturned = np.zeros(len(given))
    parts = [
        harmonics_around(rolled, unturned, only=k)[:, points] for k in range(len(given))
    ]
    second = np.array([part[COS2] + 1j * part[SIN2] for part in parts])
    first = np.array([part[COS1] + 1j * part[SIN1] for part in parts])
    task = _Task(
        second=second,
        first=first,
        EI=rolled.EI[points],
        soft=softness(rolled.EI, rolled.mandrel, rolled.finished)[points],
        steps=np.arange(0.0, 2.0 * np.pi - step / 2.0, step),
    )
    before = float(task.spread(given[None])[0].max())
    say = np.abs(second).max(axis=1) + np.abs(first).max(axis=1) > 0.0
    movable = np.flatnonzero(free & say)
    if len(movable) == 0 or before <= NO_SPREAD:
        return Suggestion(given, before, before)
    rng = np.random.default_rng(seed)
    best, after = given, before
    for start in _starts(task, given, movable, rng):
        positions = _descend(task, start, movable)
        worst = float(task.spread(positions[None])[0].max())
        if worst < after * (1.0 - 1e-9):
            best, after = positions, worst
    return Suggestion(best, before, after)


class _Task(NamedTuple):
    second: ComplexArray  # (n_flag, n_x) of each flag with its edge at zero
    first: ComplexArray
    EI: Array
    soft: Array
    steps: Array

    def spread(self, positions: Array) -> Array:
        """Spread at each point, for several sets of positions."""
        turned = np.exp(1j * positions)
        return self.combined(turned**2 @ self.second, turned @ self.first)

    def combined(self, second: ComplexArray, first: ComplexArray) -> Array:
        square = first * first
        size = np.abs(second - square * self.soft)
        spread: Array = 2.0 * size / (self.EI - np.abs(square) * self.soft)
        return spread


def _starts(
    task: _Task, given: Array, movable: IntArray, rng: np.random.Generator
) -> list[Array]:
    """Positions to begin from; edges that may not move stay where they are."""
    count = len(task.steps)
    starts = [given]
    even = given.copy()
    even[movable] = 2.0 * np.pi * np.arange(len(movable)) / len(movable)
    starts.append(even)
    # greedy: largest first, each where it suits those already placed
    greedy = given.copy()
    size = np.abs(task.second[movable]).sum(axis=1)
    order = movable[np.argsort(-size)]
    absent = set(order.tolist())
    for k in order.tolist():
        absent.discard(k)
        there = np.array([j not in absent for j in range(len(given))], dtype=float)
        shown = task._replace(
            second=task.second * there[:, None], first=task.first * there[:, None]
        )
        greedy[k] = _best_position(shown, greedy, k)
    starts.append(greedy)
    for _ in range(_RANDOM_STARTS):
        random = given.copy()
        random[movable] = task.steps[rng.integers(count, size=len(movable))]
        starts.append(random)
    return starts


def _best_position(
    task: _Task, positions: Array, k: int, *, worst: bool = False
) -> float:
    """Best of the steps for one edge, others as they are; its own place if as good."""
    turned = np.exp(1j * positions)
    turned[k] = 0.0
    second, first = turned**2 @ task.second, turned @ task.first
    tried = np.append(positions[k], task.steps)
    turns = np.exp(1j * tried)[:, None]
    spread = task.combined(
        second + turns**2 * task.second[k], first + turns * task.first[k]
    )
    cost = spread.max(axis=1) if worst else (spread**_POWER).sum(axis=1)
    better = int(np.argmin(cost))
    return float(tried[better if cost[better] < cost[0] * (1.0 - 1e-9) else 0])


def _descend(task: _Task, start: Array, movable: IntArray) -> Array:
    positions = start.copy()
    for worst in (False, True):
        for _ in range(_MOST_SWEEPS):
            old = positions.copy()
            for k in movable.tolist():
                positions[k] = _best_position(task, positions, k, worst=worst)
            if np.array_equal(old, positions):
                break
    return positions
