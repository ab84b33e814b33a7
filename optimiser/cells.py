"""What an outlook needs of a spec, as weights over the cells of its shafts."""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from model import plane_stiffness, rotated_stiffness
from optimiser.encoding import Encoding

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Cells along a shaft; a multiple of eight fills the lanes of wide processors.
N_CELLS = 32
_LANES = 8
_POINTS_IN_CELL = 8
#: An edge is smeared over this length where EI is asked for at a point. [m]
_SHARP = 0.005

#: Columns of the sheet table.
N_COLUMNS = 12
(
    RISE,
    Q11,
    Q12,
    Q22,
    Q66,
    DENSITY,
    PRICE,
    C2,
    S2,
    STRAIN,
    ANGLE,
    ROLL,
) = range(N_COLUMNS)


class Cells(NamedTuple):
    """What the outlook needs of the conditions, by length and cell."""

    lengths: Array  #: (n_length,) rising [m]
    x: Array  #: (n_length, n_cell) middle of each cell; then the spec's EI points [m]
    long: Array  #: (n_length, n_cell) length of each cell; 0 for a point [m]
    blur: Array  #: (n_length, n_cell) length over which an edge is smeared [m]
    sheets: Array  #: (n_sheet, 12)
    distance: Array  #: (n_mandrel, most) [m]
    radius: Array
    breaks: IntArray
    tests: Array  #: (n_length, 4, n_cell) weight of 1/GJ, then of 1/EI [N·m³ / N·m²]
    fits: NDArray[np.bool_]  #: (n_length, 4) whether the test fits on the shaft
    moment: Array  #: (n_length, n_cell) that the wall must bear [N·m]
    free: Array  #: (n_length, n_cell) length of the cell beyond the clamp [m]
    arm: Array  #: (n_length, n_cell) middle of that length to the mass on the tip [m]
    bent: Array  #: (n_length, n_cell) integral of the squared arm [m³]
    compliance: Array  #: (n_length,) of the clamp, at the mass on the tip [m/N]
    tip_mass: float
    tip_mass_offset: float
    tip_mass_inertia: float
    n_points: int  #: EI points, from column N_CELLS on
    grind: float
    coating: float  #: [kg/m²]
    tip_radius: float  #: NaN for none
    tip_parallel: float
    tip_blend: float
    tip_taper: float
    trim_tip: float
    trim_butt: float
    bore: tuple[float, float, float]  #: mean radius by station: a parabola [m, -, 1/m]
    gap: float  #: between pieces on the roll [m]
    roll_edge: float  #: not used [m]
    splice_from: float  #: [rad]
    batch: float  #: shafts that are cut together [-]
    per_flag: float  #: labour [currency]
    per_shaft: float  #: labour and consumables beside that [currency]
    sold: float  #: share of the shafts made [-]


def cells_of(encoding: Encoding) -> Cells:
    """Number what the outlook needs.

    Parameters
    ----------
    encoding : Encoding
        Choices and conditions of a spec. [-]

    Returns
    -------
    cells : Cells
        For ``outlook.foresee``. [SI]
    """
    conditions = encoding.conditions
    bench, finish = conditions.bench, conditions.finish
    numbers = conditions.numbers
    lengths = encoding.tables.length
    n = N_CELLS
    points = np.array(conditions.ei_stations)
    # points fill up whole lanes; those too many repeat the middle of the shaft
    m = n + -(-len(points) // _LANES) * _LANES
    edges = lengths[:, None] * np.linspace(0.0, 1.0, n + 1)
    x = np.repeat(lengths[:, None] / 2.0, m, axis=1)
    x[:, :n] = (edges[:, 1:] + edges[:, :-1]) / 2.0
    x[:, n : n + len(points)] = np.minimum(points, lengths[:, None])
    long, blur = np.zeros_like(x), np.full_like(x, _SHARP)
    long[:, :n] = blur[:, :n] = np.diff(edges)
    tests = np.zeros((len(lengths), 4, m))
    fits = np.zeros((len(lengths), 4), dtype=np.bool_)
    moment, free, arm, bent = np.zeros((4, len(lengths), m))
    compliance = np.zeros(len(lengths))
    for i, length in enumerate(lengths):
        clamp = length - bench.frequency_clamp
        cut = np.minimum(edges[i], max(clamp, 0.0))
        off = bench.tip_mass_offset
        free[i, :n] = np.diff(cut)
        arm[i, :n] = (cut[1:] + cut[:-1]) / 2.0 + off
        bent[i, :n] = np.diff((cut + off) ** 3) / 3.0
        compliance[i] = bench.frequency_clamp_compliance * (clamp + off)
        for j, (weight, does_fit) in enumerate(_tests(encoding, float(length))):
            fits[i, j] = does_fit
            if does_fit:
                tests[i, j, :n] = _integrals(weight, edges[i])
        rise = (bench.strength_tip_support, bench.strength_from)
        fall = (length - bench.strength_to, length - bench.strength_butt_support)
        ramp = np.interp(x[i, :n], [*rise, *fall], [0.0, 1.0, 1.0, 0.0])
        moment[i, :n] = bench.strength_moment * ramp
    tip = finish.tip_diameter
    return Cells(
        lengths=lengths,
        x=x,
        long=long,
        blur=blur,
        sheets=_sheets(encoding),
        distance=numbers.distance,
        radius=numbers.radius,
        breaks=numbers.breaks,
        tests=tests,
        fits=fits,
        moment=moment,
        free=free,
        arm=arm,
        bent=bent,
        compliance=compliance,
        tip_mass=float(bench.tip_mass),
        tip_mass_offset=float(bench.tip_mass_offset),
        tip_mass_inertia=float(bench.tip_mass_inertia),
        n_points=len(points),
        grind=float(finish.grind),
        coating=float(finish.coating),
        tip_radius=np.nan if tip is None else float(tip) / 2.0,
        tip_parallel=float(finish.tip_parallel or 0.0),
        tip_blend=float(finish.tip_blend or 0.0),
        tip_taper=float(finish.tip_taper or 0.0),
        trim_tip=float(conditions.trim_tip),
        trim_butt=float(conditions.trim_butt),
        bore=_usual_bore(encoding),
        gap=float(conditions.cutting.gap),
        roll_edge=float(conditions.cutting.roll_edge),
        splice_from=float(conditions.cutting.splice_from),
        batch=float(conditions.cutting.batch),
        per_flag=float(conditions.costs.labour_per_flag),
        per_shaft=conditions.costs.per_shaft(0),
        sold=1.0 - conditions.costs.scrap,
    )


def _usual_bore(encoding: Encoding) -> tuple[float, float, float]:
    """Radius of the mandrels by station, as a mean: a parabola's coefficients."""
    tables, length = encoding.tables, float(encoding.tables.length.max())
    x = np.linspace(0.0, length, 2 * N_CELLS)
    station = float(np.mean(tables.mandrel_set)) + x
    radius = [
        np.interp(station, mandrel.distance, np.array(mandrel.diameter) / 2.0)
        for mandrel in encoding.conditions.mandrels
    ]
    square, slope, at_tip = np.polyfit(x, np.mean(radius, axis=0), 2)
    return float(at_tip), float(slope), float(square)


def _sheets(encoding: Encoding) -> Array:
    conditions = encoding.conditions
    table = np.zeros((len(conditions.sheets), N_COLUMNS))
    rows = zip(
        conditions.sheets,
        conditions.plies,
        conditions.prices,
        conditions.roll_widths,
        encoding.tables.turn,
        strict=True,
    )
    for row, (sheet, ply, price, roll_width, turn) in enumerate(rows):
        Q = rotated_stiffness(
            plane_stiffness(ply.E1, ply.E2, ply.G12, ply.nu12),
            sheet.angle,
            is_pair=sheet.is_pair,
        )
        c, s = np.cos(sheet.angle), np.sin(sheet.angle)
        strain = min(ply.strain_tension, ply.strain_compression)
        # one wrap's volume of wall takes this much of a roll
        spent = price * (2.0 if sheet.is_pair else 1.0) / turn
        table[row] = [
            *(turn, *Q[:4], ply.density, spent, c * c, s * s, strain),
            *(abs(sheet.angle), roll_width),
        ]
    return table


def _tests(encoding: Encoding, length: float) -> list[tuple[Any, bool]]:
    """Weight of 1/GJ or 1/EI in each test by station, and whether the test fits."""
    bench = encoding.conditions.bench
    clamp = bench.torque_clamp_at
    if clamp is None:
        clamp = length - bench.torque_clamp

    def couple(x: Array) -> Array:
        return np.where((x > bench.torque_grip) & (x < clamp), bench.torque_moment, 0.0)

    def hung(load: float, load_at: float, support: float, hold: float) -> Any:
        beyond = abs(load_at - support)
        rising = np.sort([load_at, support, hold])

        def weight(x: Array) -> Array:
            # the moment rises from the load to the support and falls to the hold
            arm = np.interp(x, rising, [0.0, beyond, 0.0], left=0.0, right=0.0)
            return np.asarray(load * arm * arm)

        return weight

    def cantilever(x: Array) -> Array:
        arm = np.maximum(x - bench.cantilever_load_at, 0.0)
        inside = x < length - bench.cantilever_clamp
        return np.where(inside, bench.cantilever_load * arm * arm, 0.0)

    fixed = length - bench.cantilever_clamp
    return [
        (couple, 0.0 <= bench.torque_grip < clamp <= length),
        (
            hung(bench.tip_load, bench.tip_load_at, bench.tip_support, bench.tip_hold),
            0.0 <= bench.tip_hold < bench.tip_support < bench.tip_load_at <= length,
        ),
        (
            hung(
                bench.butt_load,
                length - bench.butt_load_at,
                length - bench.butt_support,
                length - bench.butt_hold,
            ),
            0.0 <= bench.butt_hold < bench.butt_support < bench.butt_load_at <= length,
        ),
        (cantilever, 0.0 <= bench.cantilever_load_at < fixed <= length),
    ]


def _integrals(weight: Any, edges: Array) -> Array:
    """Integral of a weight over each cell, by midpoints of its parts."""
    n = len(edges) - 1
    share = (np.arange(_POINTS_IN_CELL) + 0.5) / _POINTS_IN_CELL
    h = np.diff(edges)
    x = edges[:-1, None] + h[:, None] * share
    mean: Array = weight(x).reshape(n, -1).mean(axis=1)
    return mean * h
