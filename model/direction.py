"""One shaft in every direction: stiffness round the clock, two planes, clock positions.

Directions are angles round the shaft from clock position zero, in the sense in which
the flags are rolled.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.clock import (
    COS1,
    COS2,
    N_AROUND,
    N_RUNNING,
    SIN1,
    SIN2,
    around_the_clock,
    innermost_step,
)
from model.compilation import SOURCES, compiled_entry
from model.conditions import PIECES, PLY, Conditions, Layups
from model.planes import NO_SPREAD, PlaneModes, plane_modes
from model.scratch import Work
from model.spread import fine_scratch, worst_spread

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
ComplexArray = NDArray[np.complex128]


class Directions(NamedTuple):
    """Bending stiffness in all directions: mean + Re(second exp(-2iφ))."""

    mean: Array  #: mean over direction [N·m²]
    second: ComplexArray  #: second harmonic [N·m²]

    @property
    def spread(self) -> Array:
        """Maximum less minimum over the mean, at each point; nought without a wall."""
        most = 2.0 * np.abs(self.second)
        spread: Array = np.divide(
            most, self.mean, out=np.zeros_like(most), where=self.mean > 0.0
        )
        return spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """How stiffness and frequency of one shaft depend on direction."""

    station: Array  #: from the tip; a station stands twice where the wall jumps [m]
    EI_max: Array  #: in the stiffest direction [N·m²]
    EI_min: Array  #: in the softest direction [N·m²]
    direction: Array  #: stiffest direction, 0 to π; 0 where all agree [rad]
    spread: Array  #: (EI_max - EI_min) over the mean of all directions [-]
    worst_spread: float  #: largest along the shaft, also between stations [-]
    worst_at: float  #: its station [m]
    positions: tuple[float, ...]  #: clock position of each flag's cut edge [rad]
    planes: PlaneModes | None  #: None where the clamp does not fit the shaft

    @property
    def frequency_split(self) -> float | None:
        """Difference of the two planes' frequencies over their mean."""
        if self.planes is None:
            return None
        low, high, _ = self.planes
        return 2.0 * (high - low) / (high + low)


class Rolled(NamedTuple):
    """One design as rolled and ground; flags in rolling order, points tip to butt."""

    sheets: Array  #: (n_sheet, n_column) as in the conditions
    sheet: IntArray  #: (n_flag,) index into sheets
    wraps: Array  #: (n_flag,) 0 for a piece with straight edges [-]
    run_out_tip: Array  #: (n_flag,) [m]
    run_out_butt: Array  #: (n_flag,) [m]
    width_tip: Array  #: (n_flag,) of a piece with straight edges [m]
    width_butt: Array  #: (n_flag,) [m]
    clock: Array  #: (n_flag,) stated position of the cut edge; NaN for none [rad]
    first: IntArray  #: (n_flag,) first point that it covers
    last: IntArray  #: (n_flag,) last point that it covers
    r_in: Array  #: (n_flag, n_x) radii of its ring, clipped to finished [m]
    r_out: Array  #: (n_flag, n_x) [m]
    x: Array  #: (n_x,) points of the blank as rolled [m]
    hoop: Array  #: hoop strain under unit curvature [m]
    EI: Array  #: of the smeared wall [N·m²]
    mandrel: Array  #: radius of the bore [m]
    build: Array  #: radius before grinding [m]
    finished: Array  #: and after it [m]
    grind: float  #: depth ground off that follows the surface and its steps [m]
    tip: int  #: first point of the finished shaft
    butt: int  #: last point of the finished shaft


def rolled_of(conditions: Conditions, layups: Layups, i: int, work: Work) -> Rolled:
    """Copy one design out of the scratch of its evaluation.

    Parameters
    ----------
    conditions : Conditions
        What the designs share. [-]
    layups : Layups
        The designs. [SI]
    i : int
        Which of them; it must be the one that was evaluated last. [-]
    work : Work
        Scratch of the full evaluation. [SI]

    Returns
    -------
    rolled : Rolled
        Its flags and points. [SI]
    """
    n_x, tip, butt = (int(count) for count in work.counts[:3])
    there = np.flatnonzero(layups.sheet[i] >= 0)
    return Rolled(
        sheets=conditions.numbers.sheets,
        sheet=layups.sheet[i, there],
        wraps=layups.wraps[i, there],
        run_out_tip=layups.run_out_tip[i, there],
        run_out_butt=layups.run_out_butt[i, there],
        width_tip=layups.width_tip[i, there],
        width_butt=layups.width_butt[i, there],
        clock=layups.clock[i, there],
        first=work.first[there],
        last=work.last[there],
        r_in=np.ascontiguousarray(work.r_in[there, :n_x]),
        r_out=np.ascontiguousarray(work.r_out[there, :n_x]),
        x=work.x[:n_x].copy(),
        hoop=work.hoop[:n_x].copy(),
        EI=work.EI[:n_x].copy(),
        mandrel=work.mandrel[:n_x].copy(),
        build=work.build[:n_x].copy(),
        finished=work.finished[:n_x].copy(),
        grind=conditions.finish.grind,
        tip=tip,
        butt=butt,
    )


def clock_positions(stated: Array) -> Array:
    """Position of every cut edge: as stated, else evenly spread in rolling order.

    Parameters
    ----------
    stated : ndarray, shape (n_flag,)
        Stated positions; NaN for none. [rad]

    Returns
    -------
    positions : ndarray, shape (n_flag,)
        Position of flag k of n, if none is stated: 2π k / n. [rad]

    Examples
    --------
    >>> print(np.degrees(clock_positions(np.array([np.nan, 0.5, np.nan, np.nan]))))
    [  0.          28.64788976 180.         270.        ]
    """
    even = 2.0 * np.pi * np.arange(len(stated)) / max(len(stated), 1)
    return np.where(np.isnan(stated), even, stated)


def _entry(sources: int) -> Any:
    @compiled_entry
    def sum_around(
        sheets: Array,
        sheet: IntArray,
        wraps: Array,
        run_out_tip: Array,
        run_out_butt: Array,
        width_tip: Array,
        width_butt: Array,
        clock: Array,
        only: int,
        x: Array,
        hoop: Array,
        build: Array,
        finished: Array,
        grind: float,
        r_in: Array,
        r_out: Array,
        first: IntArray,
        last: IntArray,
        EI: Array,
        mandrel: Array,
        tip: int,
        butt: int,
        around: Array,
        running: Array,
        fine: Array,
    ) -> Any:
        _ = sources  # part of the key under which the machine code is kept
        inner = innermost_step(sheets, PIECES, sheet, wraps, run_out_tip, run_out_butt)
        if inner < 0:
            return 0.0, x[tip]
        around_the_clock(
            sheets,
            PLY,
            PIECES,
            sheet,
            wraps,
            run_out_tip,
            run_out_butt,
            width_tip,
            width_butt,
            clock,
            inner,
            only,
            x,
            len(x),
            hoop,
            build,
            finished,
            grind,
            r_in,
            r_out,
            first,
            last,
            running,
            around,
        )
        return worst_spread(
            sheets,
            PLY,
            PIECES,
            sheet,
            wraps,
            run_out_tip,
            run_out_butt,
            inner,
            x,
            hoop,
            EI,
            mandrel,
            finished,
            r_in,
            r_out,
            first,
            last,
            tip,
            butt,
            running,
            around,
            fine,
        )

    return sum_around


_sum_around = _entry(SOURCES)


def harmonics_around(rolled: Rolled, clock: Array, *, only: int = -1) -> Array:
    """Sums around the clock of one design.

    Parameters
    ----------
    rolled : Rolled
        The design. [SI]
    clock : ndarray, shape (n_flag,)
        Position of each flag's cut edge; NaN for evenly spread. [rad]
    only : int
        The one flag whose harmonics are summed, or -1 for all. [-]

    Returns
    -------
    around : ndarray, shape (14, n_x)
        Rows as named in ``model.clock``; all 0 if every flag has whole turns.
        [N·m²]
    """
    return _around(rolled, clock, only)[0]


def worst_around(rolled: Rolled, clock: Array) -> tuple[float, float]:
    """Worst spread of one design, at its points and where flags run out between them.

    Parameters
    ----------
    rolled : Rolled
        The design. [SI]
    clock : ndarray, shape (n_flag,)
        Position of each flag's cut edge; NaN for evenly spread. [rad]

    Returns
    -------
    spread : float
        Maximum less minimum over the mean of all directions. [-]
    station : float
        Where that is; the tip if all directions are alike. [m]
    """
    return _around(rolled, clock, -1)[1]


def _around(
    rolled: Rolled, clock: Array, only: int
) -> tuple[Array, tuple[float, float]]:
    around = np.zeros((N_AROUND, len(rolled.x)))
    worst = _sum_around(
        rolled.sheets,
        rolled.sheet,
        rolled.wraps,
        rolled.run_out_tip,
        rolled.run_out_butt,
        rolled.width_tip,
        rolled.width_butt,
        clock,
        only,
        rolled.x,
        rolled.hoop,
        rolled.build,
        rolled.finished,
        rolled.grind,
        rolled.r_in,
        rolled.r_out,
        rolled.first,
        rolled.last,
        rolled.EI,
        rolled.mandrel,
        rolled.tip,
        rolled.butt,
        around,
        np.zeros((len(rolled.sheet), N_RUNNING)),
        fine_scratch(),
    )
    return around, (float(worst[0]), float(worst[1]))


def directions(around: Array, EI: Array, mandrel: Array, finished: Array) -> Directions:
    """Bending stiffness in all directions from the sums around the clock.

    Parameters
    ----------
    around : ndarray, shape (14, n_x)
        Sums around the clock. [N·m²]
    EI : ndarray, shape (n_x,)
        Bending stiffness of the smeared wall. [N·m²]
    mandrel, finished : ndarray, shape (n_x,)
        Radius of the bore and of the finished shaft. [m]

    Returns
    -------
    directions : Directions
        Mean and second harmonic at each point. [N·m²]
    """
    second = around[COS2] + 1j * around[SIN2]
    first = around[COS1] + 1j * around[SIN1]
    soft = softness(EI, mandrel, finished)
    return Directions(EI - np.abs(first) ** 2 * soft, second - first**2 * soft)


def softness(EI: Array, mandrel: Array, finished: Array) -> Array:
    """How much the square of the first harmonic takes off, by a free neutral axis.

    Parameters
    ----------
    EI : ndarray, shape (n_x,)
        Bending stiffness of the smeared wall. [N·m²]
    mandrel, finished : ndarray, shape (n_x,)
        Radius of the bore and of the finished shaft. [m]

    Returns
    -------
    soft : ndarray, shape (n_x,)
        1 / (2 EA r_out²) of a wall of even modulus, as the harmonic is one of energy,
        which is that of the axial pull times the outer radius; nought where no wall is
        left, in the trim. [1/(N·m²)]
    """
    share: Array = 1.0 + (mandrel / finished) ** 2
    return np.divide(share, 8.0 * EI, out=np.zeros_like(EI), where=EI > 0.0)


def clock_of(
    rolled: Rolled,
    positions: Array,
    around: Array,
    m: Array,
    clamp: int | None,
    *,
    tip_mass: float,
    tip_mass_offset: float = 0.0,
    tip_mass_inertia: float = 0.0,
    clamp_compliance: float = 0.0,
) -> Clock:
    """Judge one shaft in all directions.

    Parameters
    ----------
    rolled : Rolled
        The design. [SI]
    positions : ndarray, shape (n_flag,)
        Position of each flag's cut edge. [rad]
    around : ndarray, shape (14, n_x)
        Sums around the clock at these positions. [N·m²]
    m : ndarray, shape (n_x,)
        Mass per length at the points. [kg/m]
    clamp : int or None
        Point at which the frequency test clamps the shaft; None if it does not fit.
        [-]
    tip_mass, tip_mass_offset, tip_mass_inertia, clamp_compliance : float
        Of the frequency test. [kg, m, kg·m², rad/(N·m)]

    Returns
    -------
    clock : Clock
        Stiffness along the finished shaft, frequencies in two planes. [SI]
    """
    shown = directions(around, rolled.EI, rolled.mandrel, rolled.finished)
    finished = slice(rolled.tip, rolled.butt + 1)
    mean, second = shown.mean[finished], shown.second[finished]
    size = np.abs(second)
    spread = shown.spread[finished]
    worst, worst_at = worst_around(rolled, positions)
    planes = None
    if clamp is not None:
        swings = slice(rolled.tip, clamp + 1)
        planes = plane_modes(
            rolled.x[swings],
            shown.mean[swings],
            shown.second[swings],
            m[swings],
            tip_mass=tip_mass,
            tip_mass_offset=tip_mass_offset,
            tip_mass_inertia=tip_mass_inertia,
            clamp_compliance=clamp_compliance,
        )
    return Clock(
        station=rolled.x[finished].copy(),
        EI_max=mean + size,
        EI_min=mean - size,
        direction=np.where(
            spread > NO_SPREAD, np.angle(second) / 2.0 % np.pi, np.zeros_like(size)
        ),
        spread=spread,
        worst_spread=worst,
        worst_at=worst_at,
        positions=tuple(float(position) for position in positions),
        planes=planes,
    )
