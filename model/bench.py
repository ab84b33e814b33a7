"""Bench tests beyond the linear ones, on a shaft that was evaluated.

The metrics of a shaft come from small-deflection theory at its own set-up. Here the
same tests are followed to their true shape, and the EI profile machine is moved along
the shaft.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.design import Bench, Design
from model.elastica import LargeDeflection, cantilever_drop, overhang_drop
from model.errors import ModelRangeError
from model.profile_machine import Machine, Reading, read_profile
from model.report import Report

Array = NDArray[np.float64]

#: Metrics that hang a load from the shaft.
DEFLECTIONS: Final = ("tip_deflection", "butt_deflection", "cantilever_deflection")


@dataclass(frozen=True, slots=True, kw_only=True)
class WallStiffness:
    """What a local load feels of the wall, along the stations of a profile."""

    kGA: Array  #: transverse shear stiffness of the tube [N]
    D22: Array  #: hoop bending stiffness of the wall [N·m]
    radius: Array  #: mean radius of the wall [m]


@dataclass(frozen=True, slots=True, kw_only=True)
class Drop:
    """One hung load: the metric, and what large deflection makes of it."""

    linear: float  #: the metric [m]
    large: float | None  #: by exact theory; None where the shaft slips off [m]
    reach: float  #: from the clamp or the near support to the load [m]
    slope: float | None  #: of the shaft at the load [rad]


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchReadings:
    """What the bench should read of one shaft."""

    drops: dict[str, Drop | None]  #: by metric; None where a test does not fit
    flex_point_ratio: float | None  #: of the drops by exact theory [-]
    machine: Machine
    readings: tuple[Reading, ...]  #: at the machine's sites
    has_flattening: bool  #: whether the readings include it


def wall_stiffness(report: Report) -> WallStiffness:
    """Stiffness of the wall that the metrics have no use for.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]

    Returns
    -------
    wall : WallStiffness
        At the stations of the report's profile. [N, N·m, m]
    """
    profile = report.profile
    radius = (profile.inner_diameter + profile.outer_diameter) / 4.0
    return WallStiffness(kGA=profile.kGA, D22=profile.D22, radius=radius)


def machine_of(bench: Bench, span: float | None = None) -> Machine:
    """Machine that a design's bench describes.

    Parameters
    ----------
    bench : Bench
        Bench of a design. [SI]
    span : float or None
        Instead of the bench's own. [m]

    Returns
    -------
    machine : Machine
        Span, load and sites. [SI]
    """
    return Machine(
        span=bench.profile_span if span is None else span,
        load=bench.profile_load,
        first=bench.profile_first,
        step=bench.profile_step,
    )


def hung_drops(report: Report) -> dict[str, Drop | None]:
    """Drops of the tests that hang a load from the shaft, by exact theory too.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]

    Returns
    -------
    drops : dict of str to Drop or None
        By metric; None where a test does not fit. [m]
    """
    return {key: _drop(report, key) for key in DEFLECTIONS}


def bench_readings(
    report: Report,
    wall: WallStiffness,
    machine: Machine,
    *,
    flattening: bool = False,
) -> BenchReadings:
    """Predict what the bench reads of a shaft.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    wall : WallStiffness
        Stiffness of its wall. [N, N·m, m]
    machine : Machine
        How its EI profile is read. [SI]
    flattening : bool
        Whether the shaft flattens under the machine's load and supports. [-]

    Returns
    -------
    readings : BenchReadings
        Drops by exact theory, and the EI profile. [SI]
    """
    drops = hung_drops(report)
    tip, butt = drops["tip_deflection"], drops["butt_deflection"]
    ratio = None
    if tip is not None and butt is not None and tip.large and butt.large:
        ratio = tip.large / (tip.large + butt.large)
    return BenchReadings(
        drops=drops,
        flex_point_ratio=ratio,
        machine=machine,
        readings=machine_readings(report, wall, machine, flattening=flattening),
        has_flattening=flattening,
    )


def machine_readings(
    report: Report,
    wall: WallStiffness,
    machine: Machine,
    *,
    stations: tuple[float, ...] | None = None,
    flattening: bool = False,
) -> tuple[Reading, ...]:
    """Read the EI profile of a shaft.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    wall : WallStiffness
        Stiffness of its wall. [N, N·m, m]
    machine : Machine
        Span, load and sites. [SI]
    stations : tuple of float or None
        Where to read; None for the machine's own sites. [m]
    flattening : bool
        Whether the shaft flattens under the load and over the supports. [-]

    Returns
    -------
    readings : tuple of Reading
        One a site. [SI]

    Raises
    ------
    ModelRangeError
        If a support lies off the shaft.
    """
    return read_profile(
        report.profile.station,
        report.profile.EI,
        wall.kGA,
        machine,
        stations=stations,
        D22=wall.D22 if flattening else None,
        radius=wall.radius if flattening else None,
    )


def _drop(report: Report, key: str) -> Drop | None:
    """One hung load; the metric stands for the linear drop, as it is printed."""
    linear = report.metrics.get(key)
    if linear is None:
        return None
    try:
        bent = _bent(report, key)
    except ModelRangeError:
        reach = _reach(report.design, key)
        return Drop(linear=linear, large=None, reach=reach, slope=None)
    return Drop(
        linear=linear,
        large=linear * bent.ratio,
        reach=bent.reach,
        slope=bent.slope,
    )


def _reach(design: Design, key: str) -> float:
    bench = design.bench
    if key == "tip_deflection":
        return bench.tip_load_at - bench.tip_support
    if key == "butt_deflection":
        return bench.butt_load_at - bench.butt_support
    clamp = design.shaft.length - bench.cantilever_clamp
    return clamp - bench.cantilever_load_at


def _bent(report: Report, key: str) -> LargeDeflection:
    bench, length = report.design.bench, report.design.shaft.length
    x, EI = report.profile.station, report.profile.EI
    if key == "tip_deflection":
        return overhang_drop(
            x,
            EI,
            load_at=bench.tip_load_at,
            support=bench.tip_support,
            hold=bench.tip_hold,
            load=bench.tip_load,
        )
    if key == "butt_deflection":
        return overhang_drop(
            x,
            EI,
            load_at=length - bench.butt_load_at,
            support=length - bench.butt_support,
            hold=length - bench.butt_hold,
            load=bench.butt_load,
        )
    return cantilever_drop(
        x,
        EI,
        clamp=length - bench.cantilever_clamp,
        load_at=bench.cantilever_load_at,
        load=bench.cantilever_load,
    )
