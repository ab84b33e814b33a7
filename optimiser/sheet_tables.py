"""What the layup sheet tables: what is cut, checked and bought for one shaft."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from model import METRICS, hung_drops
from optimiser.setup_words import bench_setup
from optimiser.shop_units import SI, ShopUnits, inward
from optimiser.words import NONE, edge_text, ei_column, spec_target

if TYPE_CHECKING:
    from model import FlagReport, Metric, Report
    from optimiser.spec import Spec

#: least deviation from a straight edge that a cutter is told about [m]
EDGE_TOLERANCE = 2e-5
#: a step of the finished or built diameter that an anvil would ride on [m]
_STEP = 5e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPoint:
    """Width of a piece at one place of its edge."""

    station: float  #: from the finished tip, before it where trimmed [m]
    along: float  #: from the tip-side edge of the piece [m]
    width: float  #: [m]


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckDiameter:
    """Diameters of the shaft at a station where an inspector can measure them."""

    station: float  #: from the finished tip [m]
    on_mandrel: float  #: from the mandrel's small end [m]
    bore: float  #: [m]
    build: float  #: before grinding [m]
    ground: float  #: finished, before paint [m]


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchRow:
    """A predicted bench value and what is accepted."""

    quantity: str  #: with its unit as suffix, as in other tables
    label: str
    unit: str
    decimals: int
    predicted: float | None  #: in its unit; None where the test does not fit
    low: float  #: least accepted, in its unit; -inf where open
    high: float  #: most accepted; inf where open
    setup: str
    #: what really hangs, where the prediction and its band are linear; in its unit
    bench_reads: float | None = None

    @property
    def accept(self) -> str:
        """What is accepted, in words; a dash where all is open."""
        low, high = (edge_text(edge, self.decimals) for edge in (self.low, self.high))
        if low != NONE and high != NONE:
            return f"{low} to {high}"
        if low != NONE:
            return f"at least {low}"
        return NONE if high == NONE else f"at most {high}"


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialTotal:
    """What one material takes for one shaft."""

    material: str
    flags: int
    pieces: int
    area_net: float  #: [m²]
    area_gross: float  #: [m²]
    mass_cut: float  #: as cut [kg]
    mass: float  #: in the finished shaft [kg]
    cost: float  #: [currency]


def clock_degrees(report: Report) -> tuple[float, ...]:
    """Where each flag's straight edge is laid: stated, or as the predictions have it.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]

    Returns
    -------
    positions : tuple of float
        Round the mandrel in the sense of rolling, from 0 to 360. [deg]
    """
    return tuple(math.degrees(p) % 360.0 for p in report.clock.positions)


def cut_points(flag: FlagReport) -> tuple[CutPoint, ...]:
    """Places of a piece's edge that a cutter needs.

    Parameters
    ----------
    flag : FlagReport
        One flag as cut. [-]

    Returns
    -------
    points : tuple of CutPoint
        Both ends and each place between where the edge bends or steps; a step stands
        twice. What lies on a straight edge to 0.02 mm is left out. [-]
    """
    station = np.asarray(flag.cut_station, dtype=np.float64)
    width = np.asarray(flag.cut_width, dtype=np.float64)
    keep = [0]
    while keep[-1] < len(station) - 1:
        keep.append(_straight_to(station, width, keep[-1]))
    return tuple(
        CutPoint(
            station=float(station[i]),
            along=float(station[i] - station[0]),
            width=float(width[i]),
        )
        for i in keep
    )


def _straight_to(
    station: NDArray[np.float64], width: NDArray[np.float64], first: int
) -> int:
    """Find the last point that a straight edge from the first one reaches."""
    last = first + 1
    for candidate in range(first + 2, len(station)):
        run = station[candidate] - station[first]
        if run <= 0.0:
            break
        between = slice(first + 1, candidate)
        share = (station[between] - station[first]) / run
        edge = width[first] + share * (width[candidate] - width[first])
        if np.abs(edge - width[between]).max() > EDGE_TOLERANCE:
            break
        last = candidate
    return last


def check_diameters(report: Report, units: ShopUnits = SI) -> tuple[CheckDiameter, ...]:
    """Diameters at the inspector's stations.

    Both ends, the end of the tip parallel and every 100 mm or 4 in; a station that
    would lie on a step is moved on, since an anvil across a step measures neither side.

    Parameters
    ----------
    report : Report
        An evaluated design. [-]
    units : ShopUnits
        Units of the inspector's rule. [-]

    Returns
    -------
    rows : tuple of CheckDiameter
        From the tip to the butt. [-]
    """
    shaft, finish = report.design.shaft, report.design.finish
    profile = report.profile
    at = np.asarray(profile.station, dtype=np.float64)
    steps = [
        float(at[i])
        for i in range(len(at) - 1)
        if at[i + 1] - at[i] < 1e-9
        and max(
            abs(profile.build_diameter[i + 1] - profile.build_diameter[i]),
            abs(profile.outer_diameter[i + 1] - profile.outer_diameter[i]),
        )
        > _STEP
    ]
    spacing, clearance = units.check_spacing, units.clearance
    wanted = list(np.arange(spacing, shaft.length - clearance, spacing))
    if finish.tip_diameter is not None and finish.tip_parallel > 2.0 * clearance:
        # inside the parallel, clear of where it ends
        wanted.append(finish.tip_parallel - clearance)
    chosen = {0.0, shaft.length}
    for station in wanted:
        clear = station
        while any(abs(clear - step) < clearance - 1e-9 for step in steps):
            clear += clearance
        if clear < shaft.length - clearance:
            chosen.add(round(float(clear), 7))
    return tuple(
        CheckDiameter(
            station=station,
            on_mandrel=shaft.mandrel_set + station,
            bore=_at(at, profile.inner_diameter, station),
            build=_at(at, profile.build_diameter, station),
            ground=_at(at, profile.outer_diameter, station),
        )
        for station in sorted(chosen)
    )


def _at(
    station: NDArray[np.float64], values: NDArray[np.float64], where: float
) -> float:
    """Value at a station; at the ends, the one inside the shaft."""
    if where <= station[0]:
        return float(values[np.flatnonzero(station <= station[0] + 1e-12)[-1]])
    if where >= station[-1]:
        return float(values[np.flatnonzero(station >= station[-1] - 1e-12)[0]])
    return float(np.interp(where, station, values))


def bench_rows(
    report: Report, spec: Spec | None = None, units: ShopUnits = SI
) -> tuple[BenchRow, ...]:
    """Predicted bench values, the set-up each is for and the spec's bands.

    Parameters
    ----------
    report : Report
        An evaluated design. [-]
    spec : Spec or None
        Its bands are the acceptance limits; all is open without. [-]
    units : ShopUnits
        Units of the rows. [-]

    Returns
    -------
    rows : tuple of BenchRow
        Each metric that a bench can measure, then the spec's EI points. [-]
    """
    rows = []
    drops = hung_drops(report)
    for metric in METRICS:
        if not metric.is_measured:
            continue
        unit, suffix, scale, decimals = _shown_in(metric, units)
        drop = drops.get(metric.key)
        large = None if drop is None else drop.large
        value = report.metrics[metric.key]
        target = spec_target(spec, metric.key)
        low, high = -math.inf, math.inf
        if target is not None:
            low, high = target.low * scale, target.high * scale
        if scale != metric.scale:  # digits it was not given in
            low, high = inward(low, high, decimals)
        rows.append(
            BenchRow(
                quantity=f"{metric.key}_{suffix}" if suffix else metric.column,
                label=metric.label,
                unit=unit,
                decimals=decimals,
                predicted=None if value is None else value * scale,
                low=low,
                high=high,
                setup=bench_setup(report.design, metric.key, units),
                bench_reads=None if large is None else large * scale,
            )
        )
    measure, length = units.stiffness, units.length
    for point in () if spec is None else spec.ei_targets:
        low = (point.target - point.tolerance) * measure.per_si
        high = (point.target + point.tolerance) * measure.per_si
        if measure.per_si != 1.0:
            low, high = inward(low, high, measure.decimals)
        at = length.text(point.station)
        quantity = ei_column(point.station)
        if units is not SI:
            quantity = f"ei_at_{at}_{length.suffix}_{measure.suffix}"
        rows.append(
            BenchRow(
                quantity=quantity,
                label=f"EI at {at} {length.unit}",
                unit=measure.unit,
                decimals=measure.decimals,
                predicted=ei_at(report, point.station) * measure.per_si,
                low=low,
                high=high,
                setup="local bending stiffness; a three-point reading is a mean "
                "over its span",
            )
        )
    return tuple(rows)


def _shown_in(metric: Metric, units: ShopUnits) -> tuple[str, str, float, int]:
    """Unit, suffix, scale and decimals of a metric."""
    if units is SI or metric.dimension != "length":
        return metric.unit, "", metric.scale, metric.decimals
    measure = units.diameter if metric.key.endswith("_diameter") else units.length
    return measure.unit, measure.suffix, measure.per_si, measure.decimals


def ei_at(report: Report, station: float) -> float:
    """Bending stiffness at a station, the mean of both sides at a step.

    Parameters
    ----------
    report : Report
        An evaluated design. [-]
    station : float
        From the tip. [m]

    Returns
    -------
    EI : float
        Bending stiffness there. [N·m²]
    """
    profile = report.profile
    same = np.abs(profile.station - station) < 1e-7
    if same.any():
        return float(np.mean(profile.EI[same]))
    return float(np.interp(station, profile.station, profile.EI))


def material_totals(report: Report) -> tuple[MaterialTotal, ...]:
    """Add up what each material takes for one shaft.

    Parameters
    ----------
    report : Report
        An evaluated design. [-]

    Returns
    -------
    rows : tuple of MaterialTotal
        In the order the materials are first rolled. [-]
    """
    rows = []
    for material in dict.fromkeys(flag.material for flag in report.flags):
        flags = [flag for flag in report.flags if flag.material == material]
        rows.append(
            MaterialTotal(
                material=material,
                flags=len(flags),
                pieces=sum(flag.pieces for flag in flags),
                area_net=sum(flag.area_net for flag in flags),
                area_gross=sum(flag.area_gross for flag in flags),
                mass_cut=sum(flag.mass_cut for flag in flags),
                mass=sum(flag.mass for flag in flags),
                cost=sum(flag.cost for flag in flags),
            )
        )
    return tuple(rows)
