"""What the bench should read of a design, and a measured profile laid over it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from model import (
    DEFLECTIONS,
    METRICS,
    BenchReadings,
    Comparison,
    Design,
    Drop,
    Metric,
    Reading,
    Report,
    bench_readings,
    compare_profile,
    machine_of,
    machine_readings,
    read_measured,
    wall_stiffness,
)
from optimiser.files import write_table
from optimiser.look import figure, save_png
from optimiser.plot_bench import plot_differences, plot_readings
from optimiser.review import table_text
from optimiser.setup_words import bench_setup
from optimiser.words import mm, number, plain, titled

_KGF = 9.80665
#: From reading to reading of the line in the picture. [m]
_CURVE_STEP: Final = 0.010
#: Drop over reach above which small-deflection theory is no longer good to 1 %.
_LARGE: Final = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchPage:
    """Everything that is said of a design on the bench."""

    report: Report
    readings: BenchReadings
    curve: tuple[Reading, ...]  #: readings close to one another
    measured_from: str  #: file of the measured profile; empty without
    comparison: Comparison | None  #: the measured profile beside the predicted one


def bench_page(
    report: Report,
    *,
    span: float | None = None,
    flattening: bool = False,
    measured: Path | None = None,
) -> BenchPage:
    """Test a design on the bench.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    span : float or None
        Between the supports of the EI profile machine; None for the design's. [m]
    flattening : bool
        Whether the shaft flattens under that machine. [-]
    measured : Path or None
        Table of a measured profile. [-]

    Returns
    -------
    page : BenchPage
        Predicted readings, and the measured ones beside them. [SI]

    Raises
    ------
    InputError
        With every fault of the measured profile.
    """
    machine = machine_of(report.design.bench, span)
    length = report.design.shaft.length
    read = None
    if measured is not None:
        read = read_measured(measured, length=length, machine=machine)
    wall = wall_stiffness(report)

    def at(stations: tuple[float, ...]) -> tuple[Reading, ...]:
        return machine_readings(
            report, wall, machine, stations=stations, flattening=flattening
        )

    comparison = None
    if read is not None:
        comparison = compare_profile(read, at(tuple(map(float, read.station))))
    half = machine.span / 2.0
    line: tuple[float, ...] = ()
    if length > machine.span:
        n = round((length - machine.span) / _CURVE_STEP) + 2
        line = tuple(map(float, np.linspace(half, length - half, n)))
    return BenchPage(
        report=report,
        readings=bench_readings(report, wall, machine, flattening=flattening),
        curve=at(line),
        measured_from="" if measured is None else str(measured),
        comparison=comparison,
    )


def page_text(page: BenchPage) -> str:
    """Write a page for the terminal.

    Parameters
    ----------
    page : BenchPage
        As tested. [SI]

    Returns
    -------
    text : str
        Every test with its set-up, the EI profile, the measured one. [-]
    """
    report, readings = page.report, page.readings
    design = report.design
    lines = [titled(design.name, report.design_id), ""]
    for metric in _tested(design):
        value = report.metrics[metric.key]
        lines.append(f"  {metric.label:<28} {metric.shown(value)}")
        large = _large(page, metric.key)
        if value is not None and large is not None:
            lines[-1] += f", {metric.shown(large)} by large-deflection theory"
            if metric.key in DEFLECTIONS:
                lines[-1] += f" ({(large / value - 1.0) * 100.0:+.1f} %)"
        lines.append(f"      {bench_setup(design, metric.key)}")
    lines += ["", _profile_heading(page)]
    if readings.readings:
        lines.append(table_text(_site_table(readings)))
    else:
        lines.append("  the shaft is too short for this machine")
    if page.comparison is not None:
        lines += ["", *_comparison_lines(page.comparison, page.measured_from)]
    notes = [*_notes(page), *report.warnings]
    if notes:
        lines += ["", *(f"warning: {note}" for note in notes)]
    return "\n".join(lines)


def page_json(page: BenchPage) -> dict[str, Any]:
    """Give a page as JSON values, units in the keys.

    Parameters
    ----------
    page : BenchPage
        As tested. [SI]

    Returns
    -------
    data : dict
        Tests, EI profile, the measured profile where there is one. [-]
    """
    report, readings = page.report, page.readings
    tests: dict[str, Any] = {}
    for metric in _tested(report.design):
        value = report.metrics[metric.key]
        test: dict[str, Any] = {
            metric.column: None if value is None else value * metric.scale,
            "setup": bench_setup(report.design, metric.key),
        }
        if metric.key in (*DEFLECTIONS, "flex_point_ratio"):
            large = _large(page, metric.key)
            shown = None if large is None else large * metric.scale
            test[f"large_deflection_{metric.unit.replace('%', 'pct')}"] = shown
        drop = readings.drops.get(metric.key)
        if drop is not None:
            test["reach_mm"] = drop.reach * 1e3
            slope = drop.slope
            test["slope_at_load_deg"] = None if slope is None else math.degrees(slope)
        tests[metric.key] = test
    machine = readings.machine
    data: dict[str, Any] = {
        "name": report.design.name,
        "id": report.design_id,
        "tests": tests,
        "profile": {
            "span_mm": machine.span * 1e3,
            "load_n": machine.load,
            "flattening": readings.has_flattening,
            "sites": [
                {
                    "station_mm": _clean(reading.station * 1e3),
                    "reading_ei_n_m2": reading.reading,
                    "ei_n_m2": reading.EI,
                    "mean_ei_n_m2": reading.mean_EI,
                    "deflection_mm": reading.deflection * 1e3,
                    "shear_share_pct": reading.shear_share * 100.0,
                    "flattening_share_pct": reading.flattening_share * 100.0,
                }
                for reading in readings.readings
            ],
        },
        "warnings": [*_notes(page), *report.warnings],
    }
    comparison = page.comparison
    if comparison is not None:
        data["measured"] = {
            "file": page.measured_from,
            "sites": _comparison_table(comparison).to_dict(orient="records"),
            "mean_difference_pct": comparison.mean * 100.0,
            "rms_difference_pct": comparison.rms * 100.0,
            "worst_difference_pct": comparison.worst * 100.0,
            "worst_station_mm": _clean(comparison.worst_station * 1e3),
        }
    return data


def write_page(out: Path, page: BenchPage) -> list[Path]:
    """Write the EI profile of a page as a table and as a picture.

    Parameters
    ----------
    out : Path
        Folder to write into. [-]
    page : BenchPage
        As tested. [SI]

    Returns
    -------
    paths : list of Path
        profile.csv and profile.png. [-]
    """
    comparison = page.comparison
    if comparison is None:
        table = _plain_table(page.readings)
        sheet = figure(4.6)
        plot_readings(
            sheet.add_subplot(), page.report, page.curve, page.readings.readings
        )
    else:
        table = _comparison_table(comparison)
        sheet = figure(6.4)
        upper, lower = sheet.subplots(2, 1, sharex=True, height_ratios=(3, 1.25))
        plot_readings(upper, page.report, page.curve, (), comparison)
        upper.set_xlabel("")
        plot_differences(lower, comparison, page.report.design.shaft.length)
    return [
        write_table(out / "profile.csv", table),
        save_png(sheet, out / "profile.png"),
    ]


def _tested(design: Design) -> list[Metric]:
    """Metrics that a bench can read."""
    return [
        metric
        for metric in METRICS
        if metric.is_measured and bench_setup(design, metric.key)
    ]


def _large(page: BenchPage, key: str) -> float | None:
    """What large deflection makes of a metric; None where it has no part."""
    if key == "flex_point_ratio":
        return page.readings.flex_point_ratio
    drop = page.readings.drops.get(key)
    return None if drop is None else drop.large


def _notes(page: BenchPage) -> list[str]:
    """Warn of tests in which small-deflection theory is off by more than 1 %."""
    off = [
        f"{metric.phrase}: so soft that the shaft slips off its supports"
        for metric in METRICS
        if (drop := page.readings.drops.get(metric.key)) is not None
        and drop.large is None
    ]
    far = [
        f"{metric.phrase} {_share(drop)}"
        for metric in METRICS
        if (drop := page.readings.drops.get(metric.key)) is not None
        and drop.linear > _LARGE * drop.reach
    ]
    if not far:
        return off
    return [
        *off,
        f"drop over length above {_LARGE:g}: {', '.join(far)}; a bench reads the "
        "large-deflection values",
    ]


def _share(drop: Drop) -> str:
    return number(drop.linear / drop.reach, 2)


def _profile_heading(page: BenchPage) -> str:
    machine = page.readings.machine
    said = (
        f"EI profile: three-point bending over {mm(machine.span)} mm, "
        f"{plain(machine.load / _KGF)} kgf in mid-span, F L³/(48 y)"
    )
    if page.readings.has_flattening:
        said += ", flattening estimated on the high side"
    return said


def _site_table(readings: BenchReadings) -> pd.DataFrame:
    rows = []
    for reading in readings.readings:
        row = {
            "Station mm": mm(reading.station),
            "Reading N·m²": number(reading.reading, 2),
            "EI there N·m²": number(reading.EI, 2),
            "Mean EI over span N·m²": number(reading.mean_EI, 2),
            "Shear %": number(reading.shear_share * 100.0, 1),
        }
        if readings.has_flattening:
            row["Flattening %"] = number(reading.flattening_share * 100.0, 1)
        rows.append(row)
    return pd.DataFrame(rows)


def _plain_table(readings: BenchReadings) -> pd.DataFrame:
    columns = [
        "station_mm",
        "reading_ei_n_m2",
        "ei_n_m2",
        "mean_ei_n_m2",
        "shear_share_pct",
        "flattening_share_pct",
    ]
    rows = [
        (
            _clean(reading.station * 1e3),
            round(reading.reading, 4),
            round(reading.EI, 4),
            round(reading.mean_EI, 4),
            round(reading.shear_share * 100.0, 3),
            round(reading.flattening_share * 100.0, 3),
        )
        for reading in readings.readings
    ]
    return pd.DataFrame(rows, columns=columns)


def _comparison_table(comparison: Comparison) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "station_mm": [_clean(float(x) * 1e3) for x in comparison.station],
            "measured_ei_n_m2": comparison.measured,
            "predicted_ei_n_m2": comparison.predicted.round(4),
            "difference_pct": (comparison.difference * 100.0).round(3),
        }
    )


def _comparison_lines(comparison: Comparison, source: str) -> list[str]:
    table = pd.DataFrame(
        {
            "Station mm": [mm(float(x)) for x in comparison.station],
            "Measured N·m²": [number(float(v), 2) for v in comparison.measured],
            "Predicted N·m²": [number(float(v), 2) for v in comparison.predicted],
            "Difference %": [f"{float(d) * 100.0:+.1f}" for d in comparison.difference],
        }
    )
    return [
        f"measured: {source}, over the readings predicted at its stations",
        table_text(table),
        f"mean {comparison.mean * 100.0:+.1f} %, root mean square "
        f"{comparison.rms * 100.0:.1f} %, worst {comparison.worst * 100.0:+.1f} % at "
        f"{mm(comparison.worst_station)} mm",
    ]


def _clean(value: float) -> float:
    return round(value, 6)
