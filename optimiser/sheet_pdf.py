"""The layup sheet as a PDF, laid out for the bench."""

from __future__ import annotations

import datetime
import io
import math
from typing import TYPE_CHECKING

from reportlab.lib.colors import HexColor
from reportlab.lib.units import mm as MM  # noqa: N812, a unit is no class
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    NextPageTemplate,
    PageTemplate,
    Spacer,
    Table,
)

from model import angle_text
from optimiser.flagmap import INK, flag_map
from optimiser.sheet_blocks import (
    FOOT,
    MARGIN,
    PAGE,
    QUIET,
    RULE,
    WIDTH,
    Cell,
    Letters,
    title_block,
    width_grid,
)
from optimiser.sheet_map import FlagMapFlowable
from optimiser.sheet_tables import (
    BenchRow,
    bench_rows,
    check_diameters,
    material_totals,
)
from optimiser.sheet_type import Side, fitted, paragraph
from optimiser.words import CAUTIONS, NONE, edge_text, mm, number, plain, turns_text

if TYPE_CHECKING:
    from model import Mandrel, Report
    from optimiser.spec import Spec

#: sizes of letters [pt] and share of the room for writing, tried in turn until the
#: sheet has two pages; where none has, the first with the fewest pages
_TRIALS = (
    Letters(8.0, 1.0),
    Letters(8.0, 0.4),
    Letters(7.6, 0.3),
    Letters(7.2, 0.1),
    Letters(6.8, 0.0),
)


def sheet_pdf(
    report: Report,
    *,
    spec: Spec | None = None,
    date: datetime.date | None = None,
    mandrel: Mandrel | None = None,
) -> bytes:
    """Set the layup sheet of a design.

    Parameters
    ----------
    report : Report
        An evaluated design. [-]
    spec : Spec or None
        Its bands are the acceptance limits. [-]
    date : date or None
        Date on the sheet; today without. [-]
    mandrel : Mandrel or None
        Its mandrel, to mark on the map where its taper changes. [-]

    Returns
    -------
    content : bytes
        A PDF of two A4 pages, more only where letters would become too small. [-]
    """
    day = date or datetime.date.today()
    best: tuple[int, Letters] | None = None
    for letters in _TRIALS:
        _, n_pages = _Sheet(report, spec, day, mandrel, letters).build(0)
        if best is None or n_pages < best[0]:
            best = (n_pages, letters)
        if n_pages <= 2:
            break
    assert best is not None
    n_pages, letters = best
    return _Sheet(report, spec, day, mandrel, letters).build(n_pages)[0]


class _Sheet:
    """One sheet at one size of letters."""

    def __init__(
        self,
        report: Report,
        spec: Spec | None,
        date: datetime.date,
        mandrel: Mandrel | None,
        letters: Letters,
    ) -> None:
        self.report = report
        self.spec = spec
        self.date = date
        self.mandrel = mandrel
        self.letters = letters
        self.n_pages = 0

    def build(self, n_pages: int) -> tuple[bytes, int]:
        """Lay the sheet out; the number of pages is printed on each."""
        self.n_pages = n_pages
        content = io.BytesIO()
        document = BaseDocTemplate(
            content,
            pagesize=PAGE,
            title=f"Layup sheet {self.report.design_id}",
            subject=self.report.design.name,
            creator="plyfront",
            invariant=1,  # the same design and date give the same bytes
        )
        bottom = FOOT + 4.5 * MM
        high = PAGE[1] - bottom
        first = _frame(bottom, high - 8.0 * MM)
        later = _frame(bottom, high - 14.0 * MM)
        document.addPageTemplates(
            [
                PageTemplate("first", [first], onPage=self._footer),
                PageTemplate("later", [later], onPage=self._header),
            ]
        )
        document.build(self._story())
        return content.getvalue(), document.page

    def _footer(self, canvas: Canvas, document: BaseDocTemplate) -> None:
        """Draw what stands at the foot of every page."""
        canvas.setFillColor(HexColor(QUIET))
        canvas.setFont("Helvetica", 6.8)
        canvas.drawString(MARGIN, FOOT, " ".join(CAUTIONS))
        page = f"page {document.page} of {self.n_pages}"
        canvas.drawRightString(PAGE[0] - MARGIN, FOOT, page)

    def _header(self, canvas: Canvas, document: BaseDocTemplate) -> None:
        """Draw what stands at the head of the pages after the first."""
        self._footer(canvas, document)
        name = self.report.design.name
        line = f"Layup sheet {self.report.design_id}"
        y = PAGE[1] - 9.5 * MM
        canvas.setFillColor(HexColor(INK))
        canvas.setFont("Helvetica-Bold", 8.5)
        canvas.drawString(MARGIN, y, line)
        box = fitted(name, WIDTH - 90.0 * MM, 8.5, lines=1)
        box.wrapOn(canvas, WIDTH - 90.0 * MM, 20.0)
        box.drawOn(canvas, MARGIN + 52.0 * MM, y - 2.2)
        canvas.setFont("Helvetica", 8.5)
        canvas.drawRightString(PAGE[0] - MARGIN, y, self.date.isoformat())
        canvas.setStrokeColor(RULE)
        canvas.line(MARGIN, y - 1.8 * MM, PAGE[0] - MARGIN, y - 1.8 * MM)

    def _story(self) -> list[Flowable]:
        """Everything on the sheet, in order."""
        gap = 0.55 * self.letters.size
        layout = flag_map(self.report, self.mandrel)
        bench = self.letters.side_by_side(
            self.letters.titled("Bench: predicted, accepted, measured", self._bench()),
            self.letters.titled("Diameters before paint [mm]", self._diameters()),
            0.6,
        )
        below = self.letters.side_by_side(
            self.letters.titled("Strength margins", self._strength()),
            self.letters.titled("Materials for one shaft", self._materials()),
            0.46,
        )
        return [
            NextPageTemplate("later"),
            title_block(self.letters, self.report, self.spec, self.date),
            Spacer(1, gap),
            self.letters.heading("Flags in rolling order, lengths in mm"),
            self._flags(),
            Spacer(1, gap),
            KeepTogether(
                [
                    self.letters.heading("Flag map, first rolled on top"),
                    FlagMapFlowable(layout, WIDTH, 0.94 * self.letters.size),
                ]
            ),
            Spacer(1, gap),
            width_grid(self.letters, self.report),
            Spacer(1, gap),
            bench,
            Spacer(1, gap),
            below,
            Spacer(1, gap),
            *self._notes(),
            self._sign_off(),
        ]

    def _flags(self) -> Table:
        """List the flags in rolling order with their totals."""
        report = self.report
        mandrel_set = report.design.shaft.mandrel_set
        clocked = any(flag.clock is not None for flag in report.design.flags)
        heads: list[tuple[str, float, Side]] = [
            ("No.", 8.0, "left"),
            ("Flag", 32.0 if clocked else 39.0, "left"),
            ("Material", 33.0 if clocked else 37.0, "left"),
            ("Angle, deg", 12.0, "right"),
            ("From tip: start", 15.0, "right"),
            ("end", 15.0, "right"),
            ("On mandrel: start", 16.0, "right"),
            ("end", 15.0, "right"),
            ("Wraps", 15.0, "right"),
            ("Run-out tip / butt", 17.0, "right"),
            ("Cut length", 15.0, "right"),
            ("Pieces", 14.0, "right"),
            ("Net, m²", 14.0, "right"),
            ("Gross, m²", 14.0, "right"),
            ("Mass as cut, g", 14.0, "right"),
            (self._cost_head(), 15.0, "right"),
        ]
        if clocked:
            heads.insert(12, ("Clock, deg", 11.0, "right"))
        rows = []
        for order, (cut, flag) in enumerate(
            zip(report.flags, report.design.flags, strict=True), start=1
        ):
            outs = NONE
            if flag.run_out_tip or flag.run_out_butt:
                outs = f"{mm(flag.run_out_tip)} / {mm(flag.run_out_butt)}"
            joins = f", {cut.splices} join{'s' * (cut.splices > 1)}"
            row = [
                str(order),
                cut.name,
                cut.material,
                angle_text(cut.angle, is_pair=cut.is_pair),
                mm(cut.start),
                mm(cut.end),
                mm(mandrel_set + float(cut.cut_station[0])),
                mm(mandrel_set + float(cut.cut_station[-1])),
                turns_text(cut),
                outs,
                mm(cut.cut_length),
                f"{cut.pieces}{joins if cut.splices else ''}",
                number(cut.area_net, 4),
                number(cut.area_gross, 4),
                number(cut.mass_cut * 1e3, 2),
                number(cut.cost, 2),
            ]
            if clocked:
                clock = flag.clock
                row.insert(12, NONE if clock is None else plain(math.degrees(clock), 1))
            rows.append(row)
        total = ["", "Total", *[""] * (len(heads) - 6)]
        total += [
            number(sum(flag.area_net for flag in report.flags), 4),
            number(sum(flag.area_gross for flag in report.flags), 4),
            number(sum(flag.mass_cut for flag in report.flags) * 1e3, 2),
            number(sum(flag.cost for flag in report.flags), 2),
        ]
        return self.letters.table(heads, rows, total=total)

    def _cost_head(self) -> str:
        """Head of a column of cost."""
        currency = self.report.currency
        return f"Cost, {currency}" if currency else "Cost"

    def _bench(self) -> Table:
        """Predicted bench values, what is accepted, room for what is measured."""
        heads: list[tuple[str, float, Side]] = [
            ("Quantity", 30.0, "left"),
            ("Set-up", 57.0, "left"),
            ("Predicted", 18.0, "right"),
            ("Accept", 24.0, "right"),
            ("Measured", 18.0, "center"),
            ("Initials", 13.0, "center"),
        ]
        rows: list[list[str]] = []
        outside = set()
        for row in bench_rows(self.report, self.spec):
            unit = f" [{row.unit}]" if row.unit else ""
            predicted = "does not fit"
            if row.predicted is not None:
                predicted = number(row.predicted, row.decimals)
                if not row.low <= row.predicted <= row.high:
                    outside.add((len(rows), 2))
                    predicted += " (out)"
            rows.append([row.label + unit, row.setup, predicted, _accept(row), "", ""])
        return self.letters.table(heads, rows, boxes=(4, 5), bold=outside)

    def _diameters(self) -> Table:
        """Diameters at the inspector's stations."""
        heads: list[tuple[str, float, Side]] = [
            ("From tip", 14.0, "right"),
            ("On mandrel", 16.0, "right"),
            ("Bore", 12.0, "right"),
            ("Built", 13.0, "right"),
            ("Measured", 18.0, "center"),
            ("Ground", 14.0, "right"),
            ("Measured", 18.0, "center"),
        ]
        rows = [
            [
                mm(row.station),
                mm(row.on_mandrel),
                number(row.bore * 1e3, 2),
                number(row.build * 1e3, 2),
                "",
                number(row.ground * 1e3, 2),
                "",
            ]
            for row in check_diameters(self.report)
        ]
        return self.letters.table(heads, rows, boxes=(4, 6))

    def _strength(self) -> Table:
        """Margins at the strength points and over the envelope."""
        heads: list[tuple[str, float, Side]] = [
            ("Point", 15.0, "left"),
            ("Station, mm", 14.0, "right"),
            ("Moment, N\u00a0m", 14.0, "right"),
            ("Fibre margin", 13.0, "right"),
            ("Governing flag", 27.0, "left"),
            ("Mode", 25.0, "left"),
            ("Cracking*", 14.0, "right"),
        ]
        rows = [
            [
                point.name,
                mm(point.station),
                NONE if point.moment is None else number(point.moment, 1),
                number(point.margin, 3),
                point.flag or NONE,
                point.mode or "does not fit",
                number(point.cracking_margin, 3),
            ]
            for point in self.report.strength
        ]
        short = {
            (i, 3)
            for i, point in enumerate(self.report.strength)
            if point.margin is not None and point.margin < 0.0
        }
        return self.letters.table(heads, rows, bold=short)

    def _materials(self) -> Table:
        """Totals by material, with room for the roll that was used."""
        heads: list[tuple[str, float, Side]] = [
            ("Material", 38.0, "left"),
            ("Flags", 10.0, "right"),
            ("Pieces", 11.0, "right"),
            ("Net, m²", 14.0, "right"),
            ("Gross, m²", 15.0, "right"),
            ("As cut, g", 14.0, "right"),
            (self._cost_head(), 15.0, "right"),
            ("Roll or lot used", 31.0, "center"),
        ]
        totals = material_totals(self.report)
        rows = [
            [
                row.material,
                str(row.flags),
                str(row.pieces),
                number(row.area_net, 4),
                number(row.area_gross, 4),
                number(row.mass_cut * 1e3, 2),
                number(row.cost, 2),
                "",
            ]
            for row in totals
        ]
        total = [
            "Total",
            str(sum(row.flags for row in totals)),
            str(sum(row.pieces for row in totals)),
            number(sum(row.area_net for row in totals), 4),
            number(sum(row.area_gross for row in totals), 4),
            number(sum(row.mass_cut for row in totals) * 1e3, 2),
            number(sum(row.cost for row in totals), 2),
            "",
        ]
        return self.letters.table(heads, rows, total=total, boxes=(7,))

    def _notes(self) -> list[Flowable]:
        """Say what the numbers mean and what the evaluation warned about."""
        bench = self.report.design.bench
        notes = [
            f"Margins: least allowable over actual strain, less one, under "
            f"{plain(bench.strength_moment)} N m. *Cracking along the fibres does not "
            "by itself break a shaft and does not gate.",
            *self._hung_notes(),
            *(f"Note: {warning}" for warning in self.report.warnings),
        ]
        return [
            paragraph(note, 0.86 * self.letters.size, colour=QUIET) for note in notes
        ]

    def _hung_notes(self) -> list[str]:
        """Say what the bench reads where small deflections no longer hold well."""
        hung = [
            f"{row.label.lower()} {number(row.bench_reads, row.decimals)} {row.unit}"
            for row in bench_rows(self.report, self.spec)
            if row.bench_reads is not None
        ]
        if not hung:
            return []
        return [
            "Predicted deflections and their bands are by small-deflection theory; a "
            f"bench reads {', '.join(hung)}."
        ]

    def _sign_off(self) -> Flowable:
        """Cautions, and places to sign."""
        fields = ("Shaft no.", "Rolled by", "Cured, batch", "Ground by", "Inspected by")
        labels: list[Cell] = [
            paragraph(
                f"{field} (initials, date)" if " by" in field else field,
                0.78 * self.letters.size,
                colour=QUIET,
            )
            for field in fields
        ]
        boxes = Table(
            [labels, [""] * len(fields)],
            [WIDTH / len(fields)] * len(fields),
            [1.5 * self.letters.size, 2.6 * self.letters.size],
            style=[
                ("LEFTPADDING", (0, 0), (-1, -1), 3),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
                ("BOX", (0, 0), (-1, -1), 0.8, HexColor(INK)),
                ("LINEBEFORE", (1, 0), (-1, -1), 0.5, RULE),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ],
        )
        caution = paragraph(" ".join(CAUTIONS), 0.94 * self.letters.size, bold=True)
        return KeepTogether([Spacer(1, 2), caution, Spacer(1, 3), boxes])


def _frame(bottom: float, height: float) -> Frame:
    """Part of a page that is filled."""
    return Frame(
        MARGIN,
        bottom,
        WIDTH,
        height,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )


def _accept(row: BenchRow) -> str:
    """Say what is accepted, in the row's unit."""
    low, high = edge_text(row.low, row.decimals), edge_text(row.high, row.decimals)
    if low != NONE and high != NONE:
        return f"{low} to {high}"
    if low != NONE:
        return f"at least {low}"
    return NONE if high == NONE else f"at most {high}"
