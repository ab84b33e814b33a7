"""The flag map as a picture."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal, cast

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Polygon

from optimiser.flagmap import (
    INK,
    KIND_COLOURS,
    KIND_LABELS,
    FlagMap,
    Kind,
    MapRow,
    flag_map,
)
from optimiser.look import QUIET, SMALL_SIZE, dress
from optimiser.words import mm, plain

if TYPE_CHECKING:
    from model import Mandrel, Report

_DOTS = (0, (2, 2))
_FIBRES = "#1F2A3655"  # of hatch lines: ink, thinned
_HATCH: dict[Kind, str] = {"straight": "--", "bias": "xx", "hoop": "||"}


def plot_flag_map(ax: Axes, report: Report, mandrel: Mandrel | None = None) -> Axes:
    """Draw where each flag lies along the shaft, first rolled on top, to scale.

    Parameters
    ----------
    ax : Axes
        Axes to draw on. [-]
    report : Report
        An evaluated design. [-]
    mandrel : Mandrel or None
        Its mandrel, to mark where its taper changes. [-]

    Returns
    -------
    ax : Axes
        The same axes. [-]
    """
    layout = flag_map(report, mandrel)
    n = len(layout.rows)
    span = layout.end - layout.start
    ax.set_xlim((layout.start - 0.012 * span) * 1e3, (layout.end + 0.012 * span) * 1e3)
    ax.set_ylim(n - 0.35, -0.75 if layout.breaks else -0.6)
    if layout.tip_parallel:
        ax.axvspan(0.0, layout.tip_parallel * 1e3, color="#EAEFF3", zorder=0)
    for station in (0.0, layout.length):
        ax.axvline(station * 1e3, color=INK, linewidth=1.3, zorder=1)
    for station, diameter in layout.breaks:
        ax.axvline(station * 1e3, color=QUIET, linewidth=1.0, linestyle=_DOTS)
        ax.text(
            station * 1e3,
            -0.5,
            f"⌀{plain(diameter * 1e3, 2)}",
            ha="center",
            va="bottom",
            fontsize=SMALL_SIZE - 1,
            color=QUIET,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        )
    for row in layout.rows:
        _draw_row(ax, row)
    ax.set_yticks(
        range(n),
        [f"{_two_lines(row.name)}  {row.order}" for row in layout.rows],
    )
    ax.set_xlabel("Station from the tip [mm], finished shaft between the solid lines")
    dress(ax, grid="x")
    ax.tick_params(axis="y", length=0)
    ax.spines["left"].set_visible(False)
    _map_legend(ax, layout)
    _label_rows(ax, layout.rows)
    return ax


def _two_lines(name: str) -> str:
    """Name on at most two lines; what is left out is marked."""
    lines = textwrap.wrap(name, 23)
    return "\n".join(lines[:2]) + ("…" if len(lines) > 2 else "")


def _draw_row(ax: Axes, row: MapRow) -> None:
    """Draw one flag: fill and fibre lines, then its outline."""
    y = row.order - 1
    corners = [(x * 1e3, y + 0.34 - 0.68 * share) for x, share in row.outline]
    hatch = _HATCH[row.kind]
    if row.kind == "bias" and not row.is_pair:
        hatch = "//" if row.angle > 0 else "\\\\"
    ax.add_patch(
        Polygon(
            corners,
            facecolor=KIND_COLOURS[row.kind],
            edgecolor=_FIBRES,
            hatch=hatch,
            linewidth=0.0,
        )
    )
    ax.add_patch(Polygon(corners, edgecolor=INK, fill=False, linewidth=1.0))


def _map_legend(ax: Axes, layout: FlagMap) -> None:
    """Say what fills, hatches and dotted lines mean."""
    kinds = {row.kind for row in layout.rows}
    handles: list[Artist] = [
        Patch(
            facecolor=KIND_COLOURS[kind],
            edgecolor=_FIBRES,
            hatch=_HATCH[kind],
            linewidth=0.0,
            label=KIND_LABELS[kind],
        )
        for kind in KIND_LABELS
        if kind in kinds
    ]
    if layout.tip_parallel:
        label = f"tip parallel, {mm(layout.tip_parallel)} mm"
        handles.append(Patch(facecolor="#EAEFF3", edgecolor="none", label=label))
    if layout.breaks:
        label = "mandrel taper changes, ⌀ mm"
        handles.append(Line2D([], [], color=QUIET, linestyle=_DOTS, label=label))
    ax.legend(
        handles=handles,
        # flush right: names on the left leave room for a legend wider than the axes
        loc="lower right",
        bbox_to_anchor=(1.0, 1.0),
        borderaxespad=0.2,
        ncols=len(handles),
        frameon=False,
        fontsize=SMALL_SIZE,
        labelcolor=INK,
        handlelength=2.0,
        handleheight=1.1,
        columnspacing=1.4,
    )


def _label_rows(ax: Axes, rows: Sequence[MapRow]) -> None:
    """Write each flag's label in it, or beside it where it is too short."""
    page = ax.figure.get_figure(root=True)
    assert page is not None
    page.draw_without_rendering()
    frame = ax.get_window_extent()
    for row in rows:
        y = row.order - 1
        left, right = (
            float(ax.transData.transform((x * 1e3, y))[0]) for x in (row.start, row.end)
        )
        inner = [
            float(ax.transData.transform((x * 1e3, y))[0]) for x, _ in row.outline[1:3]
        ]
        rooms = {
            # at the height of the words a run-out has taken half its length
            "center": 0.5 * (right - left + inner[1] - inner[0]),
            "left": frame.x1 - right,
            "right": left - frame.x0,
        }
        text = ax.text(
            sum(x for x, _ in row.outline) * 250.0,
            y,
            row.label,
            ha="center",
            va="center",
            fontsize=SMALL_SIZE,
            color=INK,
            bbox={"facecolor": "white", "alpha": 0.94, "edgecolor": "none", "pad": 1.0},
        )
        need = text.get_window_extent().width + 16.0
        fits = [side for side, room in rooms.items() if room >= need]
        side = fits[0] if fits else max(rooms, key=lambda side: rooms[side])
        if not fits:
            keep = max(4, int(len(row.label) * rooms[side] / need) - 1)
            text.set_text(row.label[:keep].rstrip() + "…")
        if side != "center":
            at = row.end if side == "left" else row.start
            text.set_position((at * 1e3, y))
            text.set_horizontalalignment(cast(Literal["left", "right"], side))
            text.set_text(f"  {text.get_text()}  ")
