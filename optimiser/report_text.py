"""Designs and libraries as text for the terminal."""

import math
from collections.abc import Iterable
from typing import Any

import pandas as pd

from model import METRICS, Library, Report, Suggestion, angle_text
from optimiser.review import table_text
from optimiser.words import number, rolled_text, titled

#: Less of a ply than this is not worth a word.
_NO_PLY = 0.05
#: A suggestion is worth a word if it leaves less than this of the spread.
_WORTH_SAYING = 0.95


def report_text(report: Report, *, is_exact: bool = False) -> str:
    """Say what a design is predicted to measure.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    is_exact : bool
        Whether the exact section was used. [-]

    Returns
    -------
    text : str
        Metrics, flags, strength and warnings. [-]
    """
    design = report.design
    shaft = design.shaft
    currency = f" {report.currency}" if report.currency else ""
    lines = [
        titled(design.name, report.design_id),
        f"{shaft.length * 1e3:g} mm on mandrel {shaft.mandrel} set at "
        f"{shaft.mandrel_set * 1e3:g} mm",
        "",
    ]
    for metric in METRICS:
        if metric.needs and not getattr(design.bench, metric.needs):
            continue  # nobody asked for this test
        text = metric.shown(report.metrics[metric.key])
        if metric.key == "material_cost":
            text += currency
        lines.append(f"  {metric.label:<28} {text}")
    flags = pd.DataFrame(
        [
            {
                "Flag": flag.name,
                "Material": flag.material,
                "Angle": angle_text(flag.angle, is_pair=flag.is_pair),
                "Start mm": f"{flag.start * 1e3:g}",
                "End mm": f"{flag.end * 1e3:g}",
                "Wraps": rolled_text(flag),
                "Net m²": number(flag.area_net, 4),
                "Gross m²": number(flag.area_gross, 4),
                "Mass g": number(flag.mass * 1e3, 2),
                f"Cost{currency}": number(flag.cost, 2),
            }
            for flag in report.flags
        ]
    )
    lines += ["", "flags in rolling order", table_text(flags)]
    ground = [flag for flag in report.flags if flag.plies_ground > _NO_PLY]
    if ground:
        lines.append(
            f"grinding takes {report.mass_ground * 1e3:.2f} g: "
            + ", ".join(
                f"{flag.mass_ground * 1e3:.2f} g and at most {flag.plies_ground:.1f} "
                f"plies of {flag.name}"
                for flag in ground
            )
        )
    strength = pd.DataFrame(
        [
            {
                "Point": point.name,
                "Station mm": number(_mm(point.station), 1),
                "Moment N·m": number(point.moment, 1),
                "Margin": number(point.margin, 3),
                "Flag": point.flag or "-",
                "Mode": point.mode or "does not fit",
                "Cracking": number(point.cracking_margin, 3),
                "In flag": point.cracking_flag or "-",
            }
            for point in report.strength
        ]
    )
    lines += ["", "strength (cracking along the fibres gates nothing)"]
    lines.append(table_text(strength))
    lines += [
        f"{one.name}: breaks at {number(one.load, 1)} {one.unit}, "
        f"{one.station * 1e3:.0f} mm, {one.flag}, {one.mode}"
        + ("" if one.margin is None else f", margin {one.margin:.3f}")
        for one in report.breaking
    ]
    if report.breaking:
        lines.append("(estimates; no measured shaft stands behind these loads)")
    check = report.section
    lines += [
        "",
        "predicted with the exact section; the fast one of the search is off by at most"
        if is_exact
        else "the fast section is off the exact one (evaluate --exact) by at most",
        f"  EI {check.EI_difference * 100.0:+.2f} % at "
        f"{check.EI_station * 1e3:.0f} mm, "
        f"GJ {check.GJ_difference * 100.0:+.2f} % at {check.GJ_station * 1e3:.0f} mm",
    ]
    if report.warnings:
        lines += ["", *(f"warning: {warning}" for warning in report.warnings)]
    return "\n".join(lines)


def _mm(station: float | None) -> float | None:
    return None if station is None else station * 1e3


def clock_text(report: Report, suggestion: Suggestion) -> str:
    """Say how a shaft bends in different directions, and how it could bend more evenly.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    suggestion : Suggestion
        Clock positions that lower the spread. [rad]

    Returns
    -------
    text : str
        Spread, its station, the two planes, positions. [-]
    """
    clock = report.clock
    lines = [
        "",
        f"round the clock: EI spreads by {clock.worst_spread * 100.0:.2f} % at "
        f"{clock.worst_at * 1e3:.0f} mm, its worst station (a run-out passes through "
        "every part of a turn)",
    ]
    if clock.planes is not None:
        low, high = clock.planes.low * 60.0, clock.planes.high * 60.0
        lines.append(f"  frequency {low:.1f} and {high:.1f} cpm in its two planes")
    lines.append("  cut edges at " + _positions(report, clock.positions))
    if suggestion.spread_after < suggestion.spread_before * _WORTH_SAYING:
        lines.append(
            f"  {suggestion.spread_after * 100.0:.2f} % with cut edges at "
            + _positions(report, suggestion.positions)
        )
    return "\n".join(lines)


def _positions(report: Report, positions: Iterable[float]) -> str:
    return ", ".join(
        f"{flag.name} {math.degrees(position):.0f}°"
        for flag, position in zip(report.flags, positions, strict=True)
    )


def suggestion_json(suggestion: Suggestion) -> dict[str, Any]:
    """Suggested clock positions as JSON values.

    Parameters
    ----------
    suggestion : Suggestion
        Clock positions that lower the spread. [rad]

    Returns
    -------
    data : dict
        Positions in rolling order, worst spread before and after. [-]
    """
    return {
        "position_deg": [math.degrees(p) for p in suggestion.positions],
        "spread_before_pct": suggestion.spread_before * 100.0,
        "spread_after_pct": suggestion.spread_after * 100.0,
    }


def design_text(report: Report) -> str:
    """Say in short what a design holds.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]

    Returns
    -------
    text : str
        What it is, and what it is warned of. [-]
    """
    shaft = report.design.shaft
    materials = dict.fromkeys(flag.material for flag in report.flags)
    lines = [
        f"design {titled(report.design.name, report.design_id)}: good",
        f"  length    {shaft.length * 1e3:g} mm",
        f"  mandrel   {shaft.mandrel}, set {shaft.mandrel_set * 1e3:g} mm",
        f"  flags     {len(report.flags)}: "
        + ", ".join(flag.name for flag in report.flags),
        f"  prepregs  {', '.join(materials)}",
        *(f"warning: {warning}" for warning in report.warnings),
    ]
    return "\n".join(lines)


def library_text(library: Library) -> str:
    """Say what a library holds.

    Parameters
    ----------
    library : Library
        Materials and mandrels. [SI]

    Returns
    -------
    text : str
        A table of prepregs as cured without bleed, and one of mandrels. [-]
    """
    currency = library.currency or "price"
    prepregs = pd.DataFrame(
        [
            {
                "Prepreg": prepreg.name,
                "Fibre class": prepreg.fibre.fibre_class,
                "FAW g/m²": number(prepreg.faw * 1e3, 0),
                "Resin %": number(prepreg.resin_content * 100.0, 1),
                "Ply mm": number(ply.thickness * 1e3, 4),
                "E1 GPa": number(ply.E1 * 1e-9, 0),
                "Roll mm": number(prepreg.roll_width * 1e3, 0),
                f"{currency}/m²": number(prepreg.price, 2),
            }
            for prepreg in library.prepregs.values()
            for ply in (prepreg.cured(),)
        ]
    )
    mandrels = pd.DataFrame(
        [
            {
                "Mandrel": mandrel.name,
                "Length mm": number(mandrel.distance[-1] * 1e3, 0),
                "Small end mm": number(mandrel.diameter[0] * 1e3, 2),
                "Large end mm": number(mandrel.diameter[-1] * 1e3, 2),
            }
            for mandrel in library.mandrels.values()
        ]
    )
    return f"\n{table_text(prepregs)}\n\n{table_text(mandrels)}"
