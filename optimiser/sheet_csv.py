"""The layup sheet as CSV tables, in the units of the sheet, which their heads name."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd

from optimiser.sheet_tables import (
    bench_rows,
    check_diameters,
    clock_degrees,
    cut_points,
    material_totals,
)
from optimiser.shop_units import SI, ShopUnits

if TYPE_CHECKING:
    from model import Report
    from optimiser.spec import Spec


def csv_tables(
    report: Report, spec: Spec | None = None, units: ShopUnits = SI
) -> dict[str, pd.DataFrame]:
    """Tables of the sheet, by file name.

    Parameters
    ----------
    report : Report
        An evaluated design. [-]
    spec : Spec or None
        Its bands are the acceptance limits. [-]
    units : ShopUnits
        Units of the tables; the heads of their columns end in them. [-]

    Returns
    -------
    tables : dict of str to DataFrame
        Lengths to 0.1 mm or 0.001 in, diameters to 0.01 mm or 0.0001 in, areas to
        1 mm² or 1e-5 ft², masses to 0.1 mg, cost to 0.0001. [-]
    """
    return {
        "flags.csv": _flags_table(report, units),
        "cut_widths.csv": _widths_table(report, units),
        "check_diameters.csv": _diameters_table(report, units),
        "bench.csv": _bench_table(report, spec, units),
        "materials.csv": _materials_table(report, units),
    }


def _flags_table(report: Report, units: ShopUnits) -> pd.DataFrame:
    """List the flags in rolling order."""
    mandrel_set = report.design.shaft.mandrel_set
    length, area, mass = units.length, units.area, units.mass
    rows = []
    for order, (cut, flag, clock) in enumerate(
        zip(report.flags, report.design.flags, clock_degrees(report), strict=True),
        start=1,
    ):
        points = cut_points(cut)
        rows.append(
            {
                "order": order,
                "flag": cut.name,
                "material": cut.material,
                "angle_deg": round(math.degrees(cut.angle), 4) + 0.0,
                "pair": "yes" if cut.is_pair else "no",
                length.column("start"): length.shown(cut.start),
                length.column("end"): length.shown(cut.end),
                length.column("mandrel_start"): length.shown(
                    mandrel_set + points[0].station
                ),
                length.column("mandrel_end"): length.shown(
                    mandrel_set + points[-1].station
                ),
                "wraps": round(cut.wraps, 6),
                "wraps_least": round(cut.wraps_least, 6),
                "wraps_most": round(cut.wraps_most, 6),
                length.column("run_out_tip"): length.shown(flag.run_out_tip),
                length.column("run_out_butt"): length.shown(flag.run_out_butt),
                "clock_deg": round(clock, 4),
                length.column("cut_length"): length.shown(cut.cut_length),
                length.column("width_tip_end"): length.shown(points[0].width),
                length.column("width_butt_end"): length.shown(points[-1].width),
                "pieces": cut.pieces,
                "splices_per_piece": cut.splices,
                area.column("area_net"): area.fine(cut.area_net),
                area.column("area_gross"): area.fine(cut.area_gross),
                mass.column("mass_cut"): mass.fine(cut.mass_cut),
                mass.column("mass"): mass.fine(cut.mass),
                "cost": round(cut.cost, 4),
            }
        )
    return pd.DataFrame(rows)


def _widths_table(report: Report, units: ShopUnits) -> pd.DataFrame:
    """Width of each piece along its edge."""
    length = units.length
    return pd.DataFrame(
        [
            {
                "order": order,
                "flag": flag.name,
                length.column("station"): length.shown(point.station),
                length.column("along_piece"): length.shown(point.along),
                length.column("width"): length.shown(point.width),
            }
            for order, flag in enumerate(report.flags, start=1)
            for point in cut_points(flag)
        ]
    )


def _diameters_table(report: Report, units: ShopUnits) -> pd.DataFrame:
    """Diameters to check."""
    length, diameter = units.length, units.diameter
    return pd.DataFrame(
        [
            {
                length.column("station"): length.shown(row.station),
                length.column("on_mandrel"): length.shown(row.on_mandrel),
                diameter.column("bore"): diameter.shown(row.bore),
                diameter.column("build_diameter"): diameter.shown(row.build),
                diameter.column("ground_diameter"): diameter.shown(row.ground),
            }
            for row in check_diameters(report, units)
        ]
    )


def _bench_table(report: Report, spec: Spec | None, units: ShopUnits) -> pd.DataFrame:
    """Predicted bench values and what is accepted."""

    def rounded(value: float | None, decimals: int) -> float:
        return math.nan if value is None else round(value, decimals)

    def edge(value: float) -> float:
        return round(value, 6) if math.isfinite(value) else math.nan

    return pd.DataFrame(
        [
            {
                "quantity": row.quantity,
                "unit": row.unit,
                "predicted": rounded(row.predicted, row.decimals),
                "bench_reads": rounded(row.bench_reads, row.decimals),
                "accept_from": edge(row.low),
                "accept_to": edge(row.high),
                "setup": row.setup,
            }
            for row in bench_rows(report, spec, units)
        ]
    )


def _materials_table(report: Report, units: ShopUnits) -> pd.DataFrame:
    """What each material takes for one shaft."""
    area, mass = units.area, units.mass
    return pd.DataFrame(
        [
            {
                "material": row.material,
                "flags": row.flags,
                "pieces": row.pieces,
                area.column("area_net"): area.fine(row.area_net),
                area.column("area_gross"): area.fine(row.area_gross),
                mass.column("mass_cut"): mass.fine(row.mass_cut),
                mass.column("mass"): mass.fine(row.mass),
                "cost": round(row.cost, 4),
            }
            for row in material_totals(report)
        ]
    )
