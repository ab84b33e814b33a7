"""Blocks of the layup sheet: tables of texts, title block, grid of cut widths."""

from __future__ import annotations

import datetime
from collections.abc import Container, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, LETTER, landscape
from reportlab.lib.units import mm as MM  # noqa: N812, a unit is no class
from reportlab.platypus import Flowable, Paragraph, Spacer, Table

from optimiser.flagmap import INK
from optimiser.sheet_tables import CutPoint, cut_points
from optimiser.sheet_type import LEADING, PLAIN, Side, fitted, paragraph
from optimiser.shop_units import SI, ShopUnits
from optimiser.words import NONE, plain

if TYPE_CHECKING:
    from model import Report
    from optimiser.spec import Spec

#: pages a sheet can be printed on, lying, by name
PAPERS: Final = MappingProxyType({"a4": landscape(A4), "letter": landscape(LETTER)})
MARGIN = 11.0 * MM
FOOT = 8.0 * MM
#: width that columns are given for [mm]; other pages stretch or shrink them alike
_COLUMNS: Final = 275.0
RULE, BAND, QUIET = HexColor("#9AA4AE"), HexColor("#E9EDF1"), "#59636E"
_PAD = 2.4  # left and right in a cell [pt]
_WRITING = 2.6  # above and below in a row that is written in [pt]
_NAME_CELLS = 3  # cells of the cut widths that a flag's name takes
_TIGHT_LINE = 1.77  # height of a row's words where the sheet is tight, over their size

#: a command of a table's style: name, first cell, last cell, values
Command = tuple[str, tuple[int, int], tuple[int, int], *tuple[Any, ...]]

#: of cells of any kind, or the page names a font that is not embedded
_FONT: Final[Command] = ("FONTNAME", (0, 0), (-1, -1), PLAIN)

#: a cell of a table
Cell = str | Paragraph | Sequence[Flowable]


@dataclass(frozen=True, slots=True)
class Letters:
    """How large a sheet is set, on which page and in which units."""

    size: float  #: of usual letters [pt]
    air: float  #: share of the room for writing in rows that are written in [-]
    is_tight: bool = False  #: whether names are kept to the height of one line
    page: tuple[float, float] = PAPERS["a4"]  #: [pt]
    units: ShopUnits = SI

    @property
    def width(self) -> float:
        """Width between the margins. [pt]."""
        return self.page[0] - 2.0 * MARGIN

    def columns(self, *widths: float) -> list[float]:
        """Widths of columns that are given in mm for the usual page. [pt]."""
        return [width * self.width / _COLUMNS for width in widths]

    def heading(self, text: str, rest: str = "") -> Flowable:
        """Title of a part."""
        cells: list[Cell] = [paragraph(text, 1.06 * self.size, bold=True)]
        widths = [self.width]
        if rest:
            cells.append(paragraph(rest, 0.86 * self.size, colour=QUIET))
            widths = [36.0 * MM, self.width - 36.0 * MM]
        tight = [
            _FONT,
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
        widths = [share * self.width, (1.0 - share) * self.width]
        flat = [
            _FONT,
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
        is_low: bool = False,
        bold: Container[tuple[int, int]] = (),
        whole: Container[int] = (),
    ) -> Table:
        """Set a table of texts.

        A head is a title, a width in mm on the usual page and a side; columns in
        `boxes` are for writing, with room for it unless the rows are to stay low;
        cells in `bold` (row, column) stand out; words in the columns of `whole` take
        more lines rather than be cut short.
        """
        size = 0.94 * self.size
        widths = self.columns(*(width for _, width, _ in heads))
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
                    is_whole = j in whole
                    line.append(
                        self.words(cell, room, size, bold=heavy, is_whole=is_whole)
                    )
                else:
                    line.append(paragraph(cell, size, align=head[2], bold=heavy))
            body.append(line)
        extra = _WRITING * self.air if boxes and not is_low else 0.0
        style: list[Command] = [
            _FONT,
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

    def words(
        self,
        text: str,
        room: float,
        size: float,
        *,
        bold: bool = False,
        is_whole: bool = False,
    ) -> Paragraph:
        """Set words in a cell: on two lines, small ones where the sheet is tight."""
        lines = _TIGHT_LINE / LEADING if self.is_tight else 2.0
        return fitted(text, room, size, lines=lines, bold=bold, is_whole=is_whole)


def title_block(
    letters: Letters,
    report: Report,
    spec: Spec | None,
    date: datetime.date,
    revision: str,
) -> Flowable:
    """Title block: what is made, on what, how long."""
    units, length = letters.units, letters.units.length
    design = report.design
    shaft, finish = design.shaft, design.finish

    def at(station: float) -> str:
        return f"{length.text(station)} {length.unit}"

    blank = shaft.trim_tip + shaft.length + shaft.trim_butt
    tip = NONE
    if finish.tip_diameter is not None:
        diameter = units.diameter.text(finish.tip_diameter)
        tip = f"Ø {diameter} over {at(finish.tip_parallel)}"
        if finish.tip_blend:
            tip += f", blend {at(finish.tip_blend)}"
        if finish.tip_taper:
            tip += f", taper {units.taper.short(finish.tip_taper)}"
    coat = units.coat.short(finish.coating) if finish.coating else "none"
    place, trim = f"tip {at(shaft.mandrel_set)}", "none"
    if shaft.trim_tip or shaft.trim_butt:
        place = (
            f"finished tip {at(shaft.mandrel_set)}, blank's tip end "
            f"{at(shaft.mandrel_set - shaft.trim_tip)}"
        )
        trim = f"tip {at(shaft.trim_tip)}, butt {at(shaft.trim_butt)}"
    facts = [
        ("Spec", NONE if spec is None else spec.name),
        ("Revision", revision or NONE),
        ("Date", date.isoformat()),
        ("Mandrel", shaft.mandrel),
        ("Mandrel set", f"{place} from the small end"),
        ("Lengths in", units.words),
        ("Finished length", at(shaft.length)),
        ("Blank length", at(blank)),
        ("Trim after cure", trim),
        ("Grind, radial", f"{units.depth.text(finish.grind)} {units.depth.unit}"),
        ("Tip", tip),
        ("Paint, resin bleed", f"{coat}, {plain(finish.resin_bleed * 100, 2)} %"),
    ]
    name_room = 0.28 * letters.width
    left = [
        paragraph("LAYUP SHEET", 0.95 * letters.size, bold=True, colour=QUIET),
        Spacer(1, 1.5),
        fitted(
            design.name,
            name_room,
            (1.2 if letters.is_tight else 1.75) * letters.size,
            lines=3,
            bold=True,
        ),
        Spacer(1, 2.5),
        paragraph(f"Design {report.design_id}", 1.25 * letters.size),
    ]
    columns = 6
    cell = (letters.width - name_room - 3.0 * MM) / columns
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
            _FONT,
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
        [name_room + 3.0 * MM, letters.width - name_room - 3.0 * MM],
        style=[
            _FONT,
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 0),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LINEBELOW", (0, 0), (-1, -1), 1.2, HexColor(INK)),
        ],
    )


def width_grid(letters: Letters, report: Report, overlap: float = 0.0) -> Table:
    """Set the cut widths of every piece, packed so that short lists share a line.

    The grid has cells of one width; a flag's name takes some of them. A tight sheet
    leaves the stations out: they are the distance along the piece from its start.
    """
    cell_room = (4.1 if letters.is_tight else 5.0) * letters.size
    columns = int(letters.width // cell_room)
    cell = letters.width / columns
    upper = "" if letters.is_tight else "upper: station from the finished tip; middle: "
    length = letters.units.length
    on_top = (
        f"; pieces are cut {length.text(overlap)} {length.unit} wider than this, for "
        "the overlap of the wound edge, which areas and masses leave out"
        if overlap
        else ""
    )
    title = letters.heading(
        f"Cut widths [{length.unit}]",
        f"{upper}distance along the piece from its tip-side edge; bold: width of "
        f"each piece, which steps where a distance stands twice{on_top}",
    )
    lines: list[list[Cell]] = [[[title], *[""] * (columns - 1)]]
    style: list[Command] = [
        _FONT,
        ("LEFTPADDING", (0, 0), (-1, -1), 1.0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 1.0),
        ("TOPPADDING", (0, 0), (-1, -1), 0.3 if letters.is_tight else 0.7),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0.9 if letters.is_tight else 1.6),
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.3, RULE),
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, HexColor(INK)),
        ("SPAN", (0, 0), (-1, 0)),
        ("LEFTPADDING", (0, 0), (-1, 0), 0),
        ("BOTTOMPADDING", (0, 0), (-1, 0), 0),
    ]
    at = columns  # next free cell of the last line
    for order, flag in enumerate(report.flags, start=1):
        cells = [_width_cell(letters, point, cell - 2.2) for point in cut_points(flag)]
        pieces = f"({flag.pieces} pieces)  " if flag.pieces > 1 else ""
        name = f"{order}  {pieces}{flag.name}"  # what is cut short is the name
        at += 1  # a free cell between two lists on a line
        if at + _NAME_CELLS + len(cells) > columns:
            lines.append([""] * columns)
            at = 0
        while cells:
            row = len(lines) - 1
            head = fitted(
                name,
                _NAME_CELLS * cell - 2.2,
                (0.86 if letters.is_tight else 1.0) * letters.size,
                bold=True,
            )
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


def _width_cell(letters: Letters, point: CutPoint, room: float) -> Cell:
    """Station, distance along the piece, width."""
    size, text = 0.86 * letters.size, letters.units.length.text
    lines: list[Flowable] = [
        fitted(text(point.along), room, 0.94 * size, lines=1, align="right"),
        fitted(text(point.width), room, size, lines=1, align="right", bold=True),
    ]
    if not letters.is_tight:
        station = text(point.station)
        lines.insert(0, paragraph(station, 0.94 * size, align="right", colour=QUIET))
    return lines
