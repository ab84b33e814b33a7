"""Blocks of the layup sheet: tables of texts, title block, grid of cut widths."""

from __future__ import annotations

import datetime
from collections.abc import Container, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.units import mm as MM  # noqa: N812, a unit is no class
from reportlab.platypus import Flowable, Paragraph, Spacer, Table

from optimiser.flagmap import INK
from optimiser.sheet_tables import CutPoint, cut_points
from optimiser.sheet_type import Side, fitted, paragraph
from optimiser.words import NONE, mm, number, plain

if TYPE_CHECKING:
    from model import Report
    from optimiser.spec import Spec

PAGE = landscape(A4)
MARGIN = 11.0 * MM
FOOT = 8.0 * MM
WIDTH = PAGE[0] - 2.0 * MARGIN
RULE, BAND, QUIET = HexColor("#9AA4AE"), HexColor("#E9EDF1"), "#59636E"
_PAD = 2.4  # left and right in a cell [pt]
_WRITING = 2.6  # above and below in a row that is written in [pt]
_NAME_CELLS = 2  # cells of the cut widths that a flag's name takes

#: a command of a table's style: name, first cell, last cell, values
Command = tuple[str, tuple[int, int], tuple[int, int], *tuple[Any, ...]]

#: a cell of a table
Cell = str | Paragraph | Sequence[Flowable]


@dataclass(frozen=True, slots=True)
class Letters:
    """How large a sheet is set."""

    size: float  #: of usual letters [pt]
    air: float  #: share of the room for writing in rows that are written in [-]

    def heading(self, text: str, rest: str = "") -> Flowable:
        """Title of a part."""
        cells: list[Cell] = [paragraph(text, 1.06 * self.size, bold=True)]
        widths = [WIDTH]
        if rest:
            cells.append(paragraph(rest, 0.86 * self.size, colour=QUIET))
            widths = [36.0 * MM, WIDTH - 36.0 * MM]
        tight = [
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 0.5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2.0),
            ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
        ]
        return Table([cells], widths, style=tight)

    def titled(self, title: str, table: Table) -> list[Flowable]:
        """Table under its title, for a column of the page."""
        head = paragraph(title, 1.06 * self.size, bold=True)
        return [head, Spacer(1, 2.0), table]

    def side_by_side(
        self, left: list[Flowable], right: list[Flowable], share: float
    ) -> Table:
        """Two parts next to each other."""
        widths = [share * WIDTH, (1.0 - share) * WIDTH]
        flat = [
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 0),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ]
        return Table([[left, right]], widths, style=flat)

    def table(
        self,
        heads: Sequence[tuple[str, float, Side]],
        rows: Sequence[Sequence[str]],
        *,
        total: Sequence[str] | None = None,
        boxes: Sequence[int] = (),
        bold: Container[tuple[int, int]] = (),
    ) -> Table:
        """Set a table of texts.

        A head is a title, a width in mm and a side; columns in `boxes` are for
        writing, cells in `bold` (row, column) stand out.
        """
        size = 0.94 * self.size
        widths = [width * MM for _, width, _ in heads]
        titles: list[Cell] = [
            paragraph(title, 0.84 * self.size, align=align, colour=QUIET)
            for title, _, align in heads
        ]
        body = [titles]
        for i, cells in enumerate(rows if total is None else [*rows, total]):
            line: list[Cell] = []
            for j, (cell, width, head) in enumerate(
                zip(cells, widths, heads, strict=True)
            ):
                heavy = cells is total or (i, j) in bold
                room = width - 2.0 * _PAD - 0.1
                if head[2] == "left":
                    line.append(fitted(cell, room, size, bold=heavy))
                else:
                    line.append(paragraph(cell, size, align=head[2], bold=heavy))
            body.append(line)
        extra = _WRITING * self.air if boxes else 0.0
        style: list[Command] = [
            ("LEFTPADDING", (0, 0), (-1, -1), _PAD),
            ("RIGHTPADDING", (0, 0), (-1, -1), _PAD),
            ("TOPPADDING", (0, 0), (-1, -1), 0.9 + extra),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1.6 + extra),
            ("TOPPADDING", (0, 0), (-1, 0), 0.9),
            ("BOTTOMPADDING", (0, 0), (-1, 0), 1.6),
            ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
            ("VALIGN", (0, 1), (-1, -1), "MIDDLE"),
            ("LINEBELOW", (0, 0), (-1, 0), 0.8, HexColor(INK)),
            ("LINEBELOW", (0, 1), (-1, -1), 0.3, RULE),
            ("ROWBACKGROUNDS", (0, 1), (-1, -1), [None, BAND]),
        ]
        last = -1 if total is None else -2
        for column in boxes:
            writing = (column, 1), (column, last)
            style.append(("BACKGROUND", *writing, HexColor("#FFFFFF")))
            style.append(("BOX", *writing, 0.6, HexColor(INK)))
        if total is not None:
            style.append(("BACKGROUND", (0, -1), (-1, -1), HexColor("#FFFFFF")))
            style.append(("LINEABOVE", (0, -1), (-1, -1), 0.8, HexColor(INK)))
        return Table(body, widths, style=style, repeatRows=1, hAlign="LEFT")


def title_block(
    letters: Letters, report: Report, spec: Spec | None, date: datetime.date
) -> Flowable:
    """Title block: what is made, on what, how long."""
    design = report.design
    shaft, finish = design.shaft, design.finish
    blank = shaft.trim_tip + shaft.length + shaft.trim_butt
    tip = NONE
    if finish.tip_diameter is not None:
        diameter = number(finish.tip_diameter * 1e3, 2)
        tip = f"Ø {diameter} over {mm(finish.tip_parallel)} mm"
        if finish.tip_blend:
            tip += f", blend {mm(finish.tip_blend)} mm"
        if finish.tip_taper:
            tip += f", taper {plain(finish.tip_taper * 1e3, 2)} mm per m"
    coat = f"{plain(finish.coating * 1e3, 1)} g/m²" if finish.coating else "none"
    place, trim = f"tip {mm(shaft.mandrel_set)} mm", "none"
    if shaft.trim_tip or shaft.trim_butt:
        place = (
            f"finished tip {mm(shaft.mandrel_set)} mm, blank's tip end "
            f"{mm(shaft.mandrel_set - shaft.trim_tip)} mm"
        )
        trim = f"tip {mm(shaft.trim_tip)} mm, butt {mm(shaft.trim_butt)} mm"
    facts = [
        ("Spec", NONE if spec is None else spec.name),
        ("Date", date.isoformat()),
        ("Mandrel", shaft.mandrel),
        ("Mandrel set", f"{place} from the small end"),
        ("Finished length", f"{mm(shaft.length)} mm"),
        ("Blank length", f"{mm(blank)} mm"),
        ("Trim after cure", trim),
        ("Grind, radial", f"{number(finish.grind * 1e3, 3)} mm"),
        ("Tip", tip),
        ("Paint, resin bleed", f"{coat}, {plain(finish.resin_bleed * 100, 2)} %"),
    ]
    name_room = 88.0 * MM
    left = [
        paragraph("LAYUP SHEET", 0.95 * letters.size, bold=True, colour=QUIET),
        Spacer(1, 1.5),
        fitted(design.name, name_room, 1.75 * letters.size, lines=3, bold=True),
        Spacer(1, 2.5),
        paragraph(f"Design {report.design_id}", 1.25 * letters.size),
    ]
    columns = 5
    cell = (WIDTH - name_room - 3.0 * MM) / columns
    grid: list[list[Cell]] = [
        [
            [
                paragraph(label, 0.78 * letters.size, colour=QUIET),
                fitted(value, cell - 5.0, 0.98 * letters.size, lines=3),
            ]
            for label, value in facts[start : start + columns]
        ]
        for start in range(0, len(facts), columns)
    ]
    inner = Table(
        grid,
        [cell] * columns,
        style=[
            ("LEFTPADDING", (0, 0), (-1, -1), 3),
            ("RIGHTPADDING", (0, 0), (-1, -1), 1),
            ("TOPPADDING", (0, 0), (-1, -1), 1),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LINEBEFORE", (0, 0), (-1, -1), 0.4, RULE),
        ],
    )
    return Table(
        [[left, inner]],
        [name_room + 3.0 * MM, WIDTH - name_room - 3.0 * MM],
        style=[
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 0),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LINEBELOW", (0, 0), (-1, -1), 1.2, HexColor(INK)),
        ],
    )


def width_grid(letters: Letters, report: Report) -> Table:
    """Set the cut widths of every piece, packed so that short lists share a line.

    The grid has cells of one width; a flag's name takes two of them.
    """
    columns = int(WIDTH // (5.4 * letters.size))
    cell = WIDTH / columns
    title = letters.heading(
        "Cut widths [mm]",
        "upper: station from the finished tip; middle: distance along the piece "
        "from its tip-side edge; bold: width of each piece; a | b: the width steps "
        "there",
    )
    lines: list[list[Cell]] = [[[title], *[""] * (columns - 1)]]
    style: list[Command] = [
        ("LEFTPADDING", (0, 0), (-1, -1), 1.4),
        ("RIGHTPADDING", (0, 0), (-1, -1), 1.4),
        ("TOPPADDING", (0, 0), (-1, -1), 0.7),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.6),
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.3, RULE),
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, HexColor(INK)),
        ("SPAN", (0, 0), (-1, 0)),
        ("LEFTPADDING", (0, 0), (-1, 0), 0),
        ("BOTTOMPADDING", (0, 0), (-1, 0), 0),
    ]
    at = columns  # next free cell of the last line
    for order, flag in enumerate(report.flags, start=1):
        cells = [
            _width_cell(letters, group, cell - 3.0)
            for group in _steps(cut_points(flag))
        ]
        name = f"{order}  {flag.name}"
        if flag.pieces > 1:
            name += f" ({flag.pieces} pieces)"
        at += 1  # a free cell between two lists on a line
        if at + _NAME_CELLS + len(cells) > columns:
            lines.append([""] * columns)
            at = 0
        while cells:
            row = len(lines) - 1
            head = fitted(name, _NAME_CELLS * cell - 3.0, letters.size, bold=True)
            end = min(columns, at + _NAME_CELLS + len(cells))
            part = end - at - _NAME_CELLS
            lines[row][at] = head
            lines[row][at + _NAME_CELLS : end] = cells[:part]
            style.append(("SPAN", (at, row), (at + _NAME_CELLS - 1, row)))
            if order % 2 == 0:
                style.append(("BACKGROUND", (at, row), (end - 1, row), BAND))
            cells, at = cells[part:], end
            name = f"{order}  continued"
            if cells:
                lines.append([""] * columns)
                at = 0
    return Table(lines, [cell] * columns, style=style, repeatRows=1, hAlign="LEFT")


def _width_cell(letters: Letters, group: tuple[CutPoint, ...], room: float) -> Cell:
    """Station, distance along the piece, width; both widths at a step."""
    size = 0.86 * letters.size
    widths = " | ".join(dict.fromkeys(mm(point.width) for point in group))
    return [
        paragraph(mm(group[0].station), 0.94 * size, align="right", colour=QUIET),
        paragraph(mm(group[0].along), 0.94 * size, align="right"),
        fitted(widths, room, size, lines=1, align="right", bold=True),
    ]


def _steps(points: Sequence[CutPoint]) -> list[tuple[CutPoint, ...]]:
    """Group the points of an edge that stand at one station."""
    groups: list[list[CutPoint]] = []
    for point in points:
        if groups and point.station - groups[-1][0].station < 1e-9:
            groups[-1].append(point)
        else:
            groups.append([point])
    return [tuple(group) for group in groups]
