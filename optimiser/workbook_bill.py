"""Pages of the workbook where a shop reckons: the bill of a batch, and its totals."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from optimiser.book_file import FIRST, HEAD, Book, Column, Formula, Value
from optimiser.sheet_parts import CURE
from optimiser.shop_units import ShopUnits, warnings_in
from optimiser.words import CAUTIONS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from model import Design, Report
    from optimiser.bill import Bill

#: the page of the bill, and its cells that other pages look at
_BILL: Final = "Bill"
#: cells that a shop changes, by the names that formulas call them
_BATCH, _SCRAP = "batch_shafts", "scrap_share"
_SOLD: Final = f"({_BATCH}*(1-{_SCRAP}))"


@dataclass(frozen=True, slots=True)
class Facts:
    """What the first page says beside the design."""

    spec: str  #: its name; empty without one
    date: datetime.date
    revision: str
    units: ShopUnits
    overlap: float  #: on wound edges, on top of the widths [m]


def bill_page(book: Book, bill: Bill, design: Design, units: ShopUnits) -> None:
    """Add the bill: one line a price, quantities and costs that follow the batch.

    Parameters
    ----------
    book : Book
        Where it is added. [-]
    bill : Bill
        Of the batch that was laid. [SI]
    design : Design
        What is paid beside its prepregs. [SI]
    units : ShopUnits
        Units of lengths and areas. [-]
    """
    area, length, bulk = units.area, units.length, units.bulk
    costs = design.costs
    n = len(bill.materials)
    n_flags = len(design.flags)
    others = (
        ("labour on flags", "flag", n_flags, costs.labour_per_flag),
        ("labour on shafts", "shaft", 1, costs.labour_per_shaft),
        ("consumables", "shaft", 1, costs.consumables_per_shaft),
    )
    lines = range(FIRST + 1, FIRST + 1 + n + len(others))
    laid = [line.area_roll * area.per_si for line in bill.materials]
    reckoned = [line.area_reckoned * area.per_si for line in bill.materials]
    quantities = [*laid, *(float(bill.batch * count) for _, _, count, _ in others)]
    prices = [
        *(line.price / area.per_si for line in bill.materials),
        *(price for _, _, _, price in others),
    ]
    spent = [q * price for q, price in zip(quantities, prices, strict=True)]
    list_prices = [line.list_price / area.per_si for line in bill.materials]
    foreseen = [q * p for q, p in zip(reckoned, list_prices, strict=True)]
    foreseen += spent[n:]
    gone: list[Value] = [None] * len(others)
    counted: list[Value] = [
        # a lay is for a batch; another one takes roll in proportion
        Formula(f"=L{i}*{_BATCH}/{bill.batch}", value)
        for i, value in zip(lines, laid, strict=False)
    ]
    counted += [
        Formula(f"={count}*{_BATCH}", float(bill.batch * count))
        for _, _, count, _ in others
    ]
    again: list[Value] = [
        Formula(f"=N{i}*{_BATCH}/{bill.batch}*F{i}", value)
        for i, value in zip(lines[:n], foreseen, strict=False)
    ]
    again += [
        Formula(f"=E{i}", value) for i, value in zip(lines[n:], spent[n:], strict=True)
    ]
    money = bill.currency or "money"

    def per_material(values: Sequence[Value]) -> list[Value]:
        return [*values, *gone]

    book.table(
        _BILL,
        [
            Column(
                head="Line",
                values=[
                    *(line.material for line in bill.materials),
                    *(what for what, _, _, _ in others),
                ],
                width=24,
            ),
            Column(
                head="Unit",
                values=[*([area.unit] * n), *(unit for _, unit, _, _ in others)],
                width=7,
            ),
            Column(head="Quantity for the batch", values=counted, decimals=3, width=12),
            Column(
                head=f"Price [{money} per unit]",
                values=prices,
                decimals=4,
                width=12,
                is_input=True,
            ),
            Column(
                head=f"Cost of the batch [{money}]",
                values=[
                    Formula(f"=C{i}*D{i}", value)
                    for i, value in zip(lines, spent, strict=True)
                ],
                decimals=2,
                width=12,
                total=sum(spent),
            ),
            Column(
                head=f"List price [{money} per unit]",
                values=per_material(list_prices),
                decimals=4,
                width=12,
            ),
            Column(
                head=f"Cost of a shaft sold [{money}]",
                values=[
                    Formula(f"=E{i}/{_SOLD}", value / bill.sold)
                    for i, value in zip(lines, spent, strict=True)
                ],
                decimals=3,
                width=12,
                total=bill.cost_sold,
            ),
            Column(
                head=f"Next price from [{area.unit}]",
                values=per_material(
                    [
                        None if line.next_area is None else line.next_area * area.per_si
                        for line in bill.materials
                    ]
                ),
                decimals=2,
            ),
            Column(
                head=f"Pieces of {bill.batch} shafts",
                values=per_material([line.pieces for line in bill.materials]),
            ),
            Column(
                head=f"Roll width [{length.unit}]",
                values=per_material(
                    [line.roll_width * length.per_si for line in bill.materials]
                ),
                decimals=length.decimals,
            ),
            Column(
                head=f"Roll length, {bill.batch} shafts as laid [{length.unit}]",
                values=per_material(
                    [line.roll_length * length.per_si for line in bill.materials]
                ),
                decimals=length.decimals,
                width=13,
            ),
            Column(
                head=f"Roll area, {bill.batch} shafts as laid [{area.unit}]",
                values=per_material(laid),
                decimals=3,
                width=13,
            ),
            Column(
                head="Used of the roll",
                values=per_material([line.share_used for line in bill.materials]),
                decimals=3,
            ),
            Column(
                head=f"Roll area, {bill.batch} shafts as a search reckons "
                f"[{area.unit}]",
                values=per_material(reckoned),
                decimals=3,
                width=14,
            ),
            Column(
                head=f"Cost of the batch as a search reckons [{money}]",
                values=again,
                decimals=2,
                width=14,
                total=sum(foreseen),
            ),
            *(
                Column(
                    head=f"Mass, {bill.batch} shafts {what} [{bulk.unit}]",
                    values=per_material([mass * bulk.per_si for mass in masses]),
                    decimals=bulk.decimals,
                    width=13,
                )
                for what, masses in (
                    ("as laid", [line.mass_roll for line in bill.materials]),
                    ("as cut", [line.mass_net for line in bill.materials]),
                )
            ),
        ],
        across=2,
    )


def shop_page(book: Book, sheet: Any, report: Report, bill: Bill, facts: Facts) -> None:
    """Fill the first page: title, cells that a shop changes, totals, cautions.

    Parameters
    ----------
    book : Book
        The workbook. [-]
    sheet : worksheet
        Its first page. [-]
    report : Report
        The design. [SI]
    bill : Bill
        Of the batch that totals are reckoned for. [SI]
    facts : Facts
        What is said beside. [-]
    """
    units = facts.units
    shaft, length, area = report.design.shaft, units.length, units.area
    n = len(bill.materials)
    at = FIRST + n + 4  # row of the totals of the bill, as people count
    money = bill.currency or "money"
    roll = sum(line.area_roll for line in bill.materials) * area.per_si
    sheet.set_column(0, 0, 42)
    sheet.set_column(1, 1, 30)
    sheet.write_string(0, 0, report.design.name, book.look(is_bold=True, size=13))
    rows: list[tuple[str, Value, int | None, bool]] = [
        ("Design", report.design_id, None, False),
        ("Spec", facts.spec, None, False),
        ("Revision", facts.revision, None, False),
        ("Date", facts.date.isoformat(), None, False),
        ("Mandrel", shaft.mandrel, None, False),
    ]
    rows += [
        (f"{title} [{length.unit}]", value * length.per_si, length.decimals, False)
        for title, value in (
            ("Finished tip from the mandrel's small end", shaft.mandrel_set),
            ("Finished length", shaft.length),
            ("Blank length", shaft.trim_tip + shaft.length + shaft.trim_butt),
            ("Trim after cure, tip", shaft.trim_tip),
            ("Trim after cure, butt", shaft.trim_butt),
            ("Overlap of the wound edge, on top of the cut widths", facts.overlap),
        )
    ]
    rows.append(("", None, None, False))
    first = HEAD + len(rows)
    rows += [
        ("Shafts in the batch", bill.batch, 0, True),
        ("Scrap, as a share of the shafts made", bill.scrap, 3, True),
        ("", None, None, False),
    ]
    totals = (
        (
            f"Roll area for the batch [{area.unit}]",
            f"=SUM({_BILL}!C{FIRST + 1}:C{FIRST + n})",
            roll,
        ),
        (f"Cost of the batch [{money}]", f"={_BILL}!E{at}", bill.cost),
        (f"Cost of a shaft made [{money}]", f"={_BILL}!E{at}/{_BATCH}", bill.cost_made),
        (f"Cost of a shaft sold [{money}]", f"={_BILL}!E{at}/{_SOLD}", bill.cost_sold),
        (
            f"The same as a search reckons it [{money}]",
            f"={_BILL}!O{at}/{_SOLD}",
            bill.cost_reckoned,
        ),
    )
    rows += [(title, Formula(text, value), 2, False) for title, text, value in totals]
    for i, (title, value, decimals, is_input) in enumerate(rows, start=HEAD):
        sheet.write_string(i, 0, title, book.look())
        book.cell(sheet, i, 1, value, book.look(decimals, is_input=is_input))
    for name, row, allowed in (
        (_BATCH, first, {"validate": "integer", "criteria": ">=", "value": 1}),
        (
            _SCRAP,
            first + 1,
            {
                "validate": "decimal",
                "criteria": "between",
                "minimum": 0,
                "maximum": 0.9,
            },
        ),
    ):
        book.file.define_name(name, f"=Shop!$B${row + 1}")
        sheet.data_validation(row, 1, row, 1, allowed)
    notes = [
        "Shaded cells are for the shop to fill in or change; totals follow the batch, "
        f"the scrap and the prices on the page {_BILL}.",
        f"Roll is as laid for {bill.batch} shafts, prices as for an order of that "
        "size; another batch takes roll in proportion until it is laid anew.",
        *CAUTIONS,
        CURE,
        *(f"Note: {warning}" for warning in warnings_in(report, units)),
    ]
    last = HEAD + len(rows) + 1
    for i, note in enumerate(notes, start=last):
        sheet.merge_range(i, 0, i, 7, note, book.look(is_note=True))
        sheet.set_row(i, 14 * math.ceil(len(note) / 115))
    sheet.freeze_panes(HEAD, 0)
    sheet.print_area(0, 0, last + len(notes) - 1, 7)
