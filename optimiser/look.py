"""The common look of all pictures: page, letter sizes, grid, and how they are saved."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Literal

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optimiser.files import write_bytes
from optimiser.flagmap import INK

#: pixels per inch of a picture; a page 9 in wide stays sharp at 900 px
DPI = 180
WIDTH = 9.0  #: of a page [in]

TEXT_SIZE, SMALL_SIZE = 11.5, 10.0  # points
GRID, QUIET = "#DDE1E5", "#66717D"


def figure(height: float, width: float = WIDTH) -> Figure:
    """Make an empty page for pictures.

    Parameters
    ----------
    height : float
        Height of the page. [in]
    width : float
        Width of the page. [in]

    Returns
    -------
    page : Figure
        White, laid out so that nothing is cut off. [-]
    """
    page = Figure(figsize=(width, height), dpi=DPI, facecolor="white")
    page.set_layout_engine("constrained", w_pad=0.06, h_pad=0.06)
    return page


def save_png(page: Figure, path: Path) -> Path:
    """Write a page as PNG, whole or not at all.

    Parameters
    ----------
    page : Figure
        Page to write. [-]
    path : Path
        File to write. [-]

    Returns
    -------
    path : Path
        The same path. [-]
    """
    return write_bytes(path, png_bytes(page))


def png_bytes(page: Figure) -> bytes:
    """Give a page as PNG.

    Parameters
    ----------
    page : Figure
        Any page. [-]

    Returns
    -------
    content : bytes
        What a file of it holds. [-]
    """
    content = io.BytesIO()
    page.savefig(content, format="png", dpi=DPI, metadata={"Software": None})
    return content.getvalue()


def dress(ax: Axes, grid: Literal["both", "x", "y"] = "both") -> None:
    """Give axes the common look.

    Parameters
    ----------
    ax : Axes
        Axes to dress. [-]
    grid : {"both", "x", "y"}
        Directions of the grid. [-]
    """
    ax.set_facecolor("white")
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_color(QUIET)
    ax.tick_params(labelsize=SMALL_SIZE, colors=INK, color=QUIET)
    ax.grid(visible=True, axis=grid, color=GRID, linewidth=0.8)
    ax.set_axisbelow(True)
    ax.xaxis.label.set(size=TEXT_SIZE, color=INK)
    ax.yaxis.label.set(size=TEXT_SIZE, color=INK)
