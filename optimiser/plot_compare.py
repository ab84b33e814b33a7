"""Two flag maps above each other, with what changed marked, as a picture."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

from matplotlib.axes import Axes
from matplotlib.patches import Polygon

from optimiser.flagmap import INK, MapRow, flag_map
from optimiser.look import SMALL_SIZE, figure, png_bytes
from optimiser.plot_flags import plot_flag_map
from optimiser.words import titled

if TYPE_CHECKING:
    from model import Mandrel, Report

#: red that stays apart from the fills on a grey printer too, by its weight
_MARK: Final = "#B3261E"
_ROW: Final = 0.36  # height of a flag [in]


def compare_png(
    a: Report,
    b: Report,
    marks_a: Mapping[int, str],
    marks_b: Mapping[int, str],
    like: Mapping[int, int],
    mandrels: Sequence[Mandrel | None] = (None, None),
) -> bytes:
    """Draw both flag maps to one scale.

    Parameters
    ----------
    a, b : Report
        Evaluated designs. [SI]
    marks_a, marks_b : mapping of int to str
        What is said of each flag that differs, by its place from 1. [-]
    like : mapping of int to int
        Place in the first design, by the place in the second. [-]
    mandrels : sequence of Mandrel or None
        Of both designs, to mark where their taper changes. [SI]

    Returns
    -------
    content : bytes
        A PNG. What differs has a heavy red outline and its words on the right; dashed
        is how the flag lies in the other design. [-]
    """
    n = (len(a.flags), len(b.flags))
    page = figure(_ROW * sum(n) + 3.4, 11.0)
    upper, lower = page.subplots(
        2, 1, gridspec_kw={"height_ratios": [count + 2.0 for count in n]}
    )
    rows_a, rows_b = (flag_map(report).rows for report in (a, b))
    back = {old: new for new, old in like.items()}
    for ax, letter, report, mandrel, rows, marks, others, place in (
        (upper, "A", a, mandrels[0], rows_a, marks_a, rows_b, back),
        (lower, "B", b, mandrels[1], rows_b, marks_b, rows_a, like),
    ):
        plot_flag_map(ax, report, mandrel)
        name = textwrap.shorten(report.design.name, 70, placeholder=" …")
        title = f"{letter}  {titled(name, report.design_id)}"
        ax.set_title(title, loc="left", fontsize=SMALL_SIZE + 1, color=INK, pad=24)
        for order, words in marks.items():
            other = place.get(order)
            _mark(ax, rows[order - 1], words, others[other - 1] if other else None)
    upper.set_xlabel("")
    limits = [ax.get_xlim() for ax in (upper, lower)]
    for ax in (upper, lower):
        ax.set_xlim(min(low for low, _ in limits), max(high for _, high in limits))
    lower.set_xlabel(
        f"{lower.get_xlabel()}\n"
        "red: differs between A and B; dashed: as it lies in the other design"
    )
    return png_bytes(page)


def _mark(ax: Axes, row: MapRow, words: str, other: MapRow | None) -> None:
    """Mark one flag: a heavy outline, its words, how it lies in the other design."""
    y = row.order - 1
    if other is not None and other.outline != row.outline:
        ghost = [(x * 1e3, y + 0.42 - 0.84 * share) for x, share in other.outline]
        ax.add_patch(
            Polygon(
                ghost,
                fill=False,
                edgecolor=_MARK,
                linestyle=(0, (3, 2)),
                linewidth=1.2,
                zorder=4,
            )
        )
    corners = [(x * 1e3, y + 0.34 - 0.68 * share) for x, share in row.outline]
    ax.add_patch(Polygon(corners, fill=False, edgecolor=_MARK, linewidth=2.2, zorder=3))
    lines = textwrap.wrap(words, 24)
    said = "\n".join(lines[:2]) + (" …" if len(lines) > 2 else "")
    ax.text(
        1.01,
        y,
        said,
        transform=ax.get_yaxis_transform(),
        va="center",
        fontsize=SMALL_SIZE - 1,
        color=_MARK,
    )
