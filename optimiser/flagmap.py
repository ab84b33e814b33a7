"""Geometry of the flag map: each flag along the shaft, to scale, in rolling order.

Whatever draws the map, on screen or on paper, draws these rows, so both agree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from model import angle_text
from optimiser.words import rolled_text

if TYPE_CHECKING:
    from model import Mandrel, Report

Kind = Literal["straight", "bias", "hoop"]

#: Name of each fibre direction kind in a legend.
KIND_LABELS: dict[Kind, str] = {
    "straight": "0°, straight",
    "bias": "bias",
    "hoop": "90°, hoop",
}

#: Fill of each kind: blue, amber, light grey differ in lightness as well as in hue,
#: so they stay apart for colour-blind readers and on a grey printer.
KIND_COLOURS: dict[Kind, str] = {
    "straight": "#7FB2D9",
    "bias": "#F6C667",
    "hoop": "#E4E1DC",
}

#: Ink of outlines and words.
INK = "#1F2A36"


@dataclass(frozen=True, slots=True, kw_only=True)
class MapRow:
    """One flag of the map."""

    order: int  #: place in the rolling order, from 1
    name: str
    label: str  #: material, angle, wraps
    kind: Kind
    angle: float  #: fibre angle from the shaft axis [rad]
    is_pair: bool
    start: float  #: rolled start from the finished tip, before it where trimmed [m]
    end: float  #: rolled end [m]
    outline: tuple[tuple[float, float], ...]  #: station [m] and share of full wraps


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagMap:
    """Map of a shaft's flags."""

    rows: tuple[MapRow, ...]
    start: float  #: tip end of the blank, 0 or less [m]
    end: float  #: butt end of the blank [m]
    length: float  #: finished length [m]
    tip_parallel: float  #: ground parallel from the tip, 0 where there is none [m]
    tip_blend: float  #: length of the blend beyond it [m]
    breaks: tuple[tuple[float, float], ...]  #: station and diameter of mandrel breaks


def kind_of(angle: float) -> Kind:
    """Fibre direction kind of an angle.

    Parameters
    ----------
    angle : float
        From the shaft axis. [rad]

    Returns
    -------
    kind : {"straight", "bias", "hoop"}
        Straight and hoop to within half a degree. [-]

    Examples
    --------
    >>> [kind_of(math.radians(a)) for a in (0, 45, -30, 90)]
    ['straight', 'bias', 'bias', 'hoop']
    """
    degrees = abs(math.degrees(angle))
    if degrees < 0.5:
        return "straight"
    return "hoop" if degrees > 89.5 else "bias"


def flag_map(report: Report, mandrel: Mandrel | None = None) -> FlagMap:
    """Lay out the flag map of a design.

    Parameters
    ----------
    report : Report
        An evaluated design. [-]
    mandrel : Mandrel or None
        Its mandrel, to mark where its taper changes. [-]

    Returns
    -------
    layout : FlagMap
        One row a flag, first rolled first. [-]
    """
    shaft, finish = report.design.shaft, report.design.finish
    start, end = -shaft.trim_tip, shaft.length + shaft.trim_butt
    rows = []
    flags = zip(report.flags, report.design.flags, strict=True)
    for order, (cut, flag) in enumerate(flags, start=1):
        a, b = float(cut.cut_station[0]), float(cut.cut_station[-1])
        angle = angle_text(cut.angle, is_pair=cut.is_pair)
        rows.append(
            MapRow(
                order=order,
                name=cut.name,
                label=f"{cut.material}  {angle}°  {rolled_text(cut)}",
                kind=kind_of(cut.angle),
                angle=cut.angle,
                is_pair=cut.is_pair,
                start=a,
                end=b,
                outline=(
                    (a, 0.0),
                    (a + flag.run_out_tip, 1.0),
                    (b - flag.run_out_butt, 1.0),
                    (b, 0.0),
                ),
            )
        )
    has_parallel = finish.tip_diameter is not None
    breaks: tuple[tuple[float, float], ...] = ()
    if mandrel is not None:
        breaks = tuple(
            (x - shaft.mandrel_set, d)
            for x, d in zip(mandrel.distance, mandrel.diameter, strict=True)
            if start < x - shaft.mandrel_set < end
        )
    return FlagMap(
        rows=tuple(rows),
        start=start,
        end=end,
        length=shaft.length,
        tip_parallel=finish.tip_parallel if has_parallel else 0.0,
        tip_blend=finish.tip_blend if has_parallel else 0.0,
        breaks=breaks,
    )
