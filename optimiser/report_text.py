"""An evaluated design as text for the terminal."""

import pandas as pd

from model import METRICS, Report, angle_text
from optimiser.review import table_text
from optimiser.words import metric_text, number, wraps_text


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
        text = metric_text(metric, report.metrics[metric.key])
        if metric.key == "material_cost":
            text += currency
        lines.append(f"  {metric.label:<26} {text}")
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
