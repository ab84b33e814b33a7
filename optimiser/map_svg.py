"""The flag map as a small drawing within a page."""

from __future__ import annotations

import textwrap
from html import escape
from typing import TYPE_CHECKING, Final

from optimiser.flagmap import INK, KIND_COLOURS, FlagMap, MapRow, flag_map
from optimiser.words import mm

if TYPE_CHECKING:
    from model import Mandrel, Report

_WIDTH: Final = 640.0  # px, as all below
_NAMES = 150.0
_ROW = 19.0
_TOP = 8.0


def map_svg(report: Report, mandrel: Mandrel | None = None) -> str:
    """Draw the flag map of a design as SVG.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    mandrel : Mandrel or None
        Its mandrel, to mark where its taper changes. [SI]

    Returns
    -------
    svg : str
        One element, first flag rolled on top, to scale along the shaft. [-]
    """
    layout = flag_map(report, mandrel)
    bottom = _TOP + _ROW * len(layout.rows)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH:g}" '
        f'height="{bottom + 20:g}" viewBox="0 0 {_WIDTH:g} {bottom + 20:g}" '
        f'font-family="sans-serif" font-size="11" fill="{INK}" role="img" '
        f'aria-label="flag map of {escape(report.design.name)}">'
    ]
    parts += [_upright(layout, x, bottom, "#66717D", "2 2") for x, _ in layout.breaks]
    parts += [_upright(layout, x, bottom, INK, "") for x in (0.0, layout.length)]
    parts += [_row(layout, row) for row in layout.rows]
    for station, anchor in ((0.0, "start"), (layout.length, "end")):
        parts.append(
            f'<text x="{_at(layout, station):.1f}" y="{bottom + 14:g}" '
            f'text-anchor="{anchor}">{mm(station)} mm</text>'
        )
    return "".join([*parts, "</svg>"])


def _at(layout: FlagMap, station: float) -> float:
    """Place of a station across the drawing."""
    share = (station - layout.start) / (layout.end - layout.start)
    return _NAMES + share * (_WIDTH - _NAMES - 6.0)


def _upright(
    layout: FlagMap, station: float, bottom: float, colour: str, dashes: str
) -> str:
    x = _at(layout, station)
    return (
        f'<line x1="{x:.1f}" x2="{x:.1f}" y1="2" y2="{bottom:g}" stroke="{colour}"'
        f"{f' stroke-dasharray={dashes!r}' if dashes else ''}/>"
    )


def _row(layout: FlagMap, row: MapRow) -> str:
    y = _TOP + _ROW * (row.order - 1)
    corners = " ".join(
        f"{_at(layout, x):.1f},{y + (_ROW - 4.0) * (1.0 - share):.1f}"
        for x, share in row.outline
    )
    name = textwrap.shorten(row.name, 22, placeholder=" …")
    return (
        f'<text x="{_NAMES - 8:g}" y="{y + 11:g}" text-anchor="end">'
        f"{row.order} {escape(name)}</text>"
        f'<polygon points="{corners}" fill="{KIND_COLOURS[row.kind]}" stroke="{INK}">'
        f"<title>{escape(row.label)}, {mm(row.start)} to {mm(row.end)} mm</title>"
        "</polygon>"
    )
