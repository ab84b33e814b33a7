"""What is predicted of one shaft, as frozen dataclasses and as JSON values."""

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from model.design import Design
from model.direction import Clock
from model.errors import Fault
from model.metrics import METRICS

Array = NDArray[np.float64]
#: What an amount within a remark is, for the digits and the unit it is shown in.
AmountKind = Literal["length", "depth", "coupling"]


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
    kGA: Array  #: transverse shear, from the exact section [N]
    EA: Array  #: tension, held against twist [N]
    coupling: Array  #: axial force under unit twist per length [N·m]
    D22: Array  #: bending of the wall in the hoop direction [N·m]
    margin: Array  #: least margin under the envelope; inf where no moment [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagReport:
    """One flag as cut and as rolled."""

    name: str
    material: str
    angle: float  #: [rad]
    is_pair: bool
    wraps: float  #: turns; the mean of a piece with straight edges [-]
    wraps_least: float  #: between the run-outs [-]
    wraps_most: float  #: [-]
    start: float  #: in the finished shaft [m]
    end: float  #: [m]
    cut_station: Array  #: where the cut width changes; may lie in the trims [m]
    cut_width: Array  #: width of a piece there [m]
    cut_inner: Array  #: radius that its first turn lies on there [m]
    cut_outer: Array  #: radius over its last turn there [m]
    cut_length: float  #: [m]
    pieces: int  #: 1, or 2 for a pair
    splices: int  #: in a piece
    area_net: float  #: all pieces as cut [m²]
    area_gross: float  #: of roll [m²]
    mass: float  #: in the finished shaft [kg]
    mass_cut: float  #: prepreg as cut [kg]
    mass_ground: float  #: ground off the finished shaft [kg]
    plies_ground: float  #: most plies that grinding takes at a station [-]
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
class Breaking:
    """Where and how a shaft is predicted to break in one kind of loading."""

    name: str  #: torsion, crushing or impact
    load: float  #: at which it breaks [N·m, N, N·m]
    unit: str  #: of the load
    station: float  #: [m]
    flag: str
    mode: str
    margin: float | None  #: over what is asked for, less one; None where nothing is


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionCheck:
    """The fast section against three-dimensional elasticity, along one shaft."""

    EI_difference: float  #: largest, fast over exact less one [-]
    EI_station: float  #: where [m]
    GJ_difference: float  #: [-]
    GJ_station: float  #: [m]
    metrics: dict[str, float | None]  #: by key, with the exact section, SI

    @property
    def worst(self) -> float:
        """Larger of the two differences, without sign."""
        return max(abs(self.EI_difference), abs(self.GJ_difference))


@dataclass(frozen=True, slots=True)
class Amount:
    """A quantity within a remark, which readers may want in units of their own."""

    value: float  #: [SI]
    kind: AmountKind

    @property
    def text(self) -> str:
        """Number and unit as they stand where nobody asks for others. [-]."""
        if self.kind == "coupling":
            return f"{self.value:.0f} N per rad/m"
        digits = {"length": 1, "depth": 3}[self.kind]
        return f"{round(1e3 * self.value, digits) + 0.0:.{digits}f} mm"


#: Words and quantities of one warning, in order.
Remark = tuple[str | Amount, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Everything that is predicted of one shaft."""

    design: Design
    design_id: str
    metrics: dict[str, float | None]  #: by key, SI; None where the test does not fit
    profile: Profile
    flags: tuple[FlagReport, ...]
    strength: tuple[StrengthPoint, ...]
    breaking: tuple[Breaking, ...]  #: torsion, crushing, impact; what is looked at
    clock: Clock  #: stiffness and frequency round the clock
    section: SectionCheck  #: what the exact section makes of it
    remarks: tuple[Remark, ...]  #: what the evaluation warns about
    currency: str
    obstacles: tuple[Fault, ...] = ()  #: why it cannot be built; empty where it can

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the evaluation warns about, in millimetres and newtons. [-]."""
        return tuple(
            "".join(part if isinstance(part, str) else part.text for part in remark)
            for remark in self.remarks
        )

    @property
    def mass_ground(self) -> float:
        """Mass that grinding takes off the finished shaft. [kg]."""
        return sum(flag.mass_ground for flag in self.flags)

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
                "kga_n": _rounded(profile.kGA),
                "ea_n": _rounded(profile.EA),
                "coupling_n_m": _rounded(profile.coupling),
                "d22_n_m": _rounded(profile.D22),
            },
            "flags": [
                {
                    "name": flag.name,
                    "material": flag.material,
                    "angle": angle_text(flag.angle, is_pair=flag.is_pair),
                    "start_mm": round(flag.start * 1e3, 4),
                    "end_mm": round(flag.end * 1e3, 4),
                    "wraps": flag.wraps,
                    "wraps_least": flag.wraps_least,
                    "wraps_most": flag.wraps_most,
                    "area_net_m2": flag.area_net,
                    "area_gross_m2": flag.area_gross,
                    "mass_g": flag.mass * 1e3,
                    "mass_cut_g": flag.mass_cut * 1e3,
                    "mass_ground_g": flag.mass_ground * 1e3,
                    "plies_ground": flag.plies_ground,
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
            "breaking": [
                {
                    "name": one.name,
                    "load": one.load,
                    "unit": one.unit,
                    "station_mm": one.station * 1e3,
                    "flag": one.flag,
                    "mode": one.mode,
                    "margin": one.margin,
                }
                for one in self.breaking
            ],
            "mass_ground_g": self.mass_ground * 1e3,
            "clock": self._clock_json(),
            "section": self._section_json(),
            "warnings": list(self.warnings),
        }

    def _clock_json(self) -> dict[str, Any]:
        clock = self.clock
        planes = clock.planes
        return {
            "position_deg": [math.degrees(p) for p in clock.positions],
            "worst_spread_pct": clock.worst_spread * 100.0,
            "worst_station_mm": clock.worst_at * 1e3,
            "spread_pct": _rounded(clock.spread * 100.0),
            "direction_deg": _rounded(np.degrees(clock.direction)),
            "frequency_low_cpm": None if planes is None else planes.low * 60.0,
            "frequency_high_cpm": None if planes is None else planes.high * 60.0,
        }

    def _section_json(self) -> dict[str, Any]:
        check = self.section
        return {
            "ei_difference_pct": check.EI_difference * 100.0,
            "ei_station_mm": check.EI_station * 1e3,
            "gj_difference_pct": check.GJ_difference * 100.0,
            "gj_station_mm": check.GJ_station * 1e3,
            "metrics": {
                metric.column: _scaled(check.metrics[metric.key], metric.scale)
                for metric in METRICS
            },
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
