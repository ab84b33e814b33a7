"""The EI profile as the bench reads it, as a picture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from matplotlib.axes import Axes

from optimiser.flagmap import INK
from optimiser.look import QUIET, SMALL_SIZE, dress

if TYPE_CHECKING:
    from model import Comparison, Reading, Report

_WALL, _READ, _MEASURED = "#8A949E", "#155A8A", "#B3261E"


def plot_readings(
    ax: Axes,
    report: Report,
    curve: Sequence[Reading],
    sites: Sequence[Reading],
    comparison: Comparison | None = None,
) -> Axes:
    """Draw what an EI profile machine reads, over the stiffness of the wall.

    Parameters
    ----------
    ax : Axes
        Axes to draw on. [-]
    report : Report
        An evaluated design. [SI]
    curve : sequence of Reading
        Readings close to one another, drawn as a line. [SI]
    sites : sequence of Reading
        Readings at the machine's sites, drawn as points. [SI]
    comparison : Comparison or None
        A measured profile, drawn as points of its own. [SI]

    Returns
    -------
    ax : Axes
        The same axes. [-]
    """
    profile = report.profile
    ax.plot(
        profile.station * 1e3,
        profile.EI,
        color=_WALL,
        linewidth=1.5,
        linestyle="--",
        label="EI of the wall",
    )
    ax.plot(
        [reading.station * 1e3 for reading in curve],
        [reading.reading for reading in curve],
        color=_READ,
        linewidth=2.2,
        label="predicted reading",
    )
    if comparison is None:
        ax.plot(
            [reading.station * 1e3 for reading in sites],
            [reading.reading for reading in sites],
            linestyle="",
            marker="o",
            markersize=6.5,
            color=_READ,
            label="at the machine's sites",
        )
    else:
        ax.plot(
            comparison.station * 1e3,
            comparison.measured,
            linestyle="",
            marker="D",
            markersize=6.5,
            color=_MEASURED,
            markeredgecolor="white",
            label="measured",
            zorder=4,
        )
    ax.set_xlabel("Station from the tip [mm]")
    ax.set_ylabel("Bending stiffness EI [N·m²]")
    ax.set_ylim(bottom=0.0)
    ax.set_xlim(0.0, report.design.shaft.length * 1e3)
    dress(ax)
    ax.legend(
        loc="lower center",
        bbox_to_anchor=(0.5, 1.0),
        ncols=3,
        frameon=False,
        fontsize=SMALL_SIZE,
        labelcolor=INK,
        handlelength=3.2,
    )
    return ax


def plot_differences(ax: Axes, comparison: Comparison, length: float) -> Axes:
    """Draw how far measured readings stand above predicted ones.

    Parameters
    ----------
    ax : Axes
        Axes to draw on. [-]
    comparison : Comparison
        A measured profile beside the predicted one. [SI]
    length : float
        Of the shaft. [m]

    Returns
    -------
    ax : Axes
        The same axes. [-]
    """
    station, percent = comparison.station * 1e3, comparison.difference * 100.0
    ax.vlines(station, 0.0, percent, color=_MEASURED, linewidth=2.2)
    ax.plot(
        station,
        percent,
        linestyle="",
        marker="D",
        markersize=6.5,
        color=_MEASURED,
        markeredgecolor="white",
    )
    ax.axhline(0.0, color=QUIET, linewidth=1.0)
    ax.axhline(
        comparison.mean * 100.0,
        color=_MEASURED,
        linewidth=1.2,
        linestyle=":",
        label=f"mean {comparison.mean * 100.0:+.1f} %",
    )
    ax.set_xlabel("Station from the tip [mm]")
    ax.set_ylabel("Measured over\npredicted [%]")
    ax.set_xlim(0.0, length * 1e3)
    ax.margins(y=0.18)
    dress(ax)
    ax.legend(
        loc="lower right",
        bbox_to_anchor=(1.0, 1.0),
        frameon=False,
        fontsize=SMALL_SIZE,
        labelcolor=INK,
        borderpad=0.0,
    )
    return ax
