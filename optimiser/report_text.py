"""Designs and libraries as text for the terminal."""

import pandas as pd

from model import METRICS, Library, Report, angle_text
from optimiser.review import table_text
from optimiser.words import number, wraps_text


def report_text(report: Report) -> str:
    """Say what a design is predicted to measure.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]

    Returns
    -------
    text : str
        Metrics, flags, strength and warnings. [-]
    """
    design = report.design
    shaft = design.shaft
    currency = f" {report.currency}" if report.currency else ""
    lines = [
        f"{design.name} ({report.design_id})",
        f"{shaft.length * 1e3:g} mm on mandrel {shaft.mandrel} set at "
        f"{shaft.mandrel_set * 1e3:g} mm",
        "",
    ]
    for metric in METRICS:
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
                "Wraps": wraps_text(flag.wraps),
                "Net m²": number(flag.area_net, 4),
                "Gross m²": number(flag.area_gross, 4),
                "Mass g": number(flag.mass * 1e3, 2),
                f"Cost{currency}": number(flag.cost, 2),
            }
            for flag in report.flags
        ]
    )
    lines += ["", "flags in rolling order", table_text(flags)]
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
    if report.warnings:
        lines += ["", *(f"warning: {warning}" for warning in report.warnings)]
    return "\n".join(lines)


def _mm(station: float | None) -> float | None:
    return None if station is None else station * 1e3


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
        f"design {report.design.name} ({report.design_id}): good",
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
