"""Pictures of what explains a design: shares, EI by flag, what small changes do."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.patches import Patch

from model import METRIC
from optimiser.explain import Explanation, move_words
from optimiser.flagmap import INK
from optimiser.look import GRID, QUIET, SMALL_SIZE, WIDTH, dress
from optimiser.words import ei_column, metric_heading, mm, number

#: Fills of flags in rolling order: near ones differ in hue and in lightness.
FILLS: Final = (
    "#1F4E79",
    "#F0B84B",
    "#7FB2D9",
    "#8C4A2F",
    "#A9C98B",
    "#5B4A8A",
    "#E3D9C6",
    "#2F7F79",
    "#D98880",
    "#98A4AE",
    "#C9A0C8",
    "#4F6B35",
)
_REST = "#EEF0F2"
#: less, nothing, more
_CHANGE = LinearSegmentedColormap.from_list("change", ["#5E97C6", "#FFFFFF", "#E7A34A"])
_ROW = 0.235  # height of a row of changes [in]
_NAMES, _COLUMN = 2.4, 0.95  # widths of their names and of a metric's column [in]
_LETTERS = 11  # of a heading that stand side by side in a column


def fill_of(order: int) -> str:
    """Fill of a flag.

    Parameters
    ----------
    order : int
        Its place in rolling order, from 1. [-]

    Returns
    -------
    colour : str
        Hexadecimal. [-]
    """
    return FILLS[(order - 1) % len(FILLS)]


def _ink_on(colour: str) -> str:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return "white" if 0.3 * red + 0.59 * green + 0.11 * blue < 140 else INK


def plot_shares(
    ax: Axes, explanation: Explanation, headings: Mapping[str, str]
) -> Axes:
    """Draw the shares of flags, one bar a quantity.

    Parameters
    ----------
    ax : Axes
        Axes to draw on. [-]
    explanation : Explanation
        What explains a design. [-]
    headings : mapping of str to str
        Columns of the shares, and what they are called. [-]

    Returns
    -------
    ax : Axes
        The same axes. [-]
    """
    shares = explanation.shares
    for y, column in enumerate(headings):
        left = 0.0
        for order, value in zip(shares["order"], shares[column], strict=True):
            width = float(value) * 100.0
            if not math.isfinite(width) or width <= 0.0:
                continue
            colour = fill_of(order) if order else _REST
            ax.barh(y, width, left=left, height=0.74, color=colour, edgecolor="white")
            if width > 3.2:
                text = f"{width:.0f}" if order else f"({width:.0f})"
                ax.text(
                    left + width / 2.0,
                    y,
                    text,
                    ha="center",
                    va="center",
                    fontsize=SMALL_SIZE - 1,
                    color=_ink_on(colour),
                )
            left += width
    ax.set_yticks(range(len(headings)), list(headings.values()))
    ax.set_ylim(len(headings) - 0.5, -0.5)
    ax.set_xlim(0.0, 100.0)
    ax.set_xlabel("Share of each flag [%]")
    dress(ax, grid="x")
    ax.tick_params(axis="y", length=0)
    _legend(ax, explanation, with_rest=True)
    return ax


def _legend(ax: Axes, explanation: Explanation, *, with_rest: bool) -> None:
    flags = explanation.report.design.flags
    handles = [
        Patch(
            facecolor=fill_of(k + 1),
            label=f"{k + 1} {textwrap.shorten(flag.name, 22, placeholder=' …')}",
        )
        for k, flag in enumerate(flags)
    ]
    if with_rest:
        handles.append(Patch(facecolor=_REST, edgecolor=QUIET, label="not a flag"))
    ax.legend(
        handles=handles,
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
        ncols=min(len(handles), 4),
        frameon=False,
        fontsize=SMALL_SIZE,
        labelcolor=INK,
        handlelength=1.3,
        columnspacing=1.4,
    )


def plot_along(ax: Axes, explanation: Explanation) -> Axes:
    """Draw EI along the shaft, stacked by flag.

    Parameters
    ----------
    ax : Axes
        Axes to draw on. [-]
    explanation : Explanation
        What explains a design. [-]

    Returns
    -------
    ax : Axes
        The same axes. [-]
    """
    along = explanation.along
    n = len(explanation.report.design.flags)
    ax.stackplot(
        along["station"] * 1e3,
        [along[str(k + 1)].to_numpy() for k in range(n)],
        colors=[fill_of(k + 1) for k in range(n)],
        edgecolor="white",
        linewidth=0.4,
    )
    ax.plot(along["station"] * 1e3, along["EI"], color=INK, linewidth=1.2)
    for station in explanation.stations:
        ax.axvline(station * 1e3, color=INK, linewidth=0.8, linestyle=(0, (2, 2)))
    ax.set_xlim(0.0, float(along["station"].iloc[-1]) * 1e3)
    ax.set_ylim(bottom=0.0)
    ax.set_xlabel("Station from the tip [mm]; dotted: stations of the bars")
    ax.set_ylabel("EI by flag [N·m²]")
    dress(ax)
    return ax


def moved_column(explanation: Explanation, key: str) -> tuple[str, str, int]:
    """Say how the changes of a metric, or of EI at a station, are shown.

    Parameters
    ----------
    explanation : Explanation
        What explains a design. [-]
    key : str
        Key of a metric, or the column of EI at a station. [-]

    Returns
    -------
    what, heading, decimals : str, str, int
        Its column among the changes, its heading with the unit, digits shown. [-]
    """
    if key in METRIC:
        metric = METRIC[key]
        heading = metric_heading(metric, explanation.report.currency)
        return metric.column, heading, metric.decimals
    station = next(x for x in explanation.stations if ei_column(x) == key)
    return key, f"EI at {mm(station)} mm [N·m²]", 2


def moves_width(keys: Sequence[str]) -> float:
    """Width of a page for the changes of some metrics.

    Parameters
    ----------
    keys : sequence of str
        Keys of the metrics, or columns of EI. [-]

    Returns
    -------
    width : float
        Grows with what does not fit on the usual page. [in]
    """
    return max(WIDTH, _NAMES + _COLUMN * len(keys))


def moves_height(explanation: Explanation) -> float:
    """Height of a page for the changes of a design.

    Parameters
    ----------
    explanation : Explanation
        What explains a design. [-]

    Returns
    -------
    height : float
        Grows with the number of changes. [in]
    """
    return 1.6 + _ROW * len(_lines(explanation))


def _lines(explanation: Explanation) -> list[tuple[int, str, str]]:
    """Rows of the picture: order of the flag, move, flag; what can be done only."""
    moves = explanation.moves[explanation.moves["after"].notna()]
    rows = moves[["order", "move", "flag"]].drop_duplicates()
    return [(int(o), str(m), str(f)) for o, m, f in rows.itertuples(index=False)]


def plot_moves(ax: Axes, explanation: Explanation, keys: Sequence[str]) -> Axes:
    """Draw what small changes do, a row a change, a column a metric.

    Parameters
    ----------
    ax : Axes
        Axes to draw on. [-]
    explanation : Explanation
        What explains a design. [-]
    keys : sequence of str
        Keys of the metrics, or columns of EI at a station. [-]

    Returns
    -------
    ax : Axes
        The same axes. [-]
    """
    rows = _lines(explanation)
    columns = [moved_column(explanation, key) for key in keys]
    moves = explanation.moves.set_index(["order", "move", "what"])["difference"]
    values = np.array(
        [
            [moves.loc[(order, move, what)] for what, _, _ in columns]
            for order, move, _ in rows
        ],
        dtype=float,
    )
    # leaving a flag out is no small change, so it sets no colour
    small = [i for i, row in enumerate(rows) if row[1] != "without"]
    largest = np.nanmax(np.abs(values[small]), axis=0, initial=1e-12)
    ax.imshow(
        np.clip(values / largest, -1.0, 1.0),
        cmap=_CHANGE,
        vmin=-1.0,
        vmax=1.0,
        aspect="auto",
    )
    for (i, j), value in np.ndenumerate(values):
        text = number(float(value), columns[j][2])
        sign = "+" if value > 0.0 and text.strip("0.") else ""
        ax.text(
            j,
            i,
            f"{sign}{text}",
            ha="center",
            va="center",
            fontsize=SMALL_SIZE - 1.5,
            color=INK if text.strip("0.-") else QUIET,
        )
    ax.set_xticks(
        range(len(keys)),
        [
            textwrap.fill(heading, _LETTERS, break_long_words=False)
            for _, heading, _ in columns
        ],
    )
    ax.xaxis.tick_top()
    ax.set_yticks(range(len(rows)), _row_names(explanation, rows))
    dress(ax, grid="x")
    ax.grid(visible=False)
    ax.tick_params(length=0)
    ax.tick_params(axis="y", labelsize=SMALL_SIZE - 1)
    for i in range(1, len(rows)):
        if rows[i][0] != rows[i - 1][0]:
            ax.axhline(i - 0.5, color=INK, linewidth=0.8)
    for side in ("left", "bottom"):
        ax.spines[side].set_color(GRID)
    ax.set_xlabel(
        "Colour: change over the largest of its column; what is left out aside"
    )
    return ax


def _row_names(
    explanation: Explanation, rows: Sequence[tuple[int, str, str]]
) -> list[str]:
    """Names of rows; the flag is named at the first of its changes."""
    names = []
    for i, (order, move, flag) in enumerate(rows):
        said = move_words(explanation, move)
        if i == 0 or rows[i - 1][0] != order:
            short = textwrap.shorten(flag, 20, placeholder=" …")
            said = f"{f'{order} ' if order else ''}{short}:  {said}"
        names.append(said)
    return names
