"""Large deflection of a bar under a dead load: the elastica of a bar of varying EI.

A load that hangs from a bar keeps its direction while the bar turns, so its arm
shortens and the drop stays behind what small-deflection theory says: by 1 % where the
drop is a tenth of the length, by 4 % at a fifth. Here the bar is followed along its arc
with the exact curvature; it is thin, does not stretch or shear, and has no weight.

A cantilever needs the slope at the load that leaves none at the clamp. The overhang
test has two knife edges at one height: the bar is pinned to the one that holds it down,
so that it cannot slide off, and slides without friction over the other, whose push
stands square to the bar. That push then has a share along the line of the edges; were
it upright instead, as with an edge that sticks, the drop of a shaft would change by
less than one part in ten thousand (`is_frictionless` compares the two).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.beam import integral, overhang_deflection, product_integral
from model.errors import ModelRangeError

Array = NDArray[np.float64]
#: Distance from the load, height above it, angle of the bar above the horizontal.
State = tuple[float, float, float]

#: Longest step along the arc. [m]
_STEP = 0.010
#: Longest cell on which the linear drop is taken. [m]
_CELL = 0.0025
#: Stations closer than this are one. [m]
_SAME = 1e-9
#: Angle and arc to which a shape is settled. [rad, m]
_SETTLED = 1e-11
_MOST_TRIES = 80
#: Linear drop over the reach above which a bar is taken to slip off its edges.
_MOST_DROP = 2.0
#: Least lean of a bar off the upright at its load. [rad]
_LEAST_LEAN = 1e-13


@dataclass(frozen=True, slots=True, kw_only=True)
class LargeDeflection:
    """Drop of a load point by exact theory, beside that of small deflections."""

    drop: float  #: of the load point below the clamp or the edges [m]
    linear: float  #: the same by small-deflection theory [m]
    reach: float  #: from the clamp or the near edge to the load, along the bar [m]
    slope: float  #: of the bar at the load [rad]

    @property
    def ratio(self) -> float:
        """Exact drop over the linear one."""
        return self.drop / self.linear


@dataclass(frozen=True, slots=True)
class _Cells:
    """A stretch of a bar as it is walked from the load: stiffness along the arc."""

    start: tuple[float, ...]  # arc from the load [m]
    end: tuple[float, ...]
    near: tuple[float, ...]  # EI at the start of the cell [N·m²]
    far: tuple[float, ...]

    @classmethod
    def of(cls, x: Array, EI: Array, load_at: float, end_at: float) -> _Cells:
        side = 1.0 if end_at > load_at else -1.0
        arc = side * (x - load_at)
        stiff = EI
        if side < 0.0:
            arc, stiff = arc[::-1], EI[::-1]
        length = abs(end_at - load_at)
        rows = []
        for i in range(len(arc) - 1):
            a, b = max(float(arc[i]), 0.0), min(float(arc[i + 1]), length)
            wide = float(arc[i + 1] - arc[i])
            if b - a <= _SAME or wide <= _SAME:
                continue
            rise = float(stiff[i + 1] - stiff[i]) / wide
            from_start = [float(stiff[i]) + rise * (s - float(arc[i])) for s in (a, b)]
            rows.append((a, b, *from_start))
        start, end, near, far = zip(*rows, strict=True)
        return cls(start, end, near, far)

    def steps(self, a: float, b: float) -> Iterator[tuple[float, float, float]]:
        """Steps between two arcs: length, stiffness where it begins and ends."""
        for start, end, near, far in zip(
            self.start, self.end, self.near, self.far, strict=True
        ):
            left, right = max(start, a), min(end, b)
            if right - left <= 0.0:
                continue
            n = math.ceil((right - left) / _STEP)
            h = (right - left) / n
            rise = (far - near) / (end - start)
            first = near + rise * (left - start)
            for k in range(n):
                yield h, first + rise * h * k, first + rise * h * (k + 1)


def _walk(
    cells: _Cells,
    state: State,
    a: float,
    b: float,
    moment: Callable[[float, float], float],
) -> State:
    """Follow the bar from one arc to another (classical Runge-Kutta, order 4)."""
    x, y, angle = state
    for h, near, far in cells.steps(a, b):
        middle = 0.5 * (near + far)
        c1, s1 = math.cos(angle), math.sin(angle)
        k1 = -moment(x, y) / near
        turned = angle + 0.5 * h * k1
        c2, s2 = math.cos(turned), math.sin(turned)
        k2 = -moment(x + 0.5 * h * c1, y + 0.5 * h * s1) / middle
        turned = angle + 0.5 * h * k2
        c3, s3 = math.cos(turned), math.sin(turned)
        k3 = -moment(x + 0.5 * h * c2, y + 0.5 * h * s2) / middle
        turned = angle + h * k3
        c4, s4 = math.cos(turned), math.sin(turned)
        k4 = -moment(x + h * c3, y + h * s3) / far
        x += h * (c1 + 2.0 * (c2 + c3) + c4) / 6.0
        y += h * (s1 + 2.0 * (s2 + s3) + s4) / 6.0
        angle += h * (k1 + 2.0 * (k2 + k3) + k4) / 6.0
    return x, y, angle


def _root(f: Callable[[float], float], low: float, high: float) -> float:
    """Where a function is nought between two arguments at which its signs differ."""
    f_low, f_high = f(low), f(high)
    for _ in range(_MOST_TRIES):
        if high - low <= _SETTLED:
            break
        # false position; the weight of an end that stays is halved, so neither stays
        middle = high - f_high * (high - low) / (f_high - f_low)
        f_middle = f(middle)
        if f_middle == 0.0:
            return middle
        if (f_middle < 0.0) == (f_low < 0.0):
            if middle - low <= _SETTLED:
                return middle
            low, f_low, f_high = middle, f_middle, 0.5 * f_high
        else:
            if high - middle <= _SETTLED:
                return middle
            high, f_high, f_low = middle, f_middle, 0.5 * f_low
    return 0.5 * (low + high)


def cantilever_drop(
    x: Array, EI: Array, *, clamp: float, load_at: float, load: float
) -> LargeDeflection:
    """Drop of a load hung from a bar that is clamped level.

    Parameters
    ----------
    x, EI : ndarray, shape (n_x,)
        Stations, doubled at jumps, and bending stiffness. [m, N·m²]
    clamp, load_at : float
        Stations of the edge of the clamp and of the load, on either side. [m]
    load : float
        Force, which keeps its direction. [N]

    Returns
    -------
    deflection : LargeDeflection
        Exact and linear drop. [m]

    Raises
    ------
    ModelRangeError
        If clamp and load do not stand apart on the bar, or the load is not above
        nought or so great that the bar hangs straight down.

    Notes
    -----
    The step along the arc is at most 10 mm; the error of a uniform bar of 1 m is below
    1e-6 of the drop up to loads of 40 EI/L².

    Examples
    --------
    A load of EI/L² on a uniform cantilever drops by 0.30172 L, not by L/3 [1]_.

    .. [1] K. E. Bisshopp and D. C. Drucker, Large deflection of cantilever beams,
       Quarterly of Applied Mathematics 3, 1945 (from memory).

    >>> x = np.linspace(0.0, 1.0, 41)
    >>> bent = cantilever_drop(x, 0 * x + 40.0, clamp=1.0, load_at=0.0, load=40.0)
    >>> print(f"{bent.drop:.5f} m, {bent.linear:.5f} m")
    0.30172 m, 0.33333 m
    """
    _check(x, load, {"clamp": clamp, "load_at": load_at})
    if abs(clamp - load_at) <= _SAME:
        raise ModelRangeError("clamp and load stand at one station")
    reach = abs(clamp - load_at)
    cells = _Cells.of(x, EI, load_at, clamp)

    def at_clamp(slope: float) -> State:
        return _walk(cells, (0.0, 0.0, slope), 0.0, reach, lambda x, _: load * x)

    # a bar that hangs upright from its load has no arm and stays so; the more it
    # leans, the more it has turned at the clamp. Past the first lean that leaves no
    # slope there, great loads have others, of bars that curl: none is looked for
    def left(lean: float) -> float:
        return at_clamp(math.pi / 2.0 - math.exp(lean))[2]

    low, high = math.log(_LEAST_LEAN), math.log(math.pi / 2.0)
    if left(low) <= 0.0:
        raise ModelRangeError(f"under {load:.4g} N the bar hangs straight down")
    step = low
    while step < high and left(step) > 0.0:
        low, step = step, step + 1.0
    slope = math.pi / 2.0 - math.exp(_root(left, low, min(step, high)))
    fine, stiff = _refined(cells)
    bend = fine / stiff
    linear = load * product_integral(fine, fine, bend, 0, len(fine) - 1)
    return LargeDeflection(
        drop=at_clamp(slope)[1], linear=float(linear), reach=reach, slope=slope
    )


def overhang_drop(
    x: Array,
    EI: Array,
    *,
    load_at: float,
    support: float,
    hold: float,
    load: float,
    is_frictionless: bool = True,
) -> LargeDeflection:
    """Drop of a load hung from a bar beyond two knife edges of one height.

    Parameters
    ----------
    x, EI : ndarray, shape (n_x,)
        Stations, doubled at jumps, and bending stiffness. [m, N·m²]
    load_at, support, hold : float
        Stations of the load, of the edge that carries the bar from below and of the
        one that holds it down, to which it is pinned; the support stands between the
        other two. [m]
    load : float
        Force, which keeps its direction. [N]
    is_frictionless : bool
        Whether the support pushes square to the bar; else upright. [-]

    Returns
    -------
    deflection : LargeDeflection
        Exact and linear drop. [m]

    Raises
    ------
    ModelRangeError
        If the stations do not stand apart in their order on the bar, the load is not
        above nought, or so great that the bar slips through between the edges: its
        linear drop is twice the reach then, and the exact one three quarters of it.

    Examples
    --------
    >>> x = np.linspace(0.0, 1.1, 45)
    >>> bent = overhang_drop(
    ...     x, 0 * x + 40.0, load_at=0.1, support=0.9, hold=1.05, load=26.5
    ... )
    >>> print(f"{bent.drop:.5f} m, {bent.ratio:.4f} of linear")
    0.13091 m, 0.9750 of linear
    """
    _check(x, load, {"load_at": load_at, "support": support, "hold": hold})
    side = 1.0 if hold > load_at else -1.0
    reach, span = side * (support - load_at), side * (hold - support)
    if reach <= _SAME or span <= _SAME:
        raise ModelRangeError("the support is to stand between the load and the hold")
    cells = _Cells.of(x, EI, load_at, hold)
    length = reach + span
    slips = ModelRangeError(
        f"under {load:.4g} N the bar slips through between its edges"
    )

    def shape(slope: float, contact: float) -> tuple[State, State]:
        """Bar at the support, which it touches at an arc, and at the hold."""
        first = _walk(cells, (0.0, 0.0, slope), 0.0, contact, lambda x, _: load * x)
        x_s, y_s, angle = first
        push = load * (x_s + span) / span
        lean = math.tan(angle) if is_frictionless else 0.0
        last = _walk(
            cells,
            first,
            contact,
            length,
            lambda x, y: load * x - push * (x - x_s + lean * (y - y_s)),
        )
        return first, last

    def settled(slope: float) -> tuple[State, State]:
        """Shape for a slope at the load, the bar slid until it spans the edges."""
        contact = reach
        for _ in range(_MOST_TRIES):
            first, last = shape(slope, contact)
            short = last[0] - first[0] - span
            if abs(short) <= _SETTLED:
                return first, last
            contact += short / max(math.cos(first[2]), 0.2)
            if not 0.0 < contact < length:
                break
        raise slips

    def height(slope: float) -> float:
        first, last = settled(slope)
        return last[1] - first[1]

    fine, stiff = _refined(cells)
    drop = overhang_deflection(fine, stiff, len(fine), 0.0, reach, length, load)
    if drop > _MOST_DROP * reach:
        raise slips
    # nearly level at the load the bar would fall beyond the support; with the slope
    # that small deflections give, it rises
    guess = _linear_slope(fine, stiff, reach, span, load)
    high = min(guess, 1.2)
    for _ in range(6):
        if height(high) > 0.0:
            break
        high = 0.5 * (high + 1.4)
    else:
        raise slips
    low = high
    while height(low) > 0.0:
        high, low = low, 0.8 * low
    slope = _root(height, low, high)
    first, _ = settled(slope)
    return LargeDeflection(drop=first[1], linear=float(drop), reach=reach, slope=slope)


def _linear_slope(
    arc: Array, EI: Array, reach: float, span: float, load: float
) -> float:
    """Slope at the load of a bar beyond its edges, by small-deflection theory."""
    arm = np.where(arc <= reach, arc, reach * (reach + span - arc) / span)
    # a unit couple at the load is balanced by the edges alone
    couple = np.where(arc <= reach, 1.0, (reach + span - arc) / span)
    return float(load * integral(arc, arm * couple / EI, 0, len(arc) - 1))


def _refined(cells: _Cells) -> tuple[Array, Array]:
    """Stations and stiffness of a stretch, with shorter cells, doubled at its edges."""
    arc, stiff = [], []
    for start, end, near, far in zip(
        cells.start, cells.end, cells.near, cells.far, strict=True
    ):
        n = math.ceil((end - start) / _CELL) + 1
        arc.append(np.linspace(start, end, n))
        stiff.append(np.linspace(near, far, n))
    return np.concatenate(arc), np.concatenate(stiff)


def _check(x: Array, load: float, stations: dict[str, float]) -> None:
    off = [
        f"{name} {at:.4f} m"
        for name, at in stations.items()
        if not x[0] - _SAME <= at <= x[-1] + _SAME
    ]
    if off:
        raise ModelRangeError(
            f"off the bar, {x[0]:.4f} to {x[-1]:.4f} m: {', '.join(off)}"
        )
    if not load > 0.0:
        raise ModelRangeError(f"a load of {load:g} N does not bend the bar down")
