"""Pieces and lays as pictures: SVG at true size, pages of a PDF to a stated scale."""

from __future__ import annotations

import io
import math
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from optimiser.flagmap import INK, KIND_COLOURS, kind_of
from optimiser.look import QUIET
from optimiser.pattern_shapes import laid_shapes, stacked
from optimiser.words import CAUTIONS, mm

if TYPE_CHECKING:
    from model import Ends, Piece, Report
    from optimiser.nesting import Lay
    from optimiser.pattern_shapes import Shape

_INCH: Final = 25.4  # mm
_POINTS: Final = 72.0 / _INCH
#: A3, lying [mm]
_PAGE: Final = (420.0, 297.0)
_MARGIN: Final = 14.0
_HEAD: Final = 22.0
_FOOT: Final = 14.0
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
_NOTES: Final = (
    "Seen on the outer face. The lower edge is straight and is laid along the mandrel "
    "first; the tip lies on the left. The arrow follows the fibres.",
    "Notches: where the first turn closes; in a pair half a turn, where the other "
    "piece's straight edge lies; on the straight edge, where a run-out ends.",
)


@contextmanager
def _drawing() -> Iterator[None]:
    """Names are no formulas; letters that the font lacks are shown as boxes."""
    with (
        mpl.rc_context(
            {
                "text.parse_math": False,
                "svg.hashsalt": "pieces",
                "svg.fonttype": "none",
            }
        ),
        warnings.catch_warnings(),
    ):
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def _picture(width: float, height: float) -> tuple[Figure, Axes]:
    """Make a page of a size in mm, whose axes are millimetres on the page."""
    page = Figure(figsize=(width / _INCH, height / _INCH), facecolor="white")
    ax = page.add_axes((0.0, 0.0, 1.0, 1.0))
    ax.set_xlim(0.0, width)
    ax.set_ylim(0.0, height)
    ax.set_axis_off()
    return page, ax


def _draw(
    ax: Axes, shapes: Sequence[Shape], scale: float, x: float, y: float, fill: bool
) -> None:
    """Draw pieces at a scale, their 0, 0 at a place on the page."""
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
        sizes = [words.height / scale * _POINTS for words in shape.words]
        if fill and not any(size >= _LEAST_LETTERS for size in sizes):
            _mark(ax, shape, scale, x, y)
        for words, size in zip(shape.words, sizes, strict=True):
            if size >= _LEAST_LETTERS:
                ax.text(
                    words.x / scale + x,
                    words.y / scale + y,
                    words.text,
                    # letters are drawn by the height of capitals
                    fontsize=size / 0.73,
                    rotation=math.degrees(words.turn),
                    rotation_mode="anchor",
                    color=INK,
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


@_drawing()
def patterns_svg(pieces: Sequence[Piece]) -> bytes:
    """Pieces of a shaft as SVG, at true size.

    Parameters
    ----------
    pieces : sequence of Piece
        Pieces of a shaft. [SI]

    Returns
    -------
    content : bytes
        One millimetre is one millimetre. [-]
    """
    shapes = stacked(pieces)
    corner = np.vstack([shape.outline for shape in shapes]).max(axis=0)
    page, ax = _picture(corner[0] + 2 * _MARGIN, corner[1] + 2 * _MARGIN)
    _draw(ax, shapes, 1.0, _MARGIN, _MARGIN, fill=False)
    content = io.BytesIO()
    page.savefig(content, format="svg", metadata={"Date": None, "Creator": None})
    return content.getvalue()


@_drawing()
def patterns_pdf(
    report: Report, pieces: Sequence[Piece], ends: Ends, *, turn_over: bool = False
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

    Returns
    -------
    content : bytes
        A PDF. [-]
    """
    longest = max(float(np.ptp(piece.outline[:, 0])) for piece in pieces) * 1e3
    room = _PAGE[0] - 2.0 * _MARGIN
    scale = next((s for s in _SCALES if longest / s <= room), _SCALES[-1])
    high = (_PAGE[1] - 2.0 * _MARGIN - _HEAD - _FOOT) * scale
    groups: list[list[Piece]] = [[]]
    for piece in pieces:
        trial = stacked([*groups[-1], piece])
        if groups[-1] and _top(trial) > high:
            groups.append([])
        groups[-1].append(piece)
    content = io.BytesIO()
    with PdfPages(content, metadata={"CreationDate": None}) as pdf:
        for number, group in enumerate(groups, start=1):
            page, ax = _picture(*_PAGE)
            title = f"{report.design.name}: cut patterns"
            _head(
                ax,
                title,
                f"page {number} of {len(groups)}, scale 1 : {scale:g}",
                (*_NOTES, _ENDS[ends], *([_TURNED_OVER] if turn_over else [])),
            )
            shapes = stacked(group)
            y = _PAGE[1] - _MARGIN - _HEAD - _top(shapes) / scale
            _draw(ax, shapes, scale, _MARGIN, y, fill=True)
            _foot(ax, f"design {report.design_id}")
            pdf.savefig(page)
    return content.getvalue()


def _top(shapes: Sequence[Shape]) -> float:
    return max(float(shape.outline[:, 1].max()) for shape in shapes)


@_drawing()
def lays_pdf(report: Report, lays: Sequence[Lay], *, turn_over: bool = False) -> bytes:
    """Lays as pages, a material after the other.

    Parameters
    ----------
    report : Report
        The design. [SI]
    lays : sequence of Lay
        A lay for each of its materials. [SI]
    turn_over : bool
        Whether the second pieces of pairs are cut to be turned over. [-]

    Returns
    -------
    content : bytes
        A PDF; a long lay goes on in the next strip. [-]
    """
    content = io.BytesIO()
    with PdfPages(content, metadata={"CreationDate": None}) as pdf:
        for lay in lays:
            for page in _lay_pages(report, lay, turn_over):
                pdf.savefig(page)
    return content.getvalue()


def _lay_pages(report: Report, lay: Lay, turn_over: bool) -> list[Figure]:
    """Pages of one lay."""
    room = _PAGE[0] - 2.0 * _MARGIN
    width, length = lay.roll_width * 1e3, lay.length * 1e3
    high = _PAGE[1] - 2.0 * _MARGIN - _HEAD - _FOOT
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
        page, ax = _picture(*_PAGE)
        text = f"{lay.material}, {lay.batch} shaft{'s' if lay.batch > 1 else ''}"
        _head(
            ax,
            f"{report.design.name}: lay of {text}",
            f"page {number + 1} of {n_pages}, scale 1 : {scale:g}",
            (
                f"Roll {mm(lay.roll_width)} mm wide, {mm(lay.length)} mm of it used; "
                f"{len(lay.laid)} pieces, {lay.area_net:.3f} m² of {lay.area:.3f} m²: "
                f"{lay.share_used * 100.0:.1f} % used.",
                "Fibres run along the roll, from left to right. Pieces are turned by "
                "half a turn at most and never turned over.",
                *([_TURNED_OVER] if turn_over else []),
            ),
        )
        y = _PAGE[1] - _MARGIN - _HEAD
        for strip in range(number * per_page, min((number + 1) * per_page, n_strips)):
            y -= width / scale
            first = strip * per_strip
            last = min(first + per_strip, length)
            _strip(ax, shapes, lay, scale, (first, last), y)
            y -= _STRIP_GAP
        _foot(ax, f"design {report.design_id}")
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
    left, width = _MARGIN, lay.roll_width * 1e3 / scale
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
    ax.text(left, y - 3.5, f"{first:.0f} mm", fontsize=6, color=QUIET)
    ax.text(
        left + (last - first) / scale,
        y - 3.5,
        f"{last:.0f} mm",
        fontsize=6,
        color=QUIET,
        ha="right",
    )


def _head(ax: Axes, title: str, right: str, notes: Sequence[str]) -> None:
    top = _PAGE[1] - _MARGIN
    ax.text(_MARGIN, top, title, fontsize=13, weight="bold", color=INK, va="top")
    ax.text(_PAGE[0] - _MARGIN, top, right, fontsize=9, color=INK, va="top", ha="right")
    for i, note in enumerate(notes):
        ax.text(_MARGIN, top - 7.0 - 4.2 * i, note, fontsize=8, color=INK, va="top")


def _foot(ax: Axes, left: str) -> None:
    for i, caution in enumerate(reversed(CAUTIONS)):
        ax.text(_MARGIN, _MARGIN - 6.0 + 4.0 * i, caution, fontsize=7, color=QUIET)
    ax.text(
        _PAGE[0] - _MARGIN, _MARGIN - 6.0, left, fontsize=7, color=QUIET, ha="right"
    )
