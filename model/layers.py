"""The flags of one shaft as layers before grinding, and as pieces that are cut."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.compilation import compiled_entry
from model.conditions import Sheet
from model.design import Design
from model.library import Library
from model.materials import Ply
from model.report import FlagReport
from model.scratch import Work
from model.wall import SAME_STATION

Array = NDArray[np.float64]


class Layer(NamedTuple):
    """A flag on the build before grinding, at the points it covers."""

    covered: slice
    turns: Array  #: [-]
    r_in: Array  #: [m]
    r_out: Array  #: [m]


def layers_of(design: Design, plies: dict[Sheet, Ply], work: Work) -> list[Layer]:
    """Roll the flags once more, without clipping them to the ground surface.

    Parameters
    ----------
    design : Design
        The shaft. [SI]
    plies : dict of Sheet to Ply
        Cured ply of each of its sheets. [SI]
    work : Work
        Scratch of its evaluation. [SI]

    Returns
    -------
    layers : list of Layer
        One a flag. [SI]
    """
    build = work.mandrel.copy()
    layers = []
    for k, flag in enumerate(design.flags):
        covered = slice(work.first[k], work.last[k] + 1)
        x = work.x[covered]
        under = build[covered].copy()
        turn = plies[Sheet(flag.material, flag.angle, flag.is_pair)].thickness
        turn *= 2.0 if flag.is_pair else 1.0
        if flag.width_tip is not None and flag.width_butt is not None:
            width = np.interp(x, x[[0, -1]], [flag.width_tip, flag.width_butt])
            turns = (np.sqrt(under**2 + turn * width / np.pi) - under) / turn
        else:
            turns = np.full(len(x), flag.wraps)
            for run_out, reach in (
                (flag.run_out_tip, x - x[0]),
                (flag.run_out_butt, x[-1] - x),
            ):
                if run_out > 0.0:
                    turns = np.minimum(turns, flag.wraps * reach / run_out)
        build[covered] += turns * turn
        layers.append(Layer(covered, turns, under, build[covered].copy()))
    return layers


def flag_report(
    k: int,
    layer: Layer,
    design: Design,
    library: Library,
    plies: dict[Sheet, Ply],
    work: Work,
) -> FlagReport:
    """Say how one flag is cut and rolled, and what grinding leaves of it.

    Parameters
    ----------
    k : int
        Which flag. [-]
    layer : Layer
        The flag on the build. [SI]
    design : Design
        The shaft. [SI]
    library : Library
        Its materials. [SI]
    plies : dict of Sheet to Ply
        Cured ply of each of its sheets. [SI]
    work : Work
        Scratch of its evaluation. [SI]

    Returns
    -------
    report : FlagReport
        Widths, areas, masses, cost. [SI]
    """
    flag = design.flags[k]
    prepreg = library.prepregs[flag.material]
    ply = plies[Sheet(flag.material, flag.angle, flag.is_pair)]
    x = work.x[layer.covered]
    width = layer.turns * np.pi * (layer.r_in + layer.r_out)
    keep = _corners(x, width)
    # what lies in the finished shaft, before and after grinding
    tip, butt = work.counts[1:3]
    a, b = max(work.first[k], tip), min(work.last[k], butt) + 1
    inside = slice(a - work.first[k], b - work.first[k])
    rolled = layer.r_out[inside] ** 2 - layer.r_in[inside] ** 2
    left = work.r_out[k, a:b] ** 2 - work.r_in[k, a:b] ** 2
    density = ply.density * np.pi
    ground = layer.r_out[inside] - np.maximum(work.finished[a:b], layer.r_in[inside])
    between = (x >= x[0] + flag.run_out_tip - SAME_STATION) & (
        x <= x[-1] - flag.run_out_butt + SAME_STATION
    )
    turns = layer.turns[between] if between.any() else layer.turns
    straight_edged = flag.width_tip is not None
    mean = np.trapezoid(layer.turns, x) / (x[-1] - x[0])
    return FlagReport(
        name=flag.name,
        material=flag.material,
        angle=flag.angle,
        is_pair=flag.is_pair,
        wraps=float(mean) if straight_edged else flag.wraps,
        wraps_least=float(turns.min()),
        wraps_most=float(turns.max()),
        start=flag.start,
        end=flag.end,
        cut_station=x[keep],
        cut_width=width[keep],
        cut_inner=layer.r_in[keep],
        cut_outer=layer.r_out[keep],
        cut_length=float(x[-1] - x[0]),
        pieces=2 if flag.is_pair else 1,
        splices=int(work.splices[k]),
        area_net=float(work.net[k]),
        area_gross=float(work.gross[k]),
        mass=float(density * np.trapezoid(left, work.x[a:b])),
        mass_cut=float(work.net[k] * prepreg.faw / (1.0 - prepreg.resin_content)),
        mass_ground=float(density * np.trapezoid(rolled - left, work.x[a:b])),
        plies_ground=float(max(ground.max(initial=0.0), 0.0) / ply.thickness),
        cost=float(work.gross[k] * prepreg.price),
    )


@compiled_entry
def _corners(x: Array, width: Array) -> NDArray[np.bool_]:
    """Points where the edge of a piece bends or steps by more than 10 micrometres."""
    n = len(x)
    keep = np.zeros(n, dtype=np.bool_)
    keep[0] = keep[n - 1] = True
    last = 0
    for p in range(1, n - 1):
        span = x[p + 1] - x[last]
        bends = False
        if span > SAME_STATION:
            slope = (width[p + 1] - width[last]) / span
            for q in range(last + 1, p + 1):
                on_line = width[last] + slope * (x[q] - x[last])
                bends |= abs(on_line - width[q]) > 1e-5
        else:
            bends = abs(width[p + 1] - width[p]) > 1e-5
        if bends:
            keep[p] = True
            last = p
    return keep
