"""The layup sheet as a workbook: typed numbers, and formulas where a shop reckons."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from optimiser.book_file import FIRST, Book, Column, Formula, Value
from optimiser.sheet_tables import (
    bench_rows,
    check_diameters,
    clock_degrees,
    cut_points,
    material_totals,
)
from optimiser.shop_units import SI, Measure, ShopUnits
from optimiser.workbook_bill import Facts, bill_page, shop_page

if TYPE_CHECKING:
    from model import Report
    from optimiser.bill import Bill
    from optimiser.spec import Spec

#: name of the file
BOOK_NAME: Final = "layup_sheet.xlsx"
_FLAGS = "Flags"


def workbook(
    report: Report,
    bill: Bill,
    *,
    spec: Spec | None = None,
    date: datetime.date | None = None,
    revision: str = "",
    paper: str = "a4",
    units: ShopUnits = SI,
    overlap: float = 0.0,
) -> bytes:
    """Write the tables of the layup sheet as a workbook.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    bill : Bill
        Bill of the batch that totals are reckoned for, until somebody changes it. [SI]
    spec : Spec or None
        Its bands are the acceptance limits. [SI]
    date : date or None
        Date on the sheet; today without. [-]
    revision : str
        Revision of the sheet. [-]
    paper : {"a4", "letter"}
        Page it is printed on. [-]
    units : ShopUnits
        Units of the columns. [-]
    overlap : float
        On the wound edge of every piece, on top of the widths. [m]

    Returns
    -------
    content : bytes
        An xlsx file; price, batch and scrap are cells that totals follow. [-]
    """
    day = date or datetime.date.today()
    title = f"Layup sheet {report.design_id}"
    foot = f"{title}, revision {revision}" if revision else title
    book = Book(paper, foot, title, report.design.name, day)
    shop = book.page("Shop")  # the first page, filled once the others are known
    book.table(_FLAGS, _flag_columns(report, units), fixed=2, across=2)
    book.table("Cut widths", _width_columns(report, units), fixed=2)
    book.table("Diameters", _diameter_columns(report, units))
    book.table("Bench", _bench_columns(report, spec, units))
    book.table("Materials", _material_columns(report, units))
    bill_page(book, bill, report.design, units)
    book.table("Margins", _margin_columns(report, units))
    name = "" if spec is None else spec.name
    shop_page(book, shop, report, bill, Facts(name, day, revision, units, overlap))
    return book.close()


def _flag_columns(report: Report, units: ShopUnits) -> list[Column]:
    """Flags in rolling order."""
    cuts, flags = report.flags, report.design.flags
    mandrel_set = report.design.shaft.mandrel_set
    length, area = units.length, units.area
    points = [cut_points(cut) for cut in cuts]
    return [
        Column(head="No.", values=range(1, len(cuts) + 1), width=6),
        Column(head="Flag", values=[cut.name for cut in cuts], width=24),
        Column(head="Material", values=[cut.material for cut in cuts], width=20),
        Column(
            head="Angle [deg]",
            values=[math.degrees(cut.angle) for cut in cuts],
            decimals=1,
        ),
        Column(
            head="Pair",
            values=["yes" if cut.is_pair else "no" for cut in cuts],
            width=6,
        ),
        _measured("Start from tip", length, [cut.start for cut in cuts]),
        _measured("End from tip", length, [cut.end for cut in cuts]),
        _measured(
            "Start on mandrel", length, [mandrel_set + p[0].station for p in points]
        ),
        _measured(
            "End on mandrel", length, [mandrel_set + p[-1].station for p in points]
        ),
        Column(head="Wraps", values=[cut.wraps for cut in cuts], decimals=3),
        Column(
            head="Wraps, least", values=[cut.wraps_least for cut in cuts], decimals=3
        ),
        Column(head="Wraps, most", values=[cut.wraps_most for cut in cuts], decimals=3),
        _measured("Run-out, tip", length, [flag.run_out_tip for flag in flags]),
        _measured("Run-out, butt", length, [flag.run_out_butt for flag in flags]),
        Column(
            head="Clock [deg]",
            values=list(clock_degrees(report)),
            decimals=1,
        ),
        _measured("Cut length", length, [cut.cut_length for cut in cuts]),
        _measured("Width, tip end", length, [p[0].width for p in points]),
        _measured("Width, butt end", length, [p[-1].width for p in points]),
        Column(head="Pieces", values=[cut.pieces for cut in cuts], width=8),
        _measured("Net area", area, [cut.area_net for cut in cuts], is_summed=True),
        _measured("Gross area", area, [cut.area_gross for cut in cuts], is_summed=True),
        _measured(
            "Mass as cut", units.mass, [cut.mass_cut for cut in cuts], is_summed=True
        ),
        _measured("Mass in shaft", units.mass, [c.mass for c in cuts], is_summed=True),
        Column(head="Joins in a piece", values=[cut.splices for cut in cuts], width=8),
        Column(head="Initials", values=[None] * len(cuts), is_input=True),
    ]


def _measured(
    title: str, measure: Measure, values: Sequence[float], *, is_summed: bool = False
) -> Column:
    """Column of a quantity, at full precision, shown with the sheet's decimals."""
    shown = [value * measure.per_si for value in values]
    return Column(
        head=f"{title} [{measure.unit}]",
        values=shown,
        decimals=measure.decimals,
        total=sum(shown) if is_summed else None,
    )


def _width_columns(report: Report, units: ShopUnits) -> list[Column]:
    """Width of each piece along its edge."""
    rows = [
        (order, cut.name, point)
        for order, cut in enumerate(report.flags, start=1)
        for point in cut_points(cut)
    ]
    length = units.length
    return [
        Column(head="No.", values=[order for order, _, _ in rows], width=6),
        Column(head="Flag", values=[name for _, name, _ in rows], width=24),
        _measured("Station from tip", length, [p.station for _, _, p in rows]),
        _measured("Along the piece", length, [p.along for _, _, p in rows]),
        _measured("Width", length, [p.width for _, _, p in rows]),
    ]


def _diameter_columns(report: Report, units: ShopUnits) -> list[Column]:
    """Diameters to check, with what was measured and how far it is off."""
    rows = check_diameters(report, units)
    length, diameter = units.length, units.diameter

    def off(measured: str, predicted: str) -> list[Value]:
        return [
            Formula(f'=IF(ISNUMBER({measured}{i}),{measured}{i}-{predicted}{i},"")')
            for i in range(FIRST + 1, FIRST + 1 + len(rows))
        ]

    def written(title: str) -> Column:
        return Column(
            head=f"{title}, measured [{diameter.unit}]",
            values=[None] * len(rows),
            decimals=diameter.decimals,
            is_input=True,
        )

    def differs(title: str, measured: str, predicted: str) -> Column:
        return Column(
            head=f"{title}, off by [{diameter.unit}]",
            values=off(measured, predicted),
            decimals=diameter.decimals,
        )

    return [
        _measured("From tip", length, [row.station for row in rows]),
        _measured("On mandrel", length, [row.on_mandrel for row in rows]),
        _measured("Bore", diameter, [row.bore for row in rows]),
        _measured("Built", diameter, [row.build for row in rows]),
        written("Built"),
        differs("Built", "E", "D"),
        _measured("Ground", diameter, [row.ground for row in rows]),
        written("Ground"),
        differs("Ground", "H", "G"),
    ]


def _bench_columns(report: Report, spec: Spec | None, units: ShopUnits) -> list[Column]:
    """Predicted bench values, their bands, what was measured and whether it is in."""
    rows = bench_rows(report, spec, units)
    verdicts: list[Value] = [
        Formula(
            f'=IF(ISNUMBER(H{i}),IF(AND(OR(E{i}="",H{i}>=E{i}),'
            f'OR(F{i}="",H{i}<=F{i})),"in","out"),"")'
        )
        for i in range(FIRST + 1, FIRST + 1 + len(rows))
    ]
    digits = [row.decimals for row in rows]
    return [
        Column(head="Quantity", values=[row.label for row in rows], width=26),
        Column(head="Unit", values=[row.unit for row in rows], width=9),
        Column(head="Set-up", values=[row.setup for row in rows], width=74),
        Column(
            head="Predicted", values=[row.predicted for row in rows], decimals=digits
        ),
        Column(head="Accept from", values=[_edge(row.low) for row in rows]),
        Column(head="Accept to", values=[_edge(row.high) for row in rows]),
        Column(
            head="Bench reads, large deflection",
            values=[row.bench_reads for row in rows],
            decimals=digits,
        ),
        Column(head="Measured", values=[None] * len(rows), is_input=True),
        Column(head="Verdict", values=verdicts, width=9),
        Column(head="Initials", values=[None] * len(rows), is_input=True),
    ]


def _edge(value: float) -> float:
    """Edge of a band without the noise of its last digits."""
    return round(value, 9)


def _material_columns(report: Report, units: ShopUnits) -> list[Column]:
    """What each material gives for one shaft, added up from the flags."""
    rows = material_totals(report)
    area, last = units.area, FIRST + len(report.flags)
    lines = range(FIRST + 1, FIRST + 1 + len(rows))
    materials = f"{_FLAGS}!$C${FIRST + 1}:$C${last}"

    def summed(column: str, values: Sequence[float]) -> list[Value]:
        # exact, since names may hold what other criteria take for wildcards
        cells = f"{_FLAGS}!${column}${FIRST + 1}:${column}${last}"
        return [
            Formula(f"=SUMPRODUCT(EXACT({materials},A{i})*{cells})", value)
            for i, value in zip(lines, values, strict=True)
        ]

    def total(
        title: str, measure: Measure, column: str, values: Sequence[float]
    ) -> Column:
        shown = [value * measure.per_si for value in values]
        return Column(
            head=f"{title} [{measure.unit}]",
            values=summed(column, shown),
            decimals=measure.decimals,
            total=sum(shown),
        )

    pieces = [float(row.pieces) for row in rows]
    return [
        Column(head="Material", values=[row.material for row in rows], width=24),
        Column(head="Flags", values=[row.flags for row in rows], width=8),
        Column(
            head="Pieces", values=summed("S", pieces), decimals=0, total=sum(pieces)
        ),
        total("Net area", area, "T", [row.area_net for row in rows]),
        total("Gross area", area, "U", [row.area_gross for row in rows]),
        total("Mass as cut", units.mass, "V", [row.mass_cut for row in rows]),
        total("Mass in shaft", units.mass, "W", [row.mass for row in rows]),
        Column(
            head="Roll or lot used", values=[None] * len(rows), width=18, is_input=True
        ),
    ]


def _margin_columns(report: Report, units: ShopUnits) -> list[Column]:
    """Strength margins."""
    points, moment, length = report.strength, units.moment, units.length
    return [
        Column(head="Point", values=[point.name for point in points], width=12),
        Column(
            head=f"Station [{length.unit}]",
            values=[
                None if p.station is None else p.station * length.per_si for p in points
            ],
            decimals=length.decimals,
        ),
        Column(
            head=f"Moment [{moment.unit}]",
            values=[
                None if p.moment is None else p.moment * moment.per_si for p in points
            ],
            decimals=2,
        ),
        Column(head="Fibre margin", values=[p.margin for p in points], decimals=3),
        Column(head="Governing flag", values=[p.flag or "" for p in points], width=24),
        Column(head="Mode", values=[p.mode or "" for p in points], width=20),
        Column(
            head="Margin against cracking, which does not gate",
            values=[p.cracking_margin for p in points],
            decimals=3,
            width=16,
        ),
    ]
