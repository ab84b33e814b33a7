"""Many shafts in one call: the compiled evaluation and its arrays.

Arrays lead with the design axis. The designs of a batch share a set of ``Conditions``
(materials at angles, mandrels, finish, bench); what differs stands in ``Layups``.
A single shaft goes through the same compiled function, see ``model.shaft``.
"""

from collections import namedtuple
from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from model import metrics as col
from model.beam import (
    first_mode,
    integral,
    overhang_arm,
    overhang_deflection,
    product_integral,
    twist,
)
from model.compilation import SOURCES, compiled, compiled_entry
from model.cost import gross_area
from model.design import Bench, Cutting, Design, Finish
from model.errors import ModelRangeError
from model.laminate import (
    N_SUMS,
    Q16,
    Q26,
    add_ring,
    close_section,
    plane_stiffness,
    rotated_stiffness,
)
from model.library import Library, Mandrel, Ply
from model.strength import envelope_moment, fibre_margins
from model.wall import (
    SAME_STATION,
    finished_radius,
    least_wall,
    mandrel_radius,
    place_points,
    roll_flag,
    sort_marks,
    steepest_step,
)

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: Longest cell between two points. [m]
CELL = 0.025

# columns of the sheet table; the first six are the stiffness in the tube's axes
_PLY, _PIECES, _DENSITY, _C2, _S2, _CS, _STRAIN, _PRICE, _ROLL, _ANGLE = range(6, 16)

#: What the derivatives to the flags' ends are taken of. ``omega2`` is the square of the
#: circular frequency, ``moment`` the first moment of mass about the tip.
GRADIENTS = (
    "weight",
    "moment",
    "ln_omega2",
    "torque",
    "tip_deflection",
    "butt_deflection",
    "material_cost",
)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A prepreg at an angle; a flag is a piece of one."""

    material: str  #: prepreg
    angle: float  #: fibre angle [rad]
    is_pair: bool  #: a balanced pair of +angle and -angle


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """What all designs of a batch share."""

    sheets: tuple[Sheet, ...]
    plies: tuple[Ply, ...]  #: cured ply of each sheet
    prices: tuple[float, ...]  #: per area of roll [currency/m²]
    roll_widths: tuple[float, ...]  #: [m]
    mandrels: tuple[Mandrel, ...]
    finish: Finish
    bench: Bench
    cutting: Cutting
    trim_tip: float = 0.0  #: [m]
    trim_butt: float = 0.0  #: [m]
    ei_stations: tuple[float, ...] = ()  #: where EI is asked for [m]
    step_length: float = 0.010  #: length over which a diameter step is taken [m]
    cell: float = CELL  #: longest cell between two points [m]

    @classmethod
    def of(
        cls,
        library: Library,
        *,
        sheets: Sequence[Sheet],
        mandrels: Sequence[str],
        finish: Finish,
        bench: Bench,
        cutting: Cutting,
        trim_tip: float = 0.0,
        trim_butt: float = 0.0,
        ei_stations: Sequence[float] = (),
        step_length: float = 0.010,
        cell: float = CELL,
    ) -> "Conditions":
        """Look the materials and mandrels up in a library.

        Parameters
        ----------
        library : Library
            Materials and mandrels. [-]
        sheets : sequence of Sheet
            Every prepreg at every angle that a flag may have. [-]
        mandrels : sequence of str
            Names of the mandrels. [-]
        finish, bench, cutting : Finish, Bench, Cutting
            As in a design. [-]
        trim_tip, trim_butt : float
            Cut off after cure. [m]
        ei_stations : sequence of float
            Stations at which EI is asked for. [m]
        step_length : float
            Length over which the steepest diameter step is taken. [m]
        cell : float
            Longest cell between two points. [m]

        Returns
        -------
        conditions : Conditions
            Ready for ``evaluate_batch``. [-]
        """
        prepregs = [library.prepregs[sheet.material] for sheet in sheets]
        return cls(
            sheets=tuple(sheets),
            plies=tuple(prepreg.cured(finish.resin_bleed) for prepreg in prepregs),
            prices=tuple(prepreg.price for prepreg in prepregs),
            roll_widths=tuple(prepreg.roll_width for prepreg in prepregs),
            mandrels=tuple(library.mandrels[name] for name in mandrels),
            finish=finish,
            bench=bench,
            cutting=cutting,
            trim_tip=trim_tip,
            trim_butt=trim_butt,
            ei_stations=tuple(ei_stations),
            step_length=step_length,
            cell=cell,
        )

    @cached_property
    def numbers(self) -> "_Numbers":
        """The same as arrays for the compiled evaluation."""
        table = np.zeros((len(self.sheets), 16))
        rows = zip(self.sheets, self.plies, self.prices, self.roll_widths, strict=True)
        for row, (sheet, ply, price, roll_width) in enumerate(rows):
            Q = plane_stiffness(ply.E1, ply.E2, ply.G12, ply.nu12)
            table[row, :6] = rotated_stiffness(Q, sheet.angle, is_pair=sheet.is_pair)
            c, s = np.cos(sheet.angle), np.sin(sheet.angle)
            table[row, 6:] = [
                ply.thickness,
                2.0 if sheet.is_pair else 1.0,
                ply.density,
                c * c,
                s * s,
                c * s,
                min(ply.strain_tension, ply.strain_compression),
                price,
                roll_width,
                abs(sheet.angle),
            ]
        longest = max(len(mandrel.distance) for mandrel in self.mandrels)
        distance, radius = np.zeros((2, len(self.mandrels), longest))
        breaks = np.array([len(mandrel.distance) for mandrel in self.mandrels])
        for row, mandrel in enumerate(self.mandrels):
            distance[row, : breaks[row]] = mandrel.distance
            radius[row, : breaks[row]] = np.array(mandrel.diameter) / 2.0
        finish = [np.nan if v is None else float(v) for v in astuple(self.finish)]
        return _Numbers(
            sheets=table,
            distance=distance,
            radius=radius,
            breaks=breaks.astype(np.int64),
            finish=_FinishNumbers(*finish),
            bench=_BenchNumbers(*(float(v) for v in astuple(self.bench))),
            cutting=_CuttingNumbers(*(float(v) for v in astuple(self.cutting))),
            trim_tip=float(self.trim_tip),
            trim_butt=float(self.trim_butt),
            ei_stations=np.array(self.ei_stations, dtype=float),
            step_length=float(self.step_length),
            cell=float(self.cell),
        )


# the compiled side of the frozen dataclasses: same fields, same order
_FinishNumbers: Any = namedtuple(  # type: ignore[misc]
    "_FinishNumbers", [f.name for f in fields(Finish)]
)
_BenchNumbers: Any = namedtuple(  # type: ignore[misc]
    "_BenchNumbers", [f.name for f in fields(Bench)]
)
_CuttingNumbers: Any = namedtuple(  # type: ignore[misc]
    "_CuttingNumbers", [f.name for f in fields(Cutting)]
)


class _Numbers(NamedTuple):
    sheets: Array
    distance: Array
    radius: Array
    breaks: IntArray
    finish: Any
    bench: Any
    cutting: Any
    trim_tip: float
    trim_butt: float
    ei_stations: Array
    step_length: float
    cell: float


class Layups(NamedTuple):
    """Flags of many designs as arrays; flags stand in rolling order."""

    length: Array  #: (n,) finished length [m]
    mandrel: IntArray  #: (n,) index into the conditions' mandrels
    mandrel_set: Array  #: (n,) [m]
    sheet: IntArray  #: (n, n_flag) index into the conditions' sheets; -1 for no flag
    start: Array  #: (n, n_flag) [m]
    end: Array  #: (n, n_flag) [m]
    wraps: Array  #: (n, n_flag) [-]
    run_out_tip: Array  #: (n, n_flag) [m]
    run_out_butt: Array  #: (n, n_flag) [m]

    @property
    def n_designs(self) -> int:
        """Number of designs."""
        return len(self.length)


class Work(NamedTuple):
    """Scratch of one evaluation; holds the profile of the design done last."""

    marks: Array
    jumps: BoolArray
    x: Array
    look: Array
    mandrel: Array
    build: Array
    finished: Array
    r_in: Array
    r_out: Array
    first: IntArray
    last: IntArray
    sums: Array
    EI: Array
    GJ: Array
    hoop: Array
    shear: Array
    m: Array
    curvature: Array
    use: Array
    y: Array
    moment: Array
    net: Array
    gross: Array
    splices: Array
    mass: Array
    counts: IntArray  #: points; first and last point of the finished shaft


def workspace(conditions: Conditions, n_flags: int, length: float) -> Work:
    """Allocate scratch for designs of at most some flags and length.

    Parameters
    ----------
    conditions : Conditions
        What the designs share. [-]
    n_flags : int
        Most flags of a design. [-]
    length : float
        Longest shaft. [m]

    Returns
    -------
    work : Work
        Scratch arrays. [-]
    """
    breaks = max(len(mandrel.distance) for mandrel in conditions.mandrels)
    n_marks = 24 + breaks + 4 * n_flags
    blank = length + conditions.trim_tip + conditions.trim_butt
    n_x = int(blank / conditions.cell) + 3 * n_marks
    line = np.zeros((14, n_x))
    return Work(
        marks=np.zeros(n_marks),
        jumps=np.zeros(n_marks, dtype=np.bool_),
        x=line[0],
        look=line[1],
        mandrel=line[2],
        build=line[3],
        finished=line[4],
        r_in=np.zeros((n_flags, n_x)),
        r_out=np.zeros((n_flags, n_x)),
        first=np.zeros(n_flags, dtype=np.int64),
        last=np.zeros(n_flags, dtype=np.int64),
        sums=np.zeros((N_SUMS, n_x)),
        EI=line[5],
        GJ=line[6],
        hoop=line[7],
        shear=line[8],
        m=line[9],
        curvature=line[10],
        use=line[11],
        y=line[12],
        moment=line[13],
        net=np.zeros(n_flags),
        gross=np.zeros(n_flags),
        splices=np.zeros(n_flags),
        mass=np.zeros(n_flags),
        counts=np.zeros(3, dtype=np.int64),
    )


@compiled
def _mark(
    marks: Array,
    jumps: BoolArray,
    n: int,
    station: float,
    low: float,
    high: float,
    jump: bool,
) -> int:
    if low <= station <= high:
        marks[n] = station
        jumps[n] = jump
        return n + 1
    return n


@compiled
def _index(x: Array, n_x: int, station: float, butt_side: bool) -> int:
    """Point at a marked station; at a jump the copy on the asked side."""
    low = 0
    high = n_x - 1
    while low < high:
        middle = (low + high) // 2
        if x[middle] < station - SAME_STATION:
            low = middle + 1
        else:
            high = middle
    if butt_side and low + 1 < n_x and x[low + 1] - x[low] < SAME_STATION:
        return low + 1
    return low


@compiled
def _stiffness_at(x: Array, EI: Array, n_x: int, station: float) -> float:
    """Linear between points; the mean of both sides at a jump."""
    right = _index(x, n_x, station, False)
    if abs(x[right] - station) < SAME_STATION:
        return float(0.5 * (EI[right] + EI[_index(x, n_x, station, True)]))
    left = right - 1
    share = (station - x[left]) / (x[right] - x[left])
    return float(EI[left] + share * (EI[right] - EI[left]))


@compiled
def _lay_points(
    numbers: _Numbers,
    work: Work,
    length: float,
    mandrel: int,
    offset: float,
    sheet: IntArray,
    start: Array,
    end: Array,
    run_out_tip: Array,
    run_out_butt: Array,
) -> int:
    bench = numbers.bench
    marks, jumps = work.marks, work.jumps
    low = -numbers.trim_tip
    high = length + numbers.trim_butt
    n = _mark(marks, jumps, 0, low, low, high, False)
    n = _mark(marks, jumps, n, high, low, high, False)
    for station in (0.0, length):
        n = _mark(marks, jumps, n, station, low, high, False)
    for station in (
        bench.torque_grip,
        bench.tip_hold,
        bench.tip_support,
        bench.tip_load_at,
        bench.strength_tip_support,
        bench.strength_from,
        bench.strength_a,
        bench.strength_b,
        length - bench.frequency_clamp,
        length - bench.torque_clamp,
        length - bench.butt_hold,
        length - bench.butt_support,
        length - bench.butt_load_at,
        length - bench.strength_to,
        length - bench.strength_butt_support,
    ):
        n = _mark(marks, jumps, n, station, 0.0, length, False)
    for j in range(numbers.breaks[mandrel]):
        n = _mark(
            marks, jumps, n, numbers.distance[mandrel, j] - offset, low, high, False
        )
    finish = numbers.finish
    if not np.isnan(finish.tip_diameter):
        parallel = finish.tip_parallel
        n = _mark(marks, jumps, n, parallel, low, high, True)
        n = _mark(marks, jumps, n, parallel + finish.tip_blend, low, high, True)
    for k in range(len(sheet)):
        if sheet[k] < 0:
            continue
        n = _mark(marks, jumps, n, start[k], low, high, True)
        n = _mark(marks, jumps, n, end[k], low, high, True)
        if run_out_tip[k] > 0.0:
            n = _mark(marks, jumps, n, start[k] + run_out_tip[k], low, high, False)
        if run_out_butt[k] > 0.0:
            n = _mark(marks, jumps, n, end[k] - run_out_butt[k], low, high, False)
    n = sort_marks(marks, jumps, n)
    return place_points(marks, jumps, n, numbers.cell, work.x, work.look)


@compiled
def _gradient(
    numbers: _Numbers,
    work: Work,
    n_x: int,
    length: float,
    sheet: IntArray,
    wraps: Array,
    run_out_tip: Array,
    run_out_butt: Array,
    full: bool,
    mode_mass: float,
    out: Array,
) -> None:
    """Derivatives to flag ends: where an end moves, one section replaces another."""
    bench = numbers.bench
    cutting = numbers.cutting
    x, m, EI, GJ = work.x, work.m, work.EI, work.GJ
    clamp = length - bench.frequency_clamp
    for k in range(len(sheet)):
        out[k, :, :] = 0.0
        if sheet[k] < 0:
            continue
        for side in range(2):
            if side == 0:
                tip_point = work.first[k] - 1
                butt_point = work.first[k]
                if run_out_tip[k] > 0.0:
                    butt_point = _index(x, n_x, x[butt_point] + run_out_tip[k], False)
            else:
                tip_point = work.last[k]
                butt_point = work.last[k] + 1
                if run_out_butt[k] > 0.0:
                    tip_point = _index(x, n_x, x[tip_point] - run_out_butt[k], True)
            if tip_point < 0 or butt_point >= n_x:
                continue
            if x[tip_point] <= 0.0 or x[butt_point] >= length:
                continue
            grow = -1.0 if side == 0 else 1.0
            station = 0.5 * (x[tip_point] + x[butt_point])
            row = out[k, side]
            heavier = m[tip_point] - m[butt_point]
            row[0] = heavier
            row[1] = heavier * station
            for j in range(len(sheet)):
                if sheet[j] < 0:
                    continue
                ply = numbers.sheets[sheet[j]]
                turn = ply[_PLY] * ply[_PIECES] * wraps[j]
                width = 0.0
                if work.first[j] <= tip_point <= work.last[j]:
                    width += 2.0 * work.r_in[j, tip_point] + turn
                if work.first[j] <= butt_point <= work.last[j]:
                    width -= 2.0 * work.r_in[j, butt_point] + turn
                wider = width * wraps[j] * np.pi
                if j == k:
                    wider += grow * cutting.gap
                share = work.gross[j] / work.net[j]
                row[6] += ply[_PRICE] * share * ply[_PIECES] * wider
            if not full:
                continue
            softer = 1.0 / EI[tip_point] - 1.0 / EI[butt_point]
            if x[butt_point] <= clamp and mode_mass > 0.0:
                y2 = 0.5 * (work.y[tip_point] ** 2 + work.y[butt_point] ** 2)
                bend = 0.5 * (
                    work.moment[tip_point] ** 2 + work.moment[butt_point] ** 2
                )
                row[2] = -(bend * softer / work.curvature[0] + heavier * y2 / mode_mass)
            if bench.torque_grip <= station <= length - bench.torque_clamp:
                row[3] = bench.torque_moment * (
                    1.0 / GJ[tip_point] - 1.0 / GJ[butt_point]
                )
            arm = overhang_arm(
                station, bench.tip_load_at, bench.tip_support, bench.tip_hold
            )
            row[4] = bench.tip_load * arm * arm * softer
            arm = overhang_arm(
                station,
                length - bench.butt_load_at,
                length - bench.butt_support,
                length - bench.butt_hold,
            )
            row[5] = bench.butt_load * arm * arm * softer


@compiled
def _evaluate(
    numbers: _Numbers,
    work: Work,
    length: float,
    mandrel: int,
    offset: float,
    sheet: IntArray,
    cut_start: Array,
    cut_end: Array,
    wraps: Array,
    run_out_tip: Array,
    run_out_butt: Array,
    full: bool,
    metrics: Array,
    EI_points: Array,
    shop: Array,
    gradient: Array,
) -> None:
    finish = numbers.finish
    bench = numbers.bench
    cutting = numbers.cutting
    n_flags = len(sheet)

    # flags that reach an end of the shaft are cut longer by the trim
    start = np.empty(n_flags)
    end = np.empty(n_flags)
    coupled = False
    for k in range(n_flags):
        start[k] = -numbers.trim_tip if cut_start[k] <= 0.0 else cut_start[k]
        end[k] = cut_end[k]
        if cut_end[k] >= length - SAME_STATION:
            end[k] = length + numbers.trim_butt
        if sheet[k] >= 0:
            ply = numbers.sheets[sheet[k]]
            coupled = coupled or ply[Q16] != 0.0 or ply[Q26] != 0.0
    n_x = _lay_points(
        numbers,
        work,
        length,
        mandrel,
        offset,
        sheet,
        start,
        end,
        run_out_tip,
        run_out_butt,
    )
    x, look = work.x, work.look
    tip = _index(x, n_x, 0.0, True)
    butt = _index(x, n_x, length, False)
    if numbers.trim_tip == 0.0:
        tip = 0
    if numbers.trim_butt == 0.0:
        butt = n_x - 1
    work.counts[0] = n_x
    work.counts[1] = tip
    work.counts[2] = butt

    # wall
    n_breaks = numbers.breaks[mandrel]
    mandrel_radius(
        x,
        n_x,
        numbers.distance[mandrel],
        numbers.radius[mandrel],
        n_breaks,
        offset,
        work.mandrel,
    )
    work.build[:n_x] = work.mandrel[:n_x]
    cost = 0.0
    overhang = 0.0
    for k in range(n_flags):
        if sheet[k] < 0:
            continue
        ply = numbers.sheets[sheet[k]]
        first = 0
        while look[first] <= start[k]:
            first += 1
        last = n_x - 1
        while look[last] >= end[k]:
            last -= 1
        work.first[k] = first
        work.last[k] = last
        net = roll_flag(
            x,
            first,
            last,
            start[k],
            end[k],
            wraps[k],
            run_out_tip[k],
            run_out_butt[k],
            ply[_PLY],
            ply[_PIECES],
            work.build,
            work.r_in[k],
            work.r_out[k],
        )
        gross, over, splices = gross_area(
            net,
            end[k] - start[k],
            ply[_PIECES],
            ply[_ANGLE],
            ply[_ROLL],
            cutting.gap,
            cutting.roll_edge,
            cutting.splice_from,
        )
        work.net[k] = net
        work.gross[k] = gross
        work.splices[k] = splices
        cost += gross * ply[_PRICE]
        overhang = max(overhang, over)
    shortage, depth = finished_radius(
        x,
        look,
        n_x,
        work.build,
        finish.grind,
        finish.tip_diameter,
        finish.tip_parallel,
        finish.tip_blend,
        finish.tip_taper,
        work.finished,
    )
    bias_ground = 0.0
    work.m[:n_x] = 0.0
    for k in range(n_flags):
        if sheet[k] < 0:
            continue
        ply = numbers.sheets[sheet[k]]
        r_in, r_out, finished = work.r_in[k], work.r_out[k], work.finished
        is_bias = ply[_S2] > 0.0 and ply[_C2] > 1e-12
        if is_bias:
            for p in range(max(work.first[k], tip), min(work.last[k], butt) + 1):
                cut = min(r_out[p] - finished[p], r_out[p] - r_in[p])
                bias_ground = max(bias_ground, cut)
        for p in range(work.first[k], work.last[k] + 1):
            r_out[p] = min(r_out[p], finished[p])
            r_in[p] = min(r_in[p], finished[p])
        area = ply[_DENSITY] * np.pi
        for p in range(work.first[k], work.last[k] + 1):
            work.m[p] += area * (r_out[p] * r_out[p] - r_in[p] * r_in[p])
    if finish.coating > 0.0:
        bare = -np.inf if np.isnan(finish.tip_diameter) else finish.tip_parallel
        for p in range(n_x):
            if look[p] > bare:
                work.m[p] += finish.coating * 2.0 * np.pi * work.finished[p]

    # what needs no stiffness
    weight = integral(x, work.m, tip, butt)
    moment = product_integral(x, work.m, x, tip, butt)
    metrics[col.WEIGHT] = weight
    metrics[col.BALANCE_POINT] = length - moment / weight
    metrics[col.TIP_DIAMETER] = 2.0 * work.finished[tip]
    metrics[col.BUTT_DIAMETER] = 2.0 * work.finished[butt]
    metrics[col.MATERIAL_COST] = cost
    shop[col.WALL_MIN] = least_wall(work.finished, work.mandrel, tip, butt)
    shop[col.DIAMETER_STEP] = steepest_step(
        x, work.finished, tip, butt, numbers.step_length
    )
    shop[col.TIP_SHORTAGE] = shortage
    shop[col.TIP_GRIND_DEPTH] = depth
    shop[col.BIAS_GROUND] = bias_ground
    shop[col.ROLL_OVERHANG] = overhang
    mode_mass = 0.0
    if full:
        # section
        work.sums[:, :n_x] = 0.0
        for k in range(n_flags):
            if sheet[k] >= 0:
                add_ring(
                    numbers.sheets[sheet[k]],
                    work.r_in[k],
                    work.r_out[k],
                    work.first[k],
                    work.last[k],
                    work.sums,
                    coupled,
                )
        close_section(work.sums, n_x, coupled, work.EI, work.GJ, work.hoop, work.shear)

        # strength
        for p in range(n_x):
            required = envelope_moment(
                x[p],
                bench.strength_moment,
                bench.strength_tip_support,
                bench.strength_from,
                length - bench.strength_to,
                length - bench.strength_butt_support,
            )
            work.curvature[p] = required / work.EI[p]
            work.use[p] = 0.0
        for k in range(n_flags):
            if sheet[k] >= 0:
                ply = numbers.sheets[sheet[k]]
                fibre_margins(
                    ply[_C2],
                    ply[_S2],
                    ply[_CS],
                    ply[_STRAIN],
                    work.curvature,
                    work.hoop,
                    work.shear,
                    work.r_in[k],
                    work.r_out[k],
                    max(work.first[k], tip),
                    min(work.last[k], butt),
                    work.use,
                )
        most = 0.0
        for p in range(tip, butt + 1):
            most = max(most, work.use[p])
        # an envelope that is not full anywhere on the shaft tests nothing
        metrics[col.DURABILITY] = np.nan
        full_from = bench.strength_from
        full_to = length - bench.strength_to
        if full_from <= full_to and most > 0.0:
            metrics[col.DURABILITY] = 1.0 / most - 1.0

        # bench
        metrics[col.FREQUENCY] = np.nan
        clamp_at = length - bench.frequency_clamp
        if 0.0 < clamp_at <= length:
            clamp = _index(x, n_x, clamp_at, False)
            omega2, slope = first_mode(
                x,
                work.EI,
                work.m,
                tip,
                clamp,
                bench.tip_mass,
                bench.tip_mass_offset,
                bench.tip_mass_inertia,
                work.y,
                work.moment,
            )
            metrics[col.FREQUENCY] = np.sqrt(omega2) / (2.0 * np.pi)
            if len(gradient) > 0:
                kinetic = work.m * work.y
                head = 1.0 + bench.tip_mass_offset * slope
                mode_mass = (
                    product_integral(x, kinetic, work.y, tip, clamp)
                    + bench.tip_mass * head * head
                    + bench.tip_mass_inertia * slope * slope
                )
                work.curvature[0] = mode_mass / omega2
        metrics[col.TORQUE] = np.nan
        torque_to = length - bench.torque_clamp
        if 0.0 <= bench.torque_grip < torque_to <= length:
            metrics[col.TORQUE] = twist(
                x,
                work.GJ,
                _index(x, n_x, bench.torque_grip, True),
                _index(x, n_x, torque_to, False),
                bench.torque_moment,
            )
        metrics[col.TIP_DEFLECTION] = np.nan
        if 0.0 <= bench.tip_hold < bench.tip_support < bench.tip_load_at <= length:
            metrics[col.TIP_DEFLECTION] = overhang_deflection(
                x,
                work.EI,
                n_x,
                bench.tip_load_at,
                bench.tip_support,
                bench.tip_hold,
                bench.tip_load,
            )
        metrics[col.BUTT_DEFLECTION] = np.nan
        if 0.0 <= bench.butt_hold < bench.butt_support < bench.butt_load_at <= length:
            metrics[col.BUTT_DEFLECTION] = overhang_deflection(
                x,
                work.EI,
                n_x,
                length - bench.butt_load_at,
                length - bench.butt_support,
                length - bench.butt_hold,
                bench.butt_load,
            )
        metrics[col.FLEX_POINT_RATIO] = metrics[col.TIP_DEFLECTION] / (
            metrics[col.TIP_DEFLECTION] + metrics[col.BUTT_DEFLECTION]
        )
        for j in range(len(numbers.ei_stations)):
            EI_points[j] = _stiffness_at(x, work.EI, n_x, numbers.ei_stations[j])
    if len(gradient) > 0:
        _gradient(
            numbers,
            work,
            n_x,
            length,
            sheet,
            wraps,
            run_out_tip,
            run_out_butt,
            full,
            mode_mass,
            gradient,
        )


def _entry(sources: int) -> Any:
    @compiled_entry
    def evaluate_all(
        numbers: _Numbers,
        layups: Layups,
        work: Work,
        full: bool,
        metrics: Array,
        EI: Array,
        shop: Array,
        gradient: Array,
    ) -> None:
        _ = sources  # part of the key under which the machine code is kept
        for i in range(len(layups.length)):
            _evaluate(
                numbers,
                work,
                layups.length[i],
                layups.mandrel[i],
                layups.mandrel_set[i],
                layups.sheet[i],
                layups.start[i],
                layups.end[i],
                layups.wraps[i],
                layups.run_out_tip[i],
                layups.run_out_butt[i],
                full,
                metrics[i],
                EI[i],
                shop[i],
                gradient[i] if len(gradient) > 0 else np.zeros((0, 2, 7)),
            )

    return evaluate_all


_evaluate_all = _entry(SOURCES)


class BatchReport(NamedTuple):
    """What many designs measure, design axis first."""

    metrics: (
        Array  #: (n, 11) in the order of METRICS, SI; NaN where a test does not fit
    )
    EI: Array  #: (n, n_ei) at the conditions' stations [N·m²]
    shop: Array  #: (n, 6) in the order of SHOP_MEASURES [m]
    gradient: Array  #: (n, n_flag, 2, 7) to start and end of each flag, or (0, ...)


def evaluate_batch(
    layups: Layups,
    conditions: Conditions,
    *,
    full: bool = True,
    gradient: bool = False,
    work: Work | None = None,
) -> BatchReport:
    """Evaluate many designs in one call.

    Parameters
    ----------
    layups : Layups
        The designs. [SI]
    conditions : Conditions
        What they share. [SI]
    full : bool
        False leaves out everything that needs stiffness (those metrics are NaN). [-]
    gradient : bool
        Also give the derivatives of GRADIENTS to the flags' inner ends; 0 for ends
        that coincide with an end of the shaft. [-]
    work : Work or None
        Scratch of an earlier call for designs no longer and no richer. [-]

    Returns
    -------
    report : BatchReport
        Metrics, EI at the asked stations, shop measures, derivatives. [SI]

    Raises
    ------
    ModelRangeError
        If a flag lies off its shaft or a shaft off its mandrel.
    """
    n, n_flags = layups.sheet.shape
    _check(layups, conditions)
    if work is None:
        longest = float(layups.length.max()) if n else 1.0
        work = workspace(conditions, n_flags, longest)
    metrics = np.full((n, len(col.METRICS)), np.nan)
    EI = np.full((n, len(conditions.ei_stations)), np.nan)
    shop = np.zeros((n, len(col.SHOP_MEASURES)))
    shape = (n if gradient else 0, n_flags, 2, len(GRADIENTS))
    slopes = np.zeros(shape)
    if n:
        _evaluate_all(conditions.numbers, layups, work, full, metrics, EI, shop, slopes)
    return BatchReport(metrics, EI, shop, slopes)


def _check(layups: Layups, conditions: Conditions) -> None:
    there = layups.sheet >= 0
    if not there.any(axis=1).all():
        raise ModelRangeError("a design has no flags")
    start, end = layups.start, layups.end
    long = layups.length[:, None] + SAME_STATION
    if np.any(there & ~((start >= 0.0) & (start < end) & (end <= long))):
        raise ModelRangeError("a flag does not lie between tip and butt")
    if np.any(there & (layups.sheet >= len(conditions.sheets))):
        raise ModelRangeError("a flag's sheet is not among the conditions' sheets")
    if np.any(there & ~(layups.wraps > 0.0)):
        raise ModelRangeError("a flag has no wraps")
    full = np.array([mandrel.distance[-1] for mandrel in conditions.mandrels])
    reach = layups.mandrel_set + layups.length + conditions.trim_butt
    if np.any(layups.mandrel_set < conditions.trim_tip - SAME_STATION) or np.any(
        reach > full[layups.mandrel] + SAME_STATION
    ):
        raise ModelRangeError("a shaft does not lie on its mandrel")


def layups_of(designs: Sequence[Design], conditions: Conditions) -> Layups:
    """Arrays of designs that share their conditions.

    Parameters
    ----------
    designs : sequence of Design
        Designs whose sheets and mandrels stand in the conditions. [SI]
    conditions : Conditions
        What they share. [-]

    Returns
    -------
    layups : Layups
        The same designs as arrays. [SI]
    """
    index = {sheet: i for i, sheet in enumerate(conditions.sheets)}
    mandrel = {m.name: i for i, m in enumerate(conditions.mandrels)}
    n, n_flags = len(designs), max(len(design.flags) for design in designs)
    sheet = np.full((n, n_flags), -1, dtype=np.int64)
    start, end, wraps, run_tip, run_butt = np.zeros((5, n, n_flags))
    for i, design in enumerate(designs):
        for k, flag in enumerate(design.flags):
            sheet[i, k] = index[Sheet(flag.material, flag.angle, flag.is_pair)]
            start[i, k], end[i, k] = flag.start, flag.end
            wraps[i, k] = flag.wraps
            run_tip[i, k], run_butt[i, k] = flag.run_out_tip, flag.run_out_butt
    return Layups(
        np.array([design.shaft.length for design in designs]),
        np.array([mandrel[d.shaft.mandrel] for d in designs], dtype=np.int64),
        np.array([design.shaft.mandrel_set for design in designs]),
        sheet,
        start,
        end,
        wraps,
        run_tip,
        run_butt,
    )
