"""The machine that reads an EI profile: three-point bending, moved along the shaft.

The bar lies on two supports and is loaded midway between them; the machine turns the
deflection into EI = F L³/(48 y) and is moved on by a step. Such a reading is no EI at a
point. It is a mean over the span, most of it from the middle; it counts the shear of
the wall as bending, which takes 1 to 4 % off; and where the wall is thin it is lower
still, since the tube flattens under the load and over the supports. So a measured
profile is laid over predicted *readings*, never over the EI of the wall.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.beam import three_point_deflection
from model.errors import ModelRangeError

Array = NDArray[np.float64]

#: Sum of n/(n² - 1)^1.5 over the modes n = 2, 3, ... of a ring.
_ALL_MODES: Final = 0.8132150
#: Longest cell on which curvature is taken linear. [m]
_CELL: Final = 0.0025
#: Stiffness that leaves out shear. [N]
_NO_SHEAR: Final = 1e30
#: Stations closer than this are one. [m]
_SLACK: Final = 1e-8


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """How a profile is read; the defaults are those of US patent 7,427,240."""

    span: float = 0.200  #: between the supports [m]
    load: float = 196.133  #: in mid-span, 20 kgf [N]
    first: float = 0.130  #: first site, from the tip [m]
    step: float = 0.100  #: from site to site [m]

    def sites(self, length: float) -> tuple[float, ...]:
        """Sites at which both supports find the shaft.

        Parameters
        ----------
        length : float
            Of the shaft. [m]

        Returns
        -------
        sites : tuple of float
            From the tip; none where the shaft is too short. [m]
        """
        start = self.first
        if start < self.span / 2.0 - _SLACK:
            start += self.step * math.ceil((self.span / 2.0 - start) / self.step - 1e-9)
        n = math.floor((length - self.span / 2.0 - start) / self.step + 1e-9) + 1
        return tuple(round(start + self.step * k, 9) for k in range(max(n, 0)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What the machine reads at one site, and what the wall has there."""

    station: float  #: of the load, from the tip [m]
    reading: float  #: F L³/(48 y) [N·m²]
    EI: float  #: of the wall in mid-span; mean of both sides of a jump [N·m²]
    mean_EI: float  #: over the span [N·m²]
    deflection: float  #: under the load [m]
    shear_share: float  #: of the deflection [-]
    flattening_share: float  #: of the deflection; 0 where it is not looked at [-]


def flattening_compliance(EI: float, D22: float, radius: float) -> float:
    """How far a point load presses into a long tube, by flattening alone.

    Parameters
    ----------
    EI : float
        Bending stiffness of the tube. [N·m²]
    D22 : float
        Hoop bending stiffness of its wall. [N·m]
    radius : float
        Mean radius of its wall. [m]

    Returns
    -------
    compliance : float
        Way of the load towards the tube's axis over the load, beyond the bending of
        the tube as a beam. [m/N]

    Notes
    -----
    The tube is a row of rings that bend without stretching, w = a_n cos nθ, tied by
    the wall's stiffness along the axis A = EI/(π R³): each mode is a beam under a point
    load on an elastic bed, of bending stiffness π A R³/n⁴ and bed stiffness
    π (n² - 1)² D22/R³. The modes of the bed alone are those of a thin ring, whose
    crushing under two loads they give to all digits, 0.148778 P R³/(D22 b) [1]_. Of a
    tube of 5 to 15 wall thicknesses radius the sum is 25 to 8 % above that of Morley's
    shell equation, in which short modes are stiffer; a load on a pad or in a saddle
    presses less deep still. An estimate, on the high side.

    References
    ----------
    .. [1] Roark's Formulas for Stress and Strain, formulas for circular rings, case of
       two opposite loads (from memory).

    Examples
    --------
    >>> y = flattening_compliance(60.0, 1.2, 7.3e-3)
    >>> print(f"{1e6 * 196.133 * y:.0f} micrometres under 20 kgf")
    117 micrometres under 20 kgf
    """
    axial = EI / (math.pi * radius**3)
    stiff = 2.0 * math.sqrt(2.0) * math.pi * D22**0.75 * axial**0.25
    return float(_ALL_MODES * radius**1.5 / stiff)


def read_profile(
    x: Array,
    EI: Array,
    kGA: Array,
    machine: Machine,
    *,
    stations: tuple[float, ...] | None = None,
    D22: Array | None = None,
    radius: Array | None = None,
) -> tuple[Reading, ...]:
    """Read the EI profile of a bar as the machine would.

    Parameters
    ----------
    x, EI, kGA : ndarray, shape (n_x,)
        Stations, doubled at jumps, bending and transverse shear stiffness.
        [m, N·m², N]
    machine : Machine
        Span, load and sites. [SI]
    stations : tuple of float or None
        Where to read; None for the machine's own sites. [m]
    D22, radius : ndarray, shape (n_x,), or None
        Hoop bending stiffness and mean radius of the wall; with both of them the
        tube flattens under the load and over each support. [N·m, m]

    Returns
    -------
    readings : tuple of Reading
        One a site. [SI]

    Raises
    ------
    ModelRangeError
        If a support lies off the bar.

    Examples
    --------
    >>> x = np.linspace(0.0, 1.0, 41)
    >>> bar = read_profile(x, 0 * x + 40.0, 0 * x + 1e5, Machine())
    >>> len(bar), f"{bar[0].reading:.3f}", f"{bar[0].shear_share:.4f}"
    (8, '35.714', '0.1071')
    """
    sites = machine.sites(float(x[-1] - x[0])) if stations is None else stations
    # a support at the very end of the bar is not to fall off it by rounding
    x = x.copy()
    x[0] -= _SLACK
    x[-1] += _SLACK
    fine = _finer(x, EI, kGA)
    return tuple(
        _reading(x, EI, fine, machine, station, D22, radius) for station in sites
    )


def _finer(x: Array, EI: Array, kGA: Array) -> tuple[Array, Array, Array]:
    """Split the cells of a bar: its stiffness stays, curvature follows it closer."""
    at, bend, shear = [], [], []
    for i in range(len(x) - 1):
        n = max(math.ceil((x[i + 1] - x[i]) / _CELL), 1) + 1
        at.append(np.linspace(x[i], x[i + 1], n))
        bend.append(np.linspace(EI[i], EI[i + 1], n))
        shear.append(np.linspace(kGA[i], kGA[i + 1], n))
    return np.concatenate(at), np.concatenate(bend), np.concatenate(shear)


def _reading(
    x: Array,
    EI: Array,
    fine: tuple[Array, Array, Array],
    machine: Machine,
    station: float,
    D22: Array | None,
    radius: Array | None,
) -> Reading:
    span, load = machine.span, machine.load
    grid, bend, shear = fine
    total = three_point_deflection(
        grid, bend, shear, centre=station, span=span, load=load
    )
    bending = three_point_deflection(
        grid, bend, 0.0 * grid + _NO_SHEAR, centre=station, span=span, load=load
    )
    flat = 0.0
    if D22 is not None and radius is not None:

        def pressed(at: float) -> float:
            return flattening_compliance(
                at_station(x, EI, at), at_station(x, D22, at), at_station(x, radius, at)
            )

        # half the load on each support lifts mid-span by the mean of both
        ends = pressed(station - span / 2.0) + pressed(station + span / 2.0)
        flat = load * (pressed(station) + 0.25 * ends)
    deflection = total + flat
    return Reading(
        station=station,
        reading=load * span**3 / (48.0 * deflection),
        EI=at_station(x, EI, station),
        mean_EI=_mean(x, EI, station - span / 2.0, station + span / 2.0),
        deflection=deflection,
        shear_share=(total - bending) / deflection,
        flattening_share=flat / deflection,
    )


def at_station(x: Array, values: Array, station: float) -> float:
    """Value at a station; the mean of both sides where it jumps there.

    Parameters
    ----------
    x, values : ndarray, shape (n_x,)
        Stations, doubled at jumps, and values, linear between them. [m, -]
    station : float
        Where to look. [m]

    Returns
    -------
    value : float
        As the values. [-]

    Raises
    ------
    ModelRangeError
        If the station lies off the bar.
    """
    if not x[0] - _SLACK <= station <= x[-1] + _SLACK:
        raise ModelRangeError(
            f"{station:.4f} m lies off the bar, {x[0]:.4f} to {x[-1]:.4f} m"
        )
    here = np.abs(x - station) <= _SLACK
    if here.any():
        return float(values[here].mean())
    return float(np.interp(station, x, values))


def _mean(x: Array, values: Array, a: float, b: float) -> float:
    """Mean over a stretch of what is linear between stations."""
    inner = (x > a) & (x < b)
    # a jump at an end of the stretch counts with its inner side
    first = float(values[np.searchsorted(x, a + _SLACK) - 1])
    last = float(values[np.searchsorted(x, b - _SLACK)])
    if not np.any(np.abs(x - a) <= _SLACK):
        first = float(np.interp(a, x, values))
    if not np.any(np.abs(x - b) <= _SLACK):
        last = float(np.interp(b, x, values))
    line = np.concatenate([[a], x[inner], [b]])
    height = np.concatenate([[first], values[inner], [last]])
    return float(np.trapezoid(height, line) / (b - a))
