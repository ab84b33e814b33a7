"""Pieces and lays as pictures: SVG at true size, pages of a PDF to a stated scale."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from optimiser.flagmap import INK, KIND_COLOURS, kind_of
from optimiser.look import QUIET
from optimiser.pattern_paper import (
    MARGIN,
    POINTS,
    PatternPage,
    drawing,
    page_of,
    picture,
    write_drawn,
)
from optimiser.pattern_shapes import laid_shapes, stacked
from optimiser.shop_units import SI, ShopUnits

if TYPE_CHECKING:
    from model import Ends, Piece, Report
    from optimiser.nesting import Lay
    from optimiser.pattern_shapes import Shape

#: Scales that are used, least reduction first.
_SCALES: Final = (1.0, 2.0, 2.5, 4.0, 5.0, 8.0, 10.0, 15.0, 20.0, 25.0, 50.0)
#: Scale from which on a lay takes more pages rather than a smaller scale.
_SMALLEST: Final = 15.0
#: Room between strips of roll. [mm]
_STRIP_GAP: Final = 8.0
#: Least height of letters that is drawn. [pt]
_LEAST_LETTERS: Final = 3.0

_ENDS: Final = {
    "developed": "Ends are arcs, as a cone unrolls, and lie square on the shaft; "
    "widths of the layup sheet are measured along such arcs.",
    "square": "Ends are cut square to the straight edge, as widths of the layup sheet "
    "are measured; on the shaft they run out of square.",
}
_TURNED_OVER: Final = (
    "The second piece of a pair (B) is drawn as its mirror image, its straight edge "
    "above: it is turned over when it is laid on the first."
)
_ON_ROLL: Final = (
    "Fibres run along the roll, from left to right. Pieces are turned by half a turn "
    "at most and never turned over. Seen on the outer face."
)
_NOTES: Final = (
    "Seen on the outer face. The lower edge is straight and is laid along the mandrel "
    "first; the tip lies on the left. The arrow follows the fibres.",
    "Notches: where the first turn closes; in a pair half a turn, where the other "
    "piece's straight edge lies; on the straight edge, where a run-out ends.",
)


def _draw(
    ax: Axes, shapes: Sequence[Shape], scale: float, x: float, y: float, fill: bool
) -> None:
    """Draw pieces at a scale, their 0, 0 at a place on the page.

    Those that are filled are on a page of a PDF, which holds its letters.
    """
    at = np.array([x, y])
    for shape in shapes:
        ax.add_patch(
            Polygon(
                shape.outline / scale + at,
                closed=True,
                facecolor=KIND_COLOURS[kind_of(shape.own_angle)] if fill else "none",
                edgecolor=INK,
                linewidth=0.5,
            )
        )
    lines = [np.array(line) / scale + at for shape in shapes for line in shape.marks]
    ax.add_collection(LineCollection(lines, colors=QUIET, linewidths=0.5))
    for shape in shapes:
        sizes = [words.height / scale * POINTS for words in shape.words]
        if fill and not any(size >= _LEAST_LETTERS for size in sizes):
            _mark(ax, shape, scale, x, y)
        for words, size in zip(shape.words, sizes, strict=True):
            if size >= _LEAST_LETTERS:
                write_drawn(
                    ax,
                    (words.x / scale + x, words.y / scale + y),
                    words.text,
                    size=size / 0.73,  # letters are drawn by the height of capitals
                    turn=words.turn,
                    is_kept=not fill,
                )


def _mark(ax: Axes, shape: Shape, scale: float, x: float, y: float) -> None:
    """Write a piece's mark at a readable size, where all else would be too small."""
    u, v = shapely.Polygon(shape.outline).representative_point().coords[0]
    ax.text(
        u / scale + x,
        v / scale + y,
        shape.mark,
        fontsize=5.0,
        ha="center",
        va="center",
        color=INK,
    )


@drawing()
def patterns_svg(pieces: Sequence[Piece], units: ShopUnits = SI) -> bytes:
    """Pieces of a shaft as SVG, at true size.

    Parameters
    ----------
    pieces : sequence of Piece
        Pieces of a shaft. [SI]
    units : ShopUnits
        Units of what is said on them. [-]

    Returns
    -------
    content : bytes
        One millimetre is one millimetre. [-]
    """
    shapes = stacked(pieces, units)
    corner = np.vstack([shape.outline for shape in shapes]).max(axis=0)
    page, ax = picture(corner[0] + 2 * MARGIN, corner[1] + 2 * MARGIN)
    _draw(ax, shapes, 1.0, MARGIN, MARGIN, fill=False)
    content = io.BytesIO()
    page.savefig(content, format="svg", metadata={"Date": None, "Creator": None})
    return content.getvalue()


@drawing(has_fonts=True)
def patterns_pdf(
    report: Report,
    pieces: Sequence[Piece],
    ends: Ends,
    *,
    turn_over: bool = False,
    overlap: float = 0.0,
    paper: str = "a4",
    units: ShopUnits = SI,
    revision: str = "",
) -> bytes:
    """Pieces of a shaft as pages, to a stated scale.

    Parameters
    ----------
    report : Report
        The design. [SI]
    pieces : sequence of Piece
        Its pieces. [SI]
    ends : {"developed", "square"}
        How their ends are cut. [-]
    turn_over : bool
        Whether the second pieces of pairs are cut to be turned over. [-]
    overlap : float
        On their wound edges. [m]
    paper : {"a4", "letter"}
        Page of the sheet; these are twice as large. [-]
    units : ShopUnits
        Units of what is said. [-]
    revision : str
        Revision that is printed. [-]

    Returns
    -------
    content : bytes
        A PDF. [-]
    """
    notes = [*_NOTES, _ENDS[ends]]
    if turn_over:
        notes.append(_TURNED_OVER)
    if overlap:
        length = units.length
        notes.append(
            f"The wound edge has {length.text(overlap)} {length.unit} of "
            "overlap, on top of the widths of the layup sheet."
        )
    kind = page_of(report, notes, paper, units, revision)
    wide, high = kind.room
    # parts of a spliced piece are drawn at their own places along it
    longest = float(np.ptp(np.vstack([piece.outline for piece in pieces])[:, 0])) * 1e3
    scale = next((s for s in _SCALES if longest / s <= wide), _SCALES[-1])
    least = _LEAST_LETTERS / POINTS * scale
    groups: list[list[Piece]] = [[]]
    for piece in pieces:
        trial = stacked([*groups[-1], piece], units, least=least)
        if groups[-1] and _top(trial) > high * scale:
            groups.append([])
        groups[-1].append(piece)
    content = io.BytesIO()
    with PdfPages(content, metadata={"CreationDate": None}) as pdf:
        for number, group in enumerate(groups, start=1):
            page, ax = kind.begun(
                f"{report.design.name}: cut patterns",
                f"page {number} of {len(groups)}, scale 1 : {scale:g}",
            )
            shapes = stacked(group, units, least=least)
            y = kind.top - _top(shapes) / scale
            _draw(ax, shapes, scale, MARGIN, y, fill=True)
            pdf.savefig(page)
    return content.getvalue()


def _top(shapes: Sequence[Shape]) -> float:
    return max(float(shape.outline[:, 1].max()) for shape in shapes)


@drawing(has_fonts=True)
def lays_pdf(
    report: Report,
    lays: Sequence[Lay],
    *,
    turn_over: bool = False,
    paper: str = "a4",
    units: ShopUnits = SI,
    revision: str = "",
) -> bytes:
    """Lays as pages, a material after the other.

    Parameters
    ----------
    report : Report
        The design. [SI]
    lays : sequence of Lay
        A lay for each of its materials. [SI]
    turn_over : bool
        Whether the second pieces of pairs are cut to be turned over. [-]
    paper : {"a4", "letter"}
        Page of the sheet; these are twice as large. [-]
    units : ShopUnits
        Units of what is said. [-]
    revision : str
        Revision that is printed. [-]

    Returns
    -------
    content : bytes
        A PDF; a long lay goes on in the next strip. [-]
    """
    content = io.BytesIO()
    with PdfPages(content, metadata={"CreationDate": None}) as pdf:
        for lay in lays:
            notes = [_used(lay, units), _kept(report, units), _ON_ROLL]
            if turn_over:
                notes.append(_TURNED_OVER)
            kind = page_of(report, notes, paper, units, revision)
            for page in _lay_pages(report, lay, kind, units):
                pdf.savefig(page)
    return content.getvalue()


def _used(lay: Lay, units: ShopUnits) -> str:
    """Say how much roll a lay takes."""
    length, area = units.length, units.area
    return (
        f"Roll {length.text(lay.roll_width)} {length.unit} wide, "
        f"{length.text(lay.length)} {length.unit} of it used; {len(lay.laid)} pieces, "
        f"{lay.area_net * area.per_si:.3f} {area.unit} of "
        f"{lay.area * area.per_si:.3f} {area.unit}: "
        f"{lay.share_used * 100.0:.1f} % used."
    )


def _kept(report: Report, units: ShopUnits) -> str:
    """Say what a lay keeps clear."""
    cutting, length = report.design.cutting, units.length
    return (
        f"{length.text(cutting.gap)} {length.unit} at least from piece to piece, "
        f"{length.text(cutting.roll_edge)} {length.unit} from the edges (dotted)."
    )


def _lay_pages(
    report: Report, lay: Lay, kind: PatternPage, units: ShopUnits
) -> list[Figure]:
    """Pages of one lay."""
    room, high = kind.room
    width, length = lay.roll_width * 1e3, lay.length * 1e3
    # as large as fits on one page, but not so small that nothing can be read
    for scale in _SCALES:
        n_strips = max(1, math.ceil(length / (room * scale)))
        per_page = int((high + _STRIP_GAP) // (width / scale + _STRIP_GAP))
        if per_page >= n_strips or (per_page and scale >= _SMALLEST):
            break
    per_strip = room * scale
    per_page = max(1, per_page)
    shapes = laid_shapes(lay)
    n_pages = math.ceil(n_strips / per_page)
    pages = []
    for number in range(n_pages):
        text = f"{lay.material}, {lay.batch} shaft{'s' if lay.batch > 1 else ''}"
        page, ax = kind.begun(
            f"{report.design.name}: lay of {text}",
            f"page {number + 1} of {n_pages}, scale 1 : {scale:g}",
        )
        y = kind.top
        for strip in range(number * per_page, min((number + 1) * per_page, n_strips)):
            y -= width / scale
            first = strip * per_strip
            last = min(first + per_strip, length)
            _strip(ax, shapes, lay, scale, (first, last), y)
            for x, end, side in ((first, first, "left"), (last, first, "right")):
                ax.text(
                    MARGIN + (x - end) / scale,
                    y - 3.5,
                    f"{units.length.text(x / 1e3)} {units.length.unit}",
                    fontsize=6,
                    color=QUIET,
                    ha=side,
                )
            y -= _STRIP_GAP
        pages.append(page)
    return pages


def _strip(
    ax: Axes,
    shapes: Sequence[Shape],
    lay: Lay,
    scale: float,
    stretch: tuple[float, float],
    y: float,
) -> None:
    """Draw a stretch of a lay, cut off at both ends."""
    first, last = stretch
    left, width = MARGIN, lay.roll_width * 1e3 / scale
    box = Rectangle(
        (left, y), (last - first) / scale, width, facecolor="none", edgecolor=INK
    )
    ax.add_patch(box)
    for edge in (lay.roll_edge * 1e3 / scale, width - lay.roll_edge * 1e3 / scale):
        ax.plot(
            [left, left + (last - first) / scale],
            [y + edge] * 2,
            color=QUIET,
            linewidth=0.4,
            linestyle=(0, (4, 4)),
        )
    seen = [
        shape
        for shape in shapes
        if shape.outline[:, 0].max() > first and shape.outline[:, 0].min() < last
    ]
    before = len(ax.patches), len(ax.collections), len(ax.texts)
    _draw(ax, seen, scale, left - first / scale, y, fill=True)
    for artist in (
        *ax.patches[before[0] :],
        *ax.collections[before[1] :],
        *ax.texts[before[2] :],
    ):
        artist.set_clip_path(box)
        artist.set_clip_on(True)
