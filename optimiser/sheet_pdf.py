"""The layup sheet as a PDF, laid out for the bench."""

from __future__ import annotations

import datetime
import io
from typing import TYPE_CHECKING, Final

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
)

from optimiser.flagmap import INK, flag_map
from optimiser.sheet_blocks import (
    FOOT,
    MARGIN,
    PAPERS,
    QUIET,
    RULE,
    Letters,
    title_block,
    width_grid,
)
from optimiser.sheet_map import FlagMapFlowable
from optimiser.sheet_parts import (
    bench_part,
    diameters_part,
    flags_part,
    materials_part,
    notes_part,
    sign_off,
    strength_part,
)
from optimiser.sheet_type import BOLD, PLAIN, fitted, font_for, text_width
from optimiser.shop_units import SI, ShopUnits
from optimiser.words import CAUTIONS

if TYPE_CHECKING:
    from model import Mandrel, Report
    from optimiser.spec import Spec

#: sizes of letters [pt], share of the room for writing and whether names are kept to
#: the height of one line, tried in turn until the sheet has two pages; where none has,
#: the first with the fewest pages
_TRIALS: Final = (
    (7.2, 1.0, False),
    (7.2, 0.4, False),
    (6.8, 0.3, False),
    (6.8, 0.3, True),
    (6.5, 0.1, True),
    (6.2, 0.0, True),
    (5.9, 0.0, True),
)
#: flags from which on only tight sheets are tried
_MANY: Final = 11


def sheet_pdf(
    report: Report,
    *,
    spec: Spec | None = None,
    date: datetime.date | None = None,
    mandrel: Mandrel | None = None,
    revision: str = "",
    paper: str = "a4",
    units: ShopUnits = SI,
    overlap: float = 0.0,
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
    revision : str
        Revision of the sheet, as the shop counts them. [-]
    paper : {"a4", "letter"}
        Page it is printed on. [-]
    units : ShopUnits
        Units it is written in. [-]
    overlap : float
        On the wound edge of every piece, on top of the widths. [m]

    Returns
    -------
    content : bytes
        A PDF of two pages, more only where letters would become too small. [-]
    """
    day = date or datetime.date.today()
    best: tuple[int, Letters] | None = None
    # so many flags never fit large letters, and each trial takes its time
    trials = _TRIALS if len(report.flags) <= _MANY else _TRIALS[3:]
    for size, air, is_tight in trials:
        letters = Letters(size, air, is_tight, PAPERS[paper], units)
        _, n_pages = _Sheet(
            report, spec, day, mandrel, letters, revision, overlap
        ).build(0)
        if best is None or n_pages < best[0]:
            best = (n_pages, letters)
        if n_pages <= 2:
            break
    assert best is not None
    n_pages, letters = best
    return _Sheet(report, spec, day, mandrel, letters, revision, overlap).build(
        n_pages
    )[0]


class _Sheet:
    """One sheet at one size of letters."""

    def __init__(
        self,
        report: Report,
        spec: Spec | None,
        date: datetime.date,
        mandrel: Mandrel | None,
        letters: Letters,
        revision: str,
        overlap: float,
    ) -> None:
        self.report = report
        self.spec = spec
        self.date = date
        self.mandrel = mandrel
        self.letters = letters
        self.revision = revision
        self.overlap = overlap
        self.n_pages = 0

    def build(self, n_pages: int) -> tuple[bytes, int]:
        """Lay the sheet out; the number of pages is printed on each."""
        self.n_pages = n_pages
        content = io.BytesIO()
        document = BaseDocTemplate(
            content,
            pagesize=self.letters.page,
            title=f"Layup sheet {self.report.design_id}",
            subject=self.report.design.name,
            creator="plyfront",
            initialFontName=font_for(""),  # or the page names one that is not embedded
            invariant=1,  # the same design and date give the same bytes
        )
        bottom = FOOT + 4.5 * MM
        width, high = self.letters.width, self.letters.page[1] - bottom
        first = _frame(width, bottom, high - 8.0 * MM)
        later = _frame(width, bottom, high - 13.0 * MM)
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
        text, right = " ".join(CAUTIONS), self.letters.page[0] - MARGIN
        canvas.setFillColor(HexColor(QUIET))
        canvas.setFont(PLAIN, 6.0)
        canvas.drawString(MARGIN, FOOT, text)
        page = f"page {document.page} of {self.n_pages}"
        canvas.drawRightString(right, FOOT, page)

    def _header(self, canvas: Canvas, document: BaseDocTemplate) -> None:
        """Draw what stands at the head of the pages after the first."""
        self._footer(canvas, document)
        right = self.letters.page[0] - MARGIN
        y = self.letters.page[1] - 9.5 * MM
        line = f"Layup sheet {self.report.design_id}"
        canvas.setFillColor(HexColor(INK))
        canvas.setFont(BOLD, 8.0)
        canvas.drawString(MARGIN, y, line)
        at = MARGIN + text_width(line, 8.0, bold=True) + 6.0 * MM
        date = self.date.isoformat()
        canvas.setFont(PLAIN, 8.0)
        canvas.drawRightString(right, y, date)
        room = right - text_width(date, 8.0) - 6.0 * MM - at
        if self.revision:
            said = f"revision {self.revision}"
            marked = fitted(said, 0.3 * room, 8.0, lines=1, align="right")
            marked.wrapOn(canvas, 0.3 * room, 20.0)
            marked.drawOn(canvas, at + 0.7 * room, y - 2.2)
        box = fitted(self.report.design.name, 0.68 * room, 8.0, lines=1)
        box.wrapOn(canvas, 0.68 * room, 20.0)
        box.drawOn(canvas, at, y - 2.2)
        canvas.setStrokeColor(RULE)
        canvas.line(MARGIN, y - 1.8 * MM, right, y - 1.8 * MM)

    def _of_lengths(self) -> str:
        """What the lengths of the flags are counted in and from."""
        shaft = self.report.design.shaft
        said = (
            f"lengths in {self.letters.units.words}; clock: place of the straight "
            "edge in the sense of rolling"
        )
        if shaft.trim_tip or shaft.trim_butt:
            said += (
                "; stations are the finished shaft's; at a trimmed end a flag goes on "
                "over the trim, as its place on the mandrel and its length say"
            )
        return said

    def _story(self) -> list[Flowable]:
        """Everything on the sheet, in order."""
        letters, report, spec = self.letters, self.report, self.spec
        gap = (0.3 if letters.is_tight else 0.55) * letters.size
        bench = letters.side_by_side(
            letters.titled(
                "Bench: predicted, accepted, measured",
                bench_part(letters, report, spec),
            ),
            letters.titled(
                f"Diameters before paint [{letters.units.diameter.unit}]",
                diameters_part(letters, report),
            ),
            0.61,
        )
        below = letters.side_by_side(
            letters.titled("Strength margins", strength_part(letters, report)),
            letters.titled("Materials for one shaft", materials_part(letters, report)),
            0.465,
        )
        layout = flag_map(report, self.mandrel)
        drawn = FlagMapFlowable(
            layout, letters.width, 0.94 * letters.size, letters.units
        )
        return [
            NextPageTemplate("later"),
            title_block(letters, report, spec, self.date, self.revision),
            Spacer(1, gap),
            letters.heading("Flags in rolling order", self._of_lengths()),
            flags_part(letters, report),
            Spacer(1, gap),
            KeepTogether([letters.heading("Flag map, first rolled on top"), drawn]),
            Spacer(1, gap),
            width_grid(letters, report, self.overlap),
            Spacer(1, gap),
            bench,
            Spacer(1, gap),
            below,
            Spacer(1, gap),
            *notes_part(letters, report, spec, self.revision),
            sign_off(letters),
        ]


def _frame(width: float, bottom: float, height: float) -> Frame:
    """Part of a page that is filled."""
    return Frame(
        MARGIN,
        bottom,
        width,
        height,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )
