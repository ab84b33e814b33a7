"""One shaft, evaluated: the facade that people and programs call."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.batch import (
    CELL,
    Conditions,
    Sheet,
    Work,
    evaluate_batch,
    layups_of,
    workspace,
)
from model.design import Design, Flag, design_id
from model.errors import Fault, InputError
from model.library import Library, Ply
from model.metrics import (
    BIAS_GROUND,
    METRICS,
    ROLL_OVERHANG,
    TIP_GRIND_DEPTH,
    TIP_SHORTAGE,
    WALL_MIN,
)
from model.strength import ply_strains
from model.wall import SAME_STATION

Array = NDArray[np.float64]

#: Radial depth of tip grinding above which is warned. [m]
DEEP_GRIND = 0.5e-3
#: Deflection over length above which small-deflection theory is warned about.
LARGE_DEFLECTION = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """The finished shaft along its stations; a station stands twice where it jumps."""

    station: Array  #: from the tip [m]
    inner_diameter: Array  #: [m]
    outer_diameter: Array  #: finished [m]
    build_diameter: Array  #: before grinding [m]
    EI: Array  #: [N·m²]
    GJ: Array  #: [N·m²]
    mass_per_length: Array  #: [kg/m]
    margin: Array  #: least fibre margin under the envelope; inf where no moment [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagReport:
    """One flag as cut and as rolled."""

    name: str
    material: str
    angle: float  #: [rad]
    is_pair: bool
    wraps: float  #: [-]
    start: float  #: in the finished shaft [m]
    end: float  #: [m]
    cut_station: Array  #: where the cut width changes; may lie in the trims [m]
    cut_width: Array  #: width of a piece there [m]
    cut_length: float  #: [m]
    pieces: int  #: 1, or 2 for a pair
    splices: int  #: in a piece
    area_net: float  #: all pieces as cut [m²]
    area_gross: float  #: of roll [m²]
    mass: float  #: in the finished shaft [kg]
    mass_cut: float  #: prepreg as cut [kg]
    cost: float  #: [currency]


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthPoint:
    """Margins at one point of the strength test, or the worst of the envelope."""

    name: str  #: T, A, B, C or envelope
    station: float | None  #: None where the test does not fit the shaft [m]
    moment: float | None  #: [N·m]
    margin: float | None  #: least allowable over actual fibre strain, less one [-]
    flag: str | None
    mode: str | None  #: fibre tension or fibre compression
    cracking_margin: float | None  #: the same for cracks along the fibres [-]
    cracking_flag: str | None
    cracking_mode: str | None  #: transverse tension or shear


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Everything that is predicted of one shaft."""

    design: Design
    design_id: str
    metrics: dict[str, float | None]  #: by key, SI; None where the test does not fit
    profile: Profile
    flags: tuple[FlagReport, ...]
    strength: tuple[StrengthPoint, ...]
    warnings: tuple[str, ...]
    currency: str

    def to_json(self) -> dict[str, Any]:
        """The report as JSON values, units in the keys.

        Returns
        -------
        data : dict
            Name, metrics, profile, flags, strength, warnings. [-]
        """
        profile = self.profile
        return {
            "name": self.design.name,
            "id": self.design_id,
            "currency": self.currency,
            "metrics": {
                metric.column: _scaled(self.metrics[metric.key], metric.scale)
                for metric in METRICS
            },
            "profile": {
                "station_mm": _rounded(profile.station * 1e3),
                "inner_diameter_mm": _rounded(profile.inner_diameter * 1e3),
                "outer_diameter_mm": _rounded(profile.outer_diameter * 1e3),
                "ei_n_m2": _rounded(profile.EI),
                "gj_n_m2": _rounded(profile.GJ),
                "mass_g_per_m": _rounded(profile.mass_per_length * 1e3),
            },
            "flags": [
                {
                    "name": flag.name,
                    "material": flag.material,
                    "angle": angle_text(flag.angle, is_pair=flag.is_pair),
                    "start_mm": round(flag.start * 1e3, 4),
                    "end_mm": round(flag.end * 1e3, 4),
                    "wraps": flag.wraps,
                    "area_net_m2": flag.area_net,
                    "area_gross_m2": flag.area_gross,
                    "mass_g": flag.mass * 1e3,
                    "mass_cut_g": flag.mass_cut * 1e3,
                    "cost": flag.cost,
                }
                for flag in self.flags
            ],
            "strength": [
                {
                    "name": point.name,
                    "station_mm": _scaled(point.station, 1e3),
                    "moment_n_m": point.moment,
                    "margin": point.margin,
                    "flag": point.flag,
                    "mode": point.mode,
                    "cracking_margin": point.cracking_margin,
                    "cracking_flag": point.cracking_flag,
                    "cracking_mode": point.cracking_mode,
                }
                for point in self.strength
            ],
            "warnings": list(self.warnings),
        }


def _scaled(value: float | None, scale: float) -> float | None:
    return None if value is None else value * scale


def _rounded(values: Array) -> list[float]:
    return [float(f"{value:.10g}") for value in values]


def angle_text(angle: float, *, is_pair: bool) -> str:
    """A fibre angle as it is written in a design: "0", "90", "±45", "-30".

    Parameters
    ----------
    angle : float
        Fibre angle. [rad]
    is_pair : bool
        Whether it stands for a pair of +angle and -angle. [-]

    Returns
    -------
    text : str
        Degrees. [deg]
    """
    number = f"{math.degrees(angle):.4f}".rstrip("0").rstrip(".")
    return f"±{number}" if is_pair else number


def evaluate(
    design: Design,
    library: Library,
    *,
    cell: float = CELL,
) -> Report:
    """Evaluate one design.

    Parameters
    ----------
    design : Design
        The shaft. [SI]
    library : Library
        Its materials and mandrel. [-]
    cell : float
        Longest cell between two points. [m]

    Returns
    -------
    report : Report
        Metrics, profile, flags, strength, warnings. [SI]

    Raises
    ------
    InputError
        If the wall is ground through, too thin for the tip diameter, or a piece lies
        wider than the roll.
    """
    sheets = tuple(
        dict.fromkeys(Sheet(f.material, f.angle, f.is_pair) for f in design.flags)
    )
    shared = Conditions.of(
        library,
        sheets=sheets,
        mandrels=[design.shaft.mandrel],
        finish=design.finish,
        bench=design.bench,
        cutting=design.cutting,
        trim_tip=design.shaft.trim_tip,
        trim_butt=design.shaft.trim_butt,
        cell=cell,
    )
    work = workspace(shared, len(design.flags), design.shaft.length)
    batch = evaluate_batch(layups_of([design], shared), shared, work=work)
    _check_build(design, batch.shop[0], work)
    metrics: dict[str, float | None] = {
        metric.key: None if math.isnan(value) else float(value)
        for metric, value in zip(METRICS, batch.metrics[0], strict=True)
    }
    _, tip, butt = work.counts
    finished = slice(tip, butt + 1)
    with np.errstate(divide="ignore"):
        margin = 1.0 / work.use[finished] - 1.0
    profile = Profile(
        station=work.x[finished].copy(),
        inner_diameter=2.0 * work.mandrel[finished],
        outer_diameter=2.0 * work.finished[finished],
        build_diameter=2.0 * work.build[finished],
        EI=work.EI[finished].copy(),
        GJ=work.GJ[finished].copy(),
        mass_per_length=work.m[finished].copy(),
        margin=margin,
    )
    plies = dict(zip(shared.sheets, shared.plies, strict=True))
    return Report(
        design=design,
        design_id=design_id(design, library),
        metrics=metrics,
        profile=profile,
        flags=tuple(
            _flag_report(k, design, library, plies, work)
            for k in range(len(design.flags))
        ),
        strength=_strength(design, plies, work),
        warnings=tuple(_warnings(design, batch.shop[0], metrics)),
        currency=library.currency,
    )


def _check_build(design: Design, shop: Array, work: Work) -> None:
    faults = []
    finish = design.finish
    if shop[WALL_MIN] <= 0.0:
        _, tip, butt = work.counts
        wall = work.finished[tip : butt + 1] - work.mandrel[tip : butt + 1]
        at = int(np.argmin(wall))
        build = work.build[tip + at] - work.mandrel[tip + at]
        faults.append(
            Fault(
                "[finish]",
                "grind" if finish.grind >= build else "tip_diameter",
                f"{1e3 * (work.build - work.finished)[tip + at]:.3f} mm off the radius",
                f"ground through the wall at {1e3 * work.x[tip + at]:.1f} mm, where "
                f"the build is {1e3 * build:.3f} mm thick. Grind less or add a flag "
                "there.",
            )
        )
    if shop[TIP_SHORTAGE] > 1e-9 and finish.tip_diameter is not None:
        short = 2e3 * shop[TIP_SHORTAGE]
        faults.append(
            Fault(
                "[finish]",
                "tip_diameter",
                f"{1e3 * finish.tip_diameter:.3f} mm",
                f"the build is too thin for it: {short:.3f} mm of diameter are missing "
                "within the tip parallel. Add wraps at the tip, or set the mandrel so "
                "that the tip lies further up it.",
            )
        )
    if shop[ROLL_OVERHANG] > 0.0:
        faults.append(
            Fault(
                "[cutting]",
                None,
                None,
                f"a piece lies {1e3 * shop[ROLL_OVERHANG]:.1f} mm wider than its roll, "
                "and its angle is below splice_from. Shorten the flag, choose another "
                "angle, or lower splice_from.",
            )
        )
    if faults:
        raise InputError(design.name, faults)


def _flag_report(
    k: int,
    design: Design,
    library: Library,
    plies: dict[Sheet, Ply],
    work: Work,
) -> FlagReport:
    flag = design.flags[k]
    prepreg = library.prepregs[flag.material]
    ply = plies[Sheet(flag.material, flag.angle, flag.is_pair)]
    pieces = 2 if flag.is_pair else 1
    _, tip, butt = work.counts
    first, last = work.first[k], work.last[k]
    covered = slice(first, last + 1)
    x = work.x[covered]
    # the radius under the flag before grinding: the rings below, unclipped
    under = work.mandrel[covered].copy()
    for j in range(k):
        under += _rise(design.flags[j], plies, work, j, covered)
    turns = _rise(flag, plies, work, k, covered) / (ply.thickness * pieces)
    width = turns * np.pi * (2.0 * under + turns * pieces * ply.thickness)
    keep = _corners(x, width)
    a, b = max(first, tip), min(last, butt)
    ring = work.r_out[k, a : b + 1] ** 2 - work.r_in[k, a : b + 1] ** 2
    mass = ply.density * np.pi * np.trapezoid(ring, work.x[a : b + 1])
    return FlagReport(
        name=flag.name,
        material=flag.material,
        angle=flag.angle,
        is_pair=flag.is_pair,
        wraps=flag.wraps,
        start=flag.start,
        end=flag.end,
        cut_station=x[keep],
        cut_width=width[keep],
        cut_length=float(x[-1] - x[0]),
        pieces=pieces,
        splices=int(work.splices[k]),
        area_net=float(work.net[k]),
        area_gross=float(work.gross[k]),
        mass=float(mass),
        mass_cut=float(work.net[k] * prepreg.faw / (1.0 - prepreg.resin_content)),
        cost=float(work.gross[k] * prepreg.price),
    )


def _rise(
    flag: Flag, plies: dict[Sheet, Ply], work: Work, k: int, covered: slice
) -> Array:
    """Radius that a flag adds at the points of another one."""
    x, look = work.x[covered], work.look[covered]
    first, last = work.first[k], work.last[k]
    start, end = work.x[first], work.x[last]
    turns = np.full(len(x), flag.wraps)
    if flag.run_out_tip > 0.0:
        turns = np.minimum(turns, flag.wraps * (x - start) / flag.run_out_tip)
    if flag.run_out_butt > 0.0:
        turns = np.minimum(turns, flag.wraps * (end - x) / flag.run_out_butt)
    there = (look >= work.look[first]) & (look <= work.look[last])
    thickness = plies[Sheet(flag.material, flag.angle, flag.is_pair)].thickness
    rise: Array = np.where(there, np.maximum(turns, 0.0), 0.0) * thickness
    return 2.0 * rise if flag.is_pair else rise


def _corners(x: Array, width: Array) -> NDArray[np.bool_]:
    """Points where the edge of a piece bends or steps by more than 10 micrometres."""
    keep = np.zeros(len(x), dtype=np.bool_)
    keep[0] = keep[-1] = True
    last = 0
    for p in range(1, len(x) - 1):
        span = x[p + 1] - x[last]
        on_line = width[p + 1]
        if span > SAME_STATION:
            share = (x[last + 1 : p + 1] - x[last]) / span
            on_line = width[last] + share * (width[p + 1] - width[last])
            bends = bool(np.any(np.abs(on_line - width[last + 1 : p + 1]) > 1e-5))
        else:
            bends = abs(width[p + 1] - width[p]) > 1e-5
        if bends:
            keep[p] = True
            last = p
    return keep


def _point_margins(
    design: Design, plies: dict[Sheet, Ply], work: Work, p: int, moment: float
) -> dict[str, Any]:
    """Worst fibre and worst cracking margin at a point, with flag and mode."""
    curvature = moment / work.EI[p]
    fibre: tuple[float, str | None, str | None] = (math.inf, None, None)
    crack: tuple[float, str | None, str | None] = (math.inf, None, None)
    for k, flag in enumerate(design.flags):
        if (
            not work.first[k] <= p <= work.last[k]
            or work.r_out[k, p] <= work.r_in[k, p]
        ):
            continue
        ply = plies[Sheet(flag.material, flag.angle, flag.is_pair)]
        c, s = math.cos(flag.angle), math.sin(flag.angle)
        along, across, sheared = ply_strains(
            c * c,
            s * s,
            c * s,
            work.r_out[k, p] * curvature,
            work.hoop[p] * curvature,
            work.shear[p] * curvature,
        )
        weaker = ply.strain_compression < ply.strain_tension
        allowable = min(ply.strain_compression, ply.strain_tension)
        if along:
            mode = "fibre compression" if weaker else "fibre tension"
            fibre = min(fibre, (allowable / abs(along) - 1.0, flag.name, mode))
        if across:
            margin = ply.strain_transverse / abs(across) - 1.0
            crack = min(crack, (margin, flag.name, "transverse tension"))
        if sheared:
            margin = ply.strain_shear / abs(sheared) - 1.0
            crack = min(crack, (margin, flag.name, "shear"))
    return {
        "margin": fibre[0],
        "flag": fibre[1],
        "mode": fibre[2],
        "cracking_margin": crack[0],
        "cracking_flag": crack[1],
        "cracking_mode": crack[2],
    }


def _strength(
    design: Design, plies: dict[Sheet, Ply], work: Work
) -> tuple[StrengthPoint, ...]:
    bench = design.bench
    length = design.shaft.length
    n_x, tip, butt = work.counts
    x = work.x[:n_x]
    points = []
    for name, station, span in (
        ("T", bench.strength_from, 0.150),
        ("A", bench.strength_a, 0.300),
        ("B", bench.strength_b, 0.300),
        ("C", length - bench.strength_to, 0.300),
    ):
        if station - span / 2 < 0.0 or station + span / 2 > length:
            points.append(_no_point(name))
            continue
        at = np.flatnonzero(np.abs(x - station) < SAME_STATION)
        worst = _worst(
            [
                _point_margins(design, plies, work, int(p), bench.strength_moment)
                for p in at
            ]
        )
        points.append(
            StrengthPoint(
                name=name, station=station, moment=bench.strength_moment, **worst
            )
        )
    if bench.strength_from > length - bench.strength_to:
        # full nowhere on this shaft, so there is no envelope to bear
        points.append(_no_point("envelope"))
        return tuple(points)
    required = np.zeros(n_x)
    required[tip : butt + 1] = (work.curvature * work.EI)[tip : butt + 1]
    loaded = np.flatnonzero(required > 0.0)
    margins = [
        _point_margins(design, plies, work, int(p), float(required[p])) for p in loaded
    ]
    at_fibre = min(range(len(loaded)), key=lambda i: _margin(margins[i]))
    worst = _worst(margins)
    p = int(loaded[at_fibre])
    points.append(
        StrengthPoint(
            name="envelope", station=float(x[p]), moment=float(required[p]), **worst
        )
    )
    return tuple(points)


def _worst(margins: list[dict[str, Any]]) -> dict[str, Any]:
    """Worst fibre and worst cracking margin, which may stand at different points."""
    crack = min(margins, key=lambda point: float(point["cracking_margin"]))
    worst: dict[str, Any] = min(margins, key=_margin).copy()
    for key in ("cracking_margin", "cracking_flag", "cracking_mode"):
        worst[key] = crack[key]
    return worst


def _margin(point: dict[str, Any]) -> float:
    return float(point["margin"])


def _no_point(name: str) -> StrengthPoint:
    return StrengthPoint(
        name=name,
        station=None,
        moment=None,
        margin=None,
        flag=None,
        mode=None,
        cracking_margin=None,
        cracking_flag=None,
        cracking_mode=None,
    )


def _warnings(
    design: Design, shop: Array, metrics: dict[str, float | None]
) -> list[str]:
    said = []
    for flag in design.flags:
        straight = math.isclose(flag.angle % (math.pi / 2), 0.0, abs_tol=1e-9)
        if not flag.is_pair and not straight:
            said.append(
                f'flag "{flag.name}" has fibres at one angle only '
                f"({angle_text(flag.angle, is_pair=False)} deg): the shaft twists as "
                "it bends; equipment rules ask for the same twist in both directions"
            )
    if shop[BIAS_GROUND] > 1e-9:
        said.append(
            f"grinding takes {1e3 * shop[BIAS_GROUND]:.3f} mm of radius off a bias flag"
        )
    if shop[TIP_GRIND_DEPTH] > DEEP_GRIND:
        said.append(
            f"grinding the tip takes {1e3 * shop[TIP_GRIND_DEPTH]:.2f} mm of radius "
            "beyond the whole-length grind: plies are rolled on to be ground away"
        )
    bench = design.bench
    tests: tuple[tuple[str, str, float], ...] = (
        ("tip_deflection", "Tip deflection", bench.tip_load_at - bench.tip_support),
        ("butt_deflection", "Butt deflection", bench.butt_load_at - bench.butt_support),
    )
    for key, label, reach in tests:
        value = metrics[key]
        if value is not None and value / reach > LARGE_DEFLECTION:
            said.append(
                f"{label.lower()} is {value / reach:.2f} of its length: "
                "small-deflection theory no longer holds well"
            )
    missing = [m.label.lower() for m in METRICS if metrics[m.key] is None]
    if missing:
        said.append(
            "these tests do not fit the length of the shaft: " + ", ".join(missing)
        )
    return said
