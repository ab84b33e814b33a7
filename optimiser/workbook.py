"""The layup sheet as a workbook: typed numbers, and formulas where a shop reckons."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from xlsxwriter.utility import xl_col_to_name

from optimiser.book_file import FIRST, HEAD, Book, Column, Formula, Value
from optimiser.sheet_parts import CURE
from optimiser.sheet_tables import (
    bench_rows,
    check_diameters,
    cut_points,
    material_totals,
)
from optimiser.shop_units import SI, Measure, ShopUnits
from optimiser.words import CAUTIONS

if TYPE_CHECKING:
    from model import Library, Report
    from optimiser.spec import Spec

#: name of the file
BOOK_NAME: Final = "layup_sheet.xlsx"
#: cells that a shop changes, by the names that formulas call them
_BATCH, _SCRAP = "batch_shafts", "scrap_share"
_FLAGS, _MATERIALS = "Flags", "Materials"


def workbook(
    report: Report,
    library: Library,
    *,
    spec: Spec | None = None,
    date: datetime.date | None = None,
    revision: str = "",
    paper: str = "a4",
    units: ShopUnits = SI,
    batch: int = 1,
) -> bytes:
    """Write the tables of the layup sheet as a workbook.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    library : Library
        Its materials, for their prices. [SI]
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
    batch : int
        Shafts that totals are reckoned for, until somebody changes that cell. [-]

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
    book.table(_MATERIALS, _material_columns(report, library, units, batch))
    book.table("Margins", _margin_columns(report, units))
    _shop_page(book, shop, report, spec, day, revision, units, batch)
    return book.close()


def _flag_columns(report: Report, units: ShopUnits) -> list[Column]:
    """Flags in rolling order."""
    cuts, flags = report.flags, report.design.flags
    mandrel_set = report.design.shaft.mandrel_set
    length, area = units.length, units.area
    rows = {row.material: i for i, row in enumerate(material_totals(report), start=1)}
    points = [cut_points(cut) for cut in cuts]
    gross = xl_col_to_name(20)  # see the columns below
    costs = [
        Formula(
            f"={gross}{FIRST + i}*{_MATERIALS}!$H${FIRST + rows[cut.material]}"
            f"*(1+{_SCRAP})",
            cut.cost,
        )
        for i, cut in enumerate(cuts, start=1)
    ]
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
            values=[
                None if flag.clock is None else math.degrees(flag.clock)
                for flag in flags
            ],
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
        Column(
            head=_priced("Cost of one shaft", report),
            values=costs,
            decimals=2,
            total=sum(cut.cost for cut in cuts),
        ),
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


def _priced(title: str, report: Report, per: str = "") -> str:
    """Head of a column of money."""
    unit = f"{report.currency or 'money'}{per}"
    return f"{title} [{unit}]"


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


def _material_columns(
    report: Report, library: Library, units: ShopUnits, batch: int
) -> list[Column]:
    """Bill of materials; prices are cells to change."""
    rows = material_totals(report)
    area, last = units.area, FIRST + len(report.flags)
    prices = [library.prepregs[row.material].price / area.per_si for row in rows]
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
    gross = [row.area_gross * area.per_si for row in rows]
    costs = [row.cost for row in rows]
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
            head=_priced("Price", report, f" per {area.unit}"),
            values=prices,
            decimals=2,
            width=13,
            is_input=True,
        ),
        Column(
            head=_priced("Cost of one shaft", report),
            values=[
                Formula(f"=E{i}*H{i}*(1+{_SCRAP})", cost)
                for i, cost in zip(lines, costs, strict=True)
            ],
            decimals=2,
            total=sum(costs),
        ),
        Column(
            head=f"Area for the batch [{area.unit}]",
            values=[
                Formula(f"=E{i}*{_BATCH}*(1+{_SCRAP})", value * batch)
                for i, value in zip(lines, gross, strict=True)
            ],
            decimals=area.decimals - 1,
            total=sum(gross) * batch,
        ),
        Column(
            head=_priced("Cost of the batch", report),
            values=[
                Formula(f"=I{i}*{_BATCH}", cost * batch)
                for i, cost in zip(lines, costs, strict=True)
            ],
            decimals=2,
            total=sum(costs) * batch,
        ),
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


def _shop_page(
    book: Book,
    sheet: Any,
    report: Report,
    spec: Spec | None,
    date: datetime.date,
    revision: str,
    units: ShopUnits,
    batch: int,
) -> None:
    """Title, the cells that a shop changes, totals that follow, cautions."""
    shaft, length, area = report.design.shaft, units.length, units.area
    n = len(material_totals(report))
    at = FIRST + n + 1  # row of the totals, as people count
    gross = sum(flag.area_gross for flag in report.flags) * area.per_si
    mass = sum(flag.mass_cut for flag in report.flags) * units.mass.per_si
    cost = sum(flag.cost for flag in report.flags)
    blank = shaft.trim_tip + shaft.length + shaft.trim_butt
    money = report.currency or "money"
    sheet.set_column(0, 0, 38)
    sheet.set_column(1, 1, 30)
    sheet.write_string(0, 0, report.design.name, book.look(is_bold=True, size=13))
    rows: list[tuple[str, Value, int | None, bool]] = [
        ("Design", report.design_id, None, False),
        ("Spec", "" if spec is None else spec.name, None, False),
        ("Revision", revision, None, False),
        ("Date", date.isoformat(), None, False),
        ("Mandrel", shaft.mandrel, None, False),
    ]
    rows += [
        (f"{title} [{length.unit}]", value * length.per_si, length.decimals, False)
        for title, value in (
            ("Finished tip from the mandrel's small end", shaft.mandrel_set),
            ("Finished length", shaft.length),
            ("Blank length", blank),
            ("Trim after cure, tip", shaft.trim_tip),
            ("Trim after cure, butt", shaft.trim_butt),
        )
    ]
    rows.append(("", None, None, False))
    first_input = HEAD + len(rows)
    rows += [
        ("Shafts in the batch", batch, 0, True),
        ("Scrap, as a share of what is used", 0.0, 3, True),
        ("", None, None, False),
        (
            f"Gross area for one shaft [{area.unit}]",
            Formula(f"={_MATERIALS}!E{at}", gross),
            area.decimals,
            False,
        ),
        (
            "Mass as cut for one shaft [g]",
            Formula(f"={_MATERIALS}!F{at}", mass),
            2,
            False,
        ),
        (
            f"Material cost of one shaft [{money}]",
            Formula(f"={_MATERIALS}!I{at}", cost),
            2,
            False,
        ),
        (
            f"Area for the batch [{area.unit}]",
            Formula(f"={_MATERIALS}!J{at}", gross * batch),
            area.decimals - 1,
            False,
        ),
        (
            f"Material cost of the batch [{money}]",
            Formula(f"={_MATERIALS}!K{at}", cost * batch),
            2,
            False,
        ),
    ]
    for i, (title, value, decimals, is_input) in enumerate(rows, start=HEAD):
        sheet.write_string(i, 0, title, book.look())
        book.cell(sheet, i, 1, value, book.look(decimals, is_input=is_input))
    for name, row in ((_BATCH, first_input), (_SCRAP, first_input + 1)):
        book.file.define_name(name, f"=Shop!$B${row + 1}")
    sheet.data_validation(
        first_input,
        1,
        first_input,
        1,
        {"validate": "integer", "criteria": ">=", "value": 1},
    )
    sheet.data_validation(
        first_input + 1,
        1,
        first_input + 1,
        1,
        {"validate": "decimal", "criteria": "between", "minimum": 0, "maximum": 10},
    )
    notes = [
        "Shaded cells are for the shop to fill in or change; totals follow prices on "
        f"the page {_MATERIALS}, batch and scrap.",
        *CAUTIONS,
        CURE,
        *(f"Note: {warning}" for warning in report.warnings),
    ]
    last = HEAD + len(rows) + 1
    for i, note in enumerate(notes, start=last):
        sheet.merge_range(i, 0, i, 7, note, book.look(is_note=True))
        sheet.set_row(i, 14 * math.ceil(len(note) / 120))
    sheet.freeze_panes(HEAD, 0)
    sheet.print_area(0, 0, last + len(notes) - 1, 7)
