"""Pages of a workbook: typed cells, formulas, tables that can be read and printed."""

from __future__ import annotations

import datetime
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import xlsxwriter
from xlsxwriter.utility import xl_col_to_name

#: numbers of papers in such files
_PAPERS: Final = {"a4": 9, "letter": 1}
#: row of the heads, and of what follows them, from 0
HEAD: Final = 2
FIRST: Final = HEAD + 1
#: fills of cells that are written in, and of heads
_INPUT, _BAND = "#FFF6D6", "#E9EDF1"


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula, and what it gives as the file is written."""

    text: str
    value: float | str = ""


Value = float | int | str | Formula | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a table."""

    head: str
    values: Sequence[Value]
    width: float = 10.0  #: in characters
    #: of all, or of each; None for texts and whole numbers
    decimals: int | Sequence[int] | None = None
    is_input: bool = False
    total: float | None = None  #: of the column, where it is summed


class Book:
    """A workbook as it is written; `foot` stands at the foot of each printed page."""

    def __init__(
        self, paper: str, foot: str, title: str, subject: str, date: datetime.date
    ) -> None:
        self.content = io.BytesIO()
        self.file: Any = xlsxwriter.Workbook(
            self.content,
            {
                "in_memory": True,
                "strings_to_formulas": False,  # a name may begin with "="
                "strings_to_urls": False,
                "strings_to_numbers": False,
            },
        )
        # the same content and date give the same file
        made = datetime.datetime(date.year, date.month, date.day)
        self.file.set_properties({"title": title, "subject": subject, "created": made})
        self.paper = _PAPERS[paper]
        self.foot = foot
        self.formats: dict[tuple[object, ...], Any] = {}

    def close(self) -> bytes:
        """Give the whole file."""
        self.file.close()
        return self.content.getvalue()

    def look(
        self,
        decimals: int | None = None,
        *,
        is_bold: bool = False,
        is_head: bool = False,
        is_input: bool = False,
        is_note: bool = False,
        size: int = 10,
    ) -> Any:
        """Format of a cell, made once."""
        key = (decimals, is_bold, is_head, is_input, is_note, size)
        if key not in self.formats:
            how: dict[str, object] = {"font_size": size, "valign": "top"}
            if decimals is not None:
                how["num_format"] = f"0.{'0' * decimals}" if decimals else "0"
            if is_bold or is_head:
                how["bold"] = True
            if is_head:
                how |= {"text_wrap": True, "bg_color": _BAND, "bottom": 1}
            if is_note:
                how["text_wrap"] = True
            if is_input:
                how |= {"bg_color": _INPUT, "border": 1}
            self.formats[key] = self.file.add_format(how)
        return self.formats[key]

    def page(self, name: str) -> Any:
        """Add a page, ready to be printed."""
        sheet = self.file.add_worksheet(name)
        sheet.set_landscape()
        sheet.set_paper(self.paper)
        sheet.fit_to_pages(1, 0)
        sheet.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.7)
        foot = self.foot.replace("&", "&&")[:120]
        sheet.set_footer(f"&L{foot}&R&A, page &P of &N")
        return sheet

    def cell(self, sheet: Any, row: int, column: int, value: Value, how: Any) -> None:
        """Write a value with its type; nothing where there is none."""
        if isinstance(value, Formula):
            sheet.write_formula(row, column, value.text, how, value.value)
        elif isinstance(value, str):
            sheet.write_string(row, column, value, how)
        elif value is None or not math.isfinite(value):
            sheet.write_blank(row, column, None, how)
        else:
            sheet.write_number(row, column, value, how)

    def table(
        self, name: str, columns: Sequence[Column], *, fixed: int = 1, across: int = 1
    ) -> None:
        """Add a page with one table; its heads and first columns stay in sight.

        It is printed that many pages across, with those columns on each.
        """
        sheet = self.page(name)
        sheet.write_string(0, 0, name, self.look(is_bold=True, size=13))
        last = FIRST + len(columns[0].values) - 1
        for j, column in enumerate(columns):
            sheet.set_column(j, j, column.width)
            sheet.write_string(HEAD, j, column.head, self.look(is_head=True))
            digits = column.decimals
            for i, value in enumerate(column.values):
                shown = digits[i] if isinstance(digits, Sequence) else digits
                how = self.look(shown, is_input=column.is_input)
                self.cell(sheet, FIRST + i, j, value, how)
            if column.total is not None:
                letter = xl_col_to_name(j)
                formula = f"=SUM({letter}{FIRST + 1}:{letter}{last + 1})"
                shown = None if isinstance(digits, Sequence) else digits
                how = self.look(shown, is_bold=True)
                sheet.write_formula(last + 1, j, formula, how, column.total)
        if any(column.total is not None for column in columns):
            sheet.write_string(last + 1, 0, "Total", self.look(is_bold=True))
            last += 1
        sheet.set_row(HEAD, 56)
        sheet.freeze_panes(FIRST, fixed)
        sheet.repeat_rows(HEAD)
        sheet.repeat_columns(0, fixed - 1)
        sheet.fit_to_pages(across, 0)
        sheet.print_area(0, 0, last, len(columns) - 1)
