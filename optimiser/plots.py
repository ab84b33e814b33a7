"""Pictures of a front, of chosen designs and of a run, drawn on axes that are given.

Nothing here touches a screen or matplotlib's global settings: functions take axes and
return them, `figure` makes a page for them and `save_png` writes it.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.lines import Line2D
from matplotlib.text import Annotation, Text
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from model import METRIC
from optimiser.flagmap import INK
from optimiser.look import QUIET, SMALL_SIZE, TEXT_SIZE, dress, figure, save_png
from optimiser.plot_flags import plot_flag_map
from optimiser.words import metric_heading

if TYPE_CHECKING:
    from model import Report
    from optimiser.spec import Spec

__all__ = [
    "figure",
    "plot_flag_map",
    "plot_history",
    "plot_profiles",
    "plot_tradeoff",
    "save_png",
]

_MARK = "#B3261E"
#: lines of designs: hues apart for colour-blind readers, dashes for grey printers
_LINES: tuple[tuple[str, str | tuple[int, tuple[int, ...]]], ...] = (
    ("#155A8A", "-"),
    ("#D98A00", "--"),
    ("#3B3B3B", "-."),
    ("#8E5AA8", ":"),
    ("#3C9D8F", (0, (7, 2, 1, 2, 1, 2))),
    ("#A0522D", (0, (3, 1))),
)
#: dark to light, so that it also reads in grey
_SCALE = LinearSegmentedColormap.from_list(
    "plyfront", ["#14304F", "#2C6E91", "#5FA89A", "#BFCB72", "#F7D35C"]
)


def plot_tradeoff(
    ax: Axes,
    front: pd.DataFrame,
    x: str = "material_cost",
    y: str = "torque",
    colour: str | None = "durability",
    size: str | None = "weight",
    picks: Mapping[str, str] | None = None,
    currency: str = "",
) -> Axes:
    """Draw the designs of a front in two metrics, colour and size showing two more.

    Parameters
    ----------
    ax : Axes
        Axes to draw on. [-]
    front : DataFrame
        One row a design, columns `id` and the metrics' columns. [-]
    x, y : str
        Keys of the metrics on the axes. [-]
    colour, size : str or None
        Keys of the metrics shown by colour and by size. [-]
    picks : mapping or None
        Name of each design to mark, by its id. [-]
    currency : str
        Currency of the library, for the cost. [-]

    Returns
    -------
    ax : Axes
        The same axes. [-]

    Raises
    ------
    KeyError
        If the front has no column for a metric.
    """
    across, up = _shown(front, x), _shown(front, y)
    there = across.notna() & up.notna()
    shade = None
    if colour is not None:
        shade = _shown(front, colour)
        there &= shade.notna()
    area = np.full(len(front), 46.0)
    if size is not None:
        area = _areas(_shown(front, size))
        there &= np.isfinite(area)
    rows = there.to_numpy(dtype=bool)
    points = ax.scatter(
        across[rows],
        up[rows],
        s=area[rows],
        c=_SCALE(0.35) if shade is None else shade[rows],
        cmap=None if shade is None else _SCALE,
        edgecolors="white",
        linewidths=0.6,
        zorder=2,
    )
    ax.set_xlabel(metric_heading(METRIC[x], currency))
    ax.set_ylabel(metric_heading(METRIC[y], currency))
    dress(ax)
    ax.margins(0.09)
    if not rows.any():
        ax.text(
            0.5,
            0.5,
            "no design to show",
            transform=ax.transAxes,
            ha="center",
            color=QUIET,
            fontsize=TEXT_SIZE,
        )
        return ax
    if colour is not None:
        bar = ax.figure.colorbar(points, ax=ax, pad=0.015, aspect=28)
        bar.set_label(
            metric_heading(METRIC[colour], currency), size=TEXT_SIZE, color=INK
        )
        bar.ax.tick_params(labelsize=SMALL_SIZE, colors=INK)
        bar.outline.set_visible(False)
    if size is not None:
        _size_legend(ax, _shown(front, size)[rows], size, currency)
    marked = [
        (float(across.iloc[i]), float(up.iloc[i]), picks[identity])
        for i, identity in enumerate(front["id"].astype(str))
        if picks and rows[i] and identity in picks
    ]
    _name_points(ax, marked, np.column_stack([across[rows], up[rows]]))
    return ax


def _shown(front: pd.DataFrame, key: str) -> pd.Series[float]:
    """Column of a metric, in the unit it is shown in."""
    return pd.to_numeric(front[METRIC[key].column])


def _areas(values: pd.Series[float]) -> NDArray[np.float64]:
    """Area of each mark, from small for the least value to large."""
    low, high = values.min(), values.max()
    share = (values - low) / (high - low) if high > low else values * 0.0 + 0.5
    return np.asarray(18.0 + 92.0 * share, dtype=np.float64)


def _size_legend(ax: Axes, values: pd.Series[float], key: str, currency: str) -> None:
    """Say what the sizes of the marks mean."""
    metric = METRIC[key]
    low, high = float(values.min()), float(values.max())
    levels = [low, (low + high) / 2.0, high] if high > low else [low]
    marks = [
        Line2D(
            [],
            [],
            linestyle="",
            marker="o",
            markersize=float(np.sqrt(area)),
            markerfacecolor=QUIET,
            markeredgecolor="white",
            label=f"{level:.{metric.decimals}f}",
        )
        for level, area in zip(levels, _areas(pd.Series(levels)), strict=True)
    ]
    legend = ax.legend(
        handles=marks,
        title=metric_heading(metric, currency),
        loc="lower center",
        bbox_to_anchor=(0.5, 1.0),
        ncols=3,
        frameon=False,
        fontsize=SMALL_SIZE,
        title_fontsize=SMALL_SIZE,
        labelcolor=INK,
        handletextpad=0.2,
    )
    legend.get_title().set_color(INK)


def _name_points(
    ax: Axes,
    marked: Sequence[tuple[float, float, str]],
    points: NDArray[np.float64],
) -> None:
    """Ring the marked points and write their names where they hide least."""
    if not marked:
        return
    ax.scatter(
        [m[0] for m in marked],
        [m[1] for m in marked],
        s=190,
        facecolors="none",
        edgecolors=_MARK,
        linewidths=1.8,
        zorder=4,
    )
    # the layout has to stand before anything can be measured in pixels
    page = ax.figure.get_figure(root=True)
    assert page is not None
    page.draw_without_rendering()
    pixels = ax.transData.transform(points)
    frame = ax.get_window_extent()
    taken = [
        Bbox.from_bounds(px - 18, py - 18, 36, 36)
        for px, py in ax.transData.transform([m[:2] for m in marked])
    ]
    for across, up, name in marked:
        label = ax.annotate(
            textwrap.fill(name, 22),
            (across, up),
            xytext=(0, 0),
            textcoords="offset points",
            fontsize=SMALL_SIZE,
            color=INK,
            fontweight="bold",
            zorder=5,
            bbox={"facecolor": "white", "alpha": 0.86, "edgecolor": "none", "pad": 1.2},
            arrowprops={"arrowstyle": "-", "color": _MARK, "linewidth": 1.0},
        )
        taken.append(_place(label, pixels, taken, frame))


def _place(
    label: Annotation,
    pixels: NDArray[np.float64],
    taken: Sequence[Bbox],
    frame: Bbox,
) -> Bbox:
    """Move a label to the offset where it hides least; the box it then fills."""
    best: tuple[float, tuple[float, float], str, Bbox] | None = None
    for reach in (15.0, 30.0, 48.0, 70.0):
        for turn in np.radians(np.arange(0, 360, 30) + 15):
            dx, dy = reach * float(np.cos(turn)), reach * float(np.sin(turn))
            side = "left" if dx >= 0 else "right"
            label.set_position((dx, dy))
            label.set_horizontalalignment(side)  # type: ignore[arg-type]
            label.set_verticalalignment("center")
            text = Bbox.from_extents(*_text_box(label).extents)
            inside = pixels[
                (pixels[:, 0] > text.x0 - 9)
                & (pixels[:, 0] < text.x1 + 9)
                & (pixels[:, 1] > text.y0 - 9)
                & (pixels[:, 1] < text.y1 + 9)
            ]
            spill = sum(
                max(0.0, gap)
                for gap in (
                    frame.x0 - text.x0,
                    text.x1 - frame.x1,
                    frame.y0 - text.y0,
                    text.y1 - frame.y1,
                )
            )
            clash = sum(text.overlaps(other) for other in taken)
            penalty = 40.0 * clash + 0.5 * spill + 4.0 * len(inside) + 0.04 * reach
            if best is None or penalty < best[0]:
                best = (penalty, (dx, dy), side, text)
    assert best is not None
    label.set_position(best[1])
    label.set_horizontalalignment(best[2])  # type: ignore[arg-type]
    return best[3]


def _text_box(label: Annotation) -> Bbox:
    """Box of a label's words alone, without its leader, in pixels."""
    label.get_window_extent()  # brings the annotation's place up to date
    return Text.get_window_extent(label)


def plot_profiles(
    axes: Sequence[Axes],
    reports: Sequence[Report],
    spec: Spec | None = None,
    names: Mapping[str, str] | None = None,
) -> Sequence[Axes]:
    """Draw bending and torsional stiffness of designs along the shaft.

    Parameters
    ----------
    axes : sequence of Axes
        Two axes: EI, then GJ. [-]
    reports : sequence of Report
        Evaluated designs. [-]
    spec : Spec or None
        Its EI points are drawn with their bands. [-]
    names : mapping or None
        Name of each design by its id; the id alone is shown without. [-]

    Returns
    -------
    axes : sequence of Axes
        The same axes. [-]
    """
    bending, twisting = axes
    for ax, title in (
        (bending, "Bending stiffness EI [N·m²]"),
        (twisting, "Torsional stiffness GJ [N·m²]"),
    ):
        for i, report in enumerate(reports):
            tint, dash = _LINES[i % len(_LINES)]
            name = (names or {}).get(report.design_id)
            identity = report.design_id
            ax.plot(
                report.profile.station * 1e3,
                report.profile.EI if ax is bending else report.profile.GJ,
                color=tint,
                linestyle=dash,
                linewidth=1.9,
                label=f"{textwrap.shorten(name, 44)} ({identity})"
                if name
                else identity,
            )
        ax.set_ylabel(title)
        ax.set_ylim(bottom=0.0)
        ax.margins(x=0.01)
        dress(ax)
    if spec is not None and spec.ei_targets:
        bending.errorbar(
            [point.station * 1e3 for point in spec.ei_targets],
            [point.target for point in spec.ei_targets],
            yerr=[point.tolerance for point in spec.ei_targets],
            fmt="D",
            markersize=5,
            color=_MARK,
            capsize=5,
            elinewidth=1.8,
            capthick=1.8,
            zorder=5,
            label="EI target",
        )
        bending.set_ylim(bottom=0.0)
    twisting.set_xlabel("Station from the tip [mm]")
    bending.legend(
        loc="lower center",
        bbox_to_anchor=(0.5, 1.0),
        ncols=2,
        frameon=False,
        fontsize=SMALL_SIZE,
        labelcolor=INK,
        handlelength=3.2,
    )
    return axes


def plot_history(ax: Axes, history: pd.DataFrame) -> Axes:
    """Draw how a run came on: hypervolume and feasible designs against evaluations.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; a second scale is added on its right. [-]
    history : DataFrame
        Columns `evaluations`, `hypervolume` and `feasible`. [-]

    Returns
    -------
    ax : Axes
        The same axes. [-]
    """
    spent = history["evaluations"]
    (volume,) = ax.plot(
        spent, history["hypervolume"], color=_LINES[0][0], linewidth=2.2
    )
    count = ax.twinx()
    (found,) = count.plot(
        spent, history["feasible"], color=_LINES[1][0], linewidth=1.8, linestyle="--"
    )
    ax.set_xlabel("Evaluations")
    ax.set_ylabel("Hypervolume")
    count.set_ylabel("Feasible designs")
    dress(ax)
    dress(count)
    count.grid(visible=False)
    count.spines["right"].set(visible=True, color=QUIET)
    count.spines["left"].set_visible(False)
    ax.xaxis.set_major_formatter(lambda value, _: f"{value:,.0f}")
    for axis in (ax, count):
        axis.set_ylim(bottom=0.0)
        axis.margins(x=0.01)
    ax.legend(
        [volume, found],
        ["hypervolume (left)", "feasible designs (right)"],
        loc="lower center",
        bbox_to_anchor=(0.5, 1.0),
        ncols=2,
        frameon=False,
        fontsize=SMALL_SIZE,
        labelcolor=INK,
        handlelength=3.2,
    )
    return ax
