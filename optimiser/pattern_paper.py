"""Pages that pieces and lays are drawn on: size, head, foot, and letters on them."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties

from optimiser.flagmap import INK
from optimiser.look import QUIET
from optimiser.sheet_parts import names_undrawn
from optimiser.sheet_type import drawn, face_for, text_width
from optimiser.shop_units import SI, ShopUnits
from optimiser.words import CAUTIONS

if TYPE_CHECKING:
    from model import Report

_INCH: Final = 25.4  # mm
#: points in a millimetre
POINTS: Final = 72.0 / _INCH
#: pages that are twice as large as those of a sheet, lying, by the sheet's paper [mm]
_PAGES: Final = MappingProxyType(
    {"a4": (420.0, 297.0), "letter": (17.0 * _INCH, 11.0 * _INCH)}
)
#: [mm]
MARGIN: Final = 14.0
_FOOT: Final = 14.0
_TITLE: Final = 13.0  #: size of its letters [pt]
_FOOT_SHARE: Final = 0.6  #: of the foot, for what the page belongs to
_NOTE: Final = 4.2  #: from line to line of what stands at the head


@dataclass(frozen=True, slots=True)
class PatternPage:
    """A kind of page, and what stands at its head."""

    size: tuple[float, float]  #: [mm]
    notes: tuple[str, ...]
    foot: str  #: which design and revision it belongs to

    @property
    def head(self) -> float:
        """Height of the head. [mm]."""
        return 9.0 + _NOTE * len(self.notes)

    @property
    def room(self) -> tuple[float, float]:
        """Width and height of what can be drawn on. [mm]."""
        wide, high = self.size
        return wide - 2.0 * MARGIN, high - 2.0 * MARGIN - self.head - _FOOT

    @property
    def top(self) -> float:
        """Upper edge of what can be drawn on. [mm]."""
        return self.size[1] - MARGIN - self.head

    def begun(self, title: str, right: str) -> tuple[Figure, Axes]:
        """Begin a page with its head and foot.

        Parameters
        ----------
        title : str
            What is on it. [-]
        right : str
            Which page it is, and its scale. [-]

        Returns
        -------
        page : Figure
            The page. [-]
        ax : Axes
            Millimetres on it. [mm]
        """
        page, ax = picture(*self.size)
        _head(ax, self.size, title, right, self.notes)
        _foot(ax, self.size, self.foot)
        return page, ax


@contextmanager
def drawing(*, has_fonts: bool = False) -> Iterator[None]:
    """Take names for no formulas; an SVG leaves its letters to whoever shows it.

    Parameters
    ----------
    has_fonts : bool
        Whether the file holds its fonts, so that a missing letter is a fault. [-]

    Yields
    ------
    nothing : None
        While it is drawn. [-]
    """
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
        if not has_fonts:
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def picture(width: float, height: float) -> tuple[Figure, Axes]:
    """Make a page whose axes are millimetres on it.

    Parameters
    ----------
    width, height : float
        Of the page. [mm]

    Returns
    -------
    page : Figure
        The page. [-]
    ax : Axes
        Millimetres on it. [mm]
    """
    page = Figure(figsize=(width / _INCH, height / _INCH), facecolor="white")
    ax = page.add_axes((0.0, 0.0, 1.0, 1.0))
    ax.set_xlim(0.0, width)
    ax.set_ylim(0.0, height)
    ax.set_axis_off()
    return page, ax


def write_drawn(
    ax: Axes,
    at: tuple[float, float],
    text: str,
    *,
    size: float,
    turn: float = 0.0,
    is_kept: bool = False,
    is_title: bool = False,
) -> None:
    """Write a text with a font that has its letters, or signs in their place.

    Parameters
    ----------
    ax : Axes
        Where it is written. [-]
    at : tuple of float
        Left end of its base. [mm]
    text : str
        What is written. [-]
    size : float
        Size of the letters. [pt]
    turn : float
        Of its base, anticlockwise. [rad]
    is_kept : bool
        Whether the text is kept as it is, for files that hold no fonts. [-]
    is_title : bool
        Whether it is bold. [-]
    """
    shown = text if is_kept else drawn(text)
    face = None if is_kept else face_for(shown)
    font = FontProperties(weight="bold" if is_title else "normal")
    if face is not None:
        font = FontProperties(fname=face.path)
    font.set_size(size)
    ax.text(
        *at,
        shown,
        fontproperties=font,
        rotation=math.degrees(turn),
        rotation_mode="anchor",
        color=INK,
    )


def page_of(
    report: Report,
    notes: Sequence[str],
    paper: str,
    units: ShopUnits,
    revision: str = "",
) -> PatternPage:
    """Choose the page, with what is to be said on each.

    Parameters
    ----------
    report : Report
        The design. [SI]
    notes : sequence of str
        Of these drawings. [-]
    paper : {"a4", "letter"}
        Page of the sheet; these are twice as large. [-]
    units : ShopUnits
        Units of what is said. [-]
    revision : str
        Revision that is printed. [-]

    Returns
    -------
    kind : PatternPage
        With what is said of all drawings of a design besides. [-]
    """
    said = [*notes]
    if units is not SI:
        said.append(
            f"Lengths in {units.words}. The DXF files of these pieces are in mm at "
            "1:1, as cutters read them."
        )
    unseen = names_undrawn(report, revision=revision)
    if unseen:
        more = f" (and {len(unseen) - 1} more)" if len(unseen) > 1 else ""
        said.append(f"{unseen[0]}{more}; see the layup sheet.")
    foot = f"design {report.design_id}"
    if revision:
        foot += f", revision {revision}"
    return PatternPage(_PAGES[paper], tuple(said), foot)


def _head(
    ax: Axes, size: tuple[float, float], title: str, right: str, notes: Sequence[str]
) -> None:
    """Write title, page and notes."""
    top, room = size[1] - MARGIN, size[0] - 2.0 * MARGIN
    ax.text(size[0] - MARGIN, top, right, fontsize=9, color=INK, va="top", ha="right")
    free = room - text_width(right, 9.0) / POINTS - 5.0
    # smaller where it would run into what stands beside it
    share = min(1.0, free * POINTS / text_width(title, _TITLE, bold=True))
    write_drawn(ax, (MARGIN, top - 3.6), title, size=share * _TITLE, is_title=True)
    for i, note in enumerate(notes):
        share = min(1.0, room * POINTS / text_width(note, 8.0))
        at = (MARGIN, top - 9.2 - _NOTE * i)
        write_drawn(ax, at, note, size=share * 8.0)


def _foot(ax: Axes, size: tuple[float, float], belongs: str) -> None:
    """Write cautions, and what the page belongs to."""
    for i, caution in enumerate(reversed(CAUTIONS)):
        ax.text(MARGIN, MARGIN - 6.0 + 4.0 * i, caution, fontsize=7, color=QUIET)
    wide = text_width(drawn(belongs), 7.0) / POINTS
    # smaller where it would run into the cautions
    share = min(1.0, (size[0] - 2.0 * MARGIN) * _FOOT_SHARE / wide)
    at = size[0] - MARGIN - share * wide, MARGIN - 6.0
    write_drawn(ax, at, belongs, size=share * 7.0)
