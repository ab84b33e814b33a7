"""Where a shaft breaks first, in which of its flags, and how."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from model.conditions import C2, CS, PIECES, Conditions, Layups
from model.design import Design
from model.failure import MODES
from model.governing import (
    CRACK,
    FIBRE,
    QUADRATIC,
    Governing,
    Rings,
    crushing_plies,
    governing_plies,
)
from model.report import Breaking, StrengthPoint
from model.scratch import Work
from model.strength import envelope_moment
from model.wall import SAME_STATION

Array = NDArray[np.float64]

#: Fibre margin at the breaking torque above which the resin has given way. [-]
_RESIN_FIRST = 1e-6


def rings_of(shared: Conditions, layups: Layups, work: Work) -> Rings:
    """The rings of a shaft, for naming the one that fails.

    Every flag is there twice: at its points, and at the brinks behind all points.

    Parameters
    ----------
    shared : Conditions
        Those of the shaft alone. [SI]
    layups : Layups
        The shaft as a batch of one. [SI]
    work : Work
        Evaluated. [SI]

    Returns
    -------
    rings : Rings
        Twice as many as there are flags. [SI]
    """
    numbers = shared.numbers
    sheet = np.tile(layups.sheet[0], 2)
    n_x, n_brinks = int(work.counts[0]), int(work.counts[4])
    n_all = n_x + n_brinks
    return Rings(
        limits=numbers.limits[sheet],
        angles=np.ascontiguousarray(numbers.sheets[sheet][:, C2 : CS + 1]),
        is_pair=numbers.sheets[sheet, PIECES] > 1.0,
        r_in=np.tile(work.r_in[:, :n_all], (2, 1)),
        r_out=np.tile(work.r_out[:, :n_all], (2, 1)),
        first=np.concatenate([work.first, np.full_like(work.first, n_x)]),
        last=np.concatenate([work.last, np.full_like(work.last, n_all - 1)]),
    )


def margin_at_points(margin: Array, work: Work) -> Array:
    """Margins at the points; that of a brink counts at the nearer end of its cell.

    Parameters
    ----------
    margin : ndarray, shape (n_point + n_brink,)
        Of points, then of brinks. [-]
    work : Work
        Evaluated. [SI]

    Returns
    -------
    margin : ndarray, shape (n_point,)
        The least at each point. [-]
    """
    n_x, n_brinks = int(work.counts[0]), int(work.counts[4])
    near = work.brink_cell[:n_brinks] + (work.brink_share[:n_brinks] > 0.5)
    least = margin[:n_x].copy()
    np.minimum.at(least, near, margin[n_x:])
    return least


def envelope_of(design: Design, work: Work) -> Array:
    """Bending moment that the shaft must bear at every point and brink.

    Parameters
    ----------
    design : Design
        The shaft; its bench says which moment, and where. [SI]
    work : Work
        Evaluated. [SI]

    Returns
    -------
    moment : ndarray, shape (n_point + n_brink,)
        Zero outside the supports. [N·m]
    """
    bench, length = design.bench, design.shaft.length
    return np.array(
        [
            envelope_moment(
                x,
                bench.strength_moment,
                bench.strength_tip_support,
                bench.strength_from,
                length - bench.strength_to,
                length - bench.strength_butt_support,
            )
            for x in work.x[: work.counts[0] + work.counts[4]]
        ]
    )


def curvature_of(moment: Array, work: Work) -> Array:
    """Curvature under a bending moment at every point and brink.

    Parameters
    ----------
    moment : ndarray, shape (n_point + n_brink,)
        Bending moment. [N·m]
    work : Work
        Evaluated. [SI]

    Returns
    -------
    curvature : ndarray, shape (n_point + n_brink,)
        Zero where no wall is left: in the trim, where all flags may have run out. [1/m]
    """
    EI = work.EI[: len(moment)]
    return np.divide(moment, EI, out=np.zeros(len(moment)), where=EI > 0.0)


def strength_points(
    design: Design,
    work: Work,
    row: int,
    governing: Callable[[Array], Governing],
    envelope: Array,
    found: Governing,
) -> tuple[StrengthPoint, ...]:
    """Margins at the points of the strength test, and the worst of the envelope.

    Parameters
    ----------
    design : Design
        The shaft. [SI]
    work : Work
        Evaluated. [SI]
    row : int
        Of the margins, by the criterion: FIBRE or QUADRATIC. [-]
    governing : callable
        What fails first under a curvature at every point and brink. [1/m]
    envelope : ndarray, shape (n_point + n_brink,)
        Curvature that the shaft must bear. [1/m]
    found : Governing
        What fails first under it. [-]

    Returns
    -------
    points : tuple of StrengthPoint
        T, A, B, C and the envelope; without numbers where a test does not fit. [SI]
    """
    bench = design.bench
    length = design.shaft.length
    n_all = int(work.counts[0] + work.counts[4])
    x = work.x[:n_all]
    points = []
    for name, station, span in (
        ("T", bench.strength_from, 0.150),
        ("A", bench.strength_a, 0.300),
        ("B", bench.strength_b, 0.300),
        ("C", length - bench.strength_to, 0.300),
    ):
        if station - span / 2 < 0.0 or station + span / 2 > length:
            points.append(_no_point(name))
            continue
        here = np.abs(x - station) < SAME_STATION
        moment = np.where(here, bench.strength_moment, 0.0)
        borne = governing(curvature_of(moment, work))
        points.append(_point(name, design, x, moment, borne, row))
    if bench.strength_from > length - bench.strength_to:
        # full nowhere on this shaft, so there is no envelope to bear
        points.append(_no_point("envelope"))
    else:
        required = envelope * work.EI[:n_all]
        points.append(_point("envelope", design, x, required, found, row))
    return tuple(points)


def _point(
    name: str, design: Design, x: Array, moment: Array, found: Governing, row: int
) -> StrengthPoint:
    """The worst of some points; what cracks may stand at another than what breaks."""
    p = int(np.argmin(found.margin[row]))
    q = int(np.argmin(found.margin[CRACK]))
    mode = MODES[found.mode[row, p]]
    flags = design.flags
    cracks = bool(np.isfinite(found.margin[CRACK, q]))
    return StrengthPoint(
        name=name,
        station=float(x[p]),
        moment=float(moment[p]),
        margin=float(found.margin[row, p]),
        flag=flags[found.ring[row, p]].name,
        mode=f"quadratic, {mode}" if row == QUADRATIC else mode,
        cracking_margin=float(found.margin[CRACK, q]) if cracks else None,
        cracking_flag=flags[found.ring[CRACK, q]].name if cracks else None,
        cracking_mode=MODES[found.mode[CRACK, q]] if cracks else None,
    )


def breaking_points(
    design: Design,
    shared: Conditions,
    layups: Layups,
    work: Work,
    metrics: dict[str, float | None],
    row: int,
    governing: Callable[[Array], Governing],
    shell: Array,
    free: Array | None,
) -> tuple[Breaking, ...]:
    """Name what breaks first in torsion, in crushing and in an impact.

    Parameters
    ----------
    design : Design
        The shaft. [SI]
    shared, layups : Conditions, Layups
        It alone, as a batch of one. [SI]
    work : Work
        Evaluated. [SI]
    metrics : dict
        Its metrics by key; None where a test does not fit. [SI]
    row : int
        Of the margins, by the criterion: FIBRE or QUADRATIC. [-]
    governing : callable
        What fails first under a curvature at every point and brink. [1/m]
    shell : ndarray, shape (N_HOOP, n_point + n_brink)
        The wall as a ring. [SI]
    free : ndarray or None
        Strains without load, as of cooling. [-]

    Returns
    -------
    breaking : tuple of Breaking
        One for each test that fits. [SI]
    """
    bench, length, flags = design.bench, design.shaft.length, design.flags
    n_x, tip, butt = (int(count) for count in work.counts[:3])
    n_all = n_x + int(work.counts[4])
    x = work.x[:n_all]
    on_shaft = np.ones(n_all, dtype=np.bool_)
    on_shaft[:tip] = on_shaft[butt + 1 : n_x] = False
    rings = rings_of(shared, layups, work)
    said = []
    torque = metrics["torsion_strength"]
    if torque is not None:
        grip = bench.torsion_grip
        free_length = on_shaft & (x >= grip) & (x <= length - grip)
        use = np.where(free_length, work.torsion_use[:n_all], 0.0)
        p = int(np.argmax(use))
        load = np.where(free_length, torque, 0.0)
        found = governing_plies(rings, work.torsion[:, :n_all], load, free)
        flag, mode = found.ring[row, p], MODES[found.mode[row, p]]
        if row == FIBRE and found.margin[FIBRE, p] > _RESIN_FIRST:
            flag, mode = found.ring[CRACK, p], "shear of every ply"
        name = flags[flag % len(flags)].name
        said.append(_broken("torsion", torque, "N·m", x[p], name, mode, None))
    crush = metrics["crush_load"]
    if crush is not None:
        rings_of_wall = crushing_plies(
            rings, shell, free=free, quadratic=row == QUADRATIC
        )
        p = int(np.argmin(np.where(on_shaft, rings_of_wall.load, np.inf)))
        margin = crush / bench.crush_load - 1.0 if bench.crush_load > 0.0 else None
        name = flags[rings_of_wall.ring[p] % len(flags)].name
        mode = MODES[rings_of_wall.mode[p]]
        said.append(_broken("crushing", crush, "N", x[p], name, mode, margin))
    impact = metrics["impact"]
    if impact is not None:
        peak = bench.impact_moment
        moment = np.interp(x, [0.0, bench.impact_at, bench.impact_to], [0.0, peak, 0.0])
        moment[~on_shaft] = 0.0
        found = governing(curvature_of(moment, work))
        p = int(np.argmin(found.margin[row]))
        name, mode = flags[found.ring[row, p]].name, MODES[found.mode[row, p]]
        borne = peak * (impact + 1.0)
        said.append(_broken("impact", borne, "N·m", x[p], name, mode, impact))
    return tuple(said)


def _broken(
    name: str,
    load: float,
    unit: str,
    station: float,
    flag: str,
    mode: str,
    margin: float | None,
) -> Breaking:
    return Breaking(
        name=name,
        load=load,
        unit=unit,
        station=float(station),
        flag=flag,
        mode=mode,
        margin=margin,
    )


def _no_point(name: str) -> StrengthPoint:
    return StrengthPoint(
        name=name,
        station=None,
        moment=None,
        margin=None,
        flag=None,
        mode=None,
        cracking_margin=None,
        cracking_flag=None,
        cracking_mode=None,
    )
