"""Strains of the wall under bending and torsion, and the load that a station bears.

A *field* holds the strains of the wall under a unit load as functions of the radius r:
axial a + b·r, hoop c + f·r, shear d + e·r, one column a point. Each station is given
its *use*, the inverse of the load at which its first ply fails; any course of that
load along the shaft then has its margin from the same numbers. Strains are taken at the
outer radius of each ring. Fibre failure gates; cracks along the fibres do not, with two
exceptions: a wall in torsion is also taken as broken once the matrix of all its plies
has failed in shear, and the quadratic criterion does not tell fibre from matrix.
"""

import numpy as np
from numpy.typing import NDArray

from model.compilation import compiled_lean
from model.failure import (
    COMPRESSION,
    SHRINK_ACROSS,
    SHRINK_ALONG,
    TENSION,
    quadratic_use,
    strain_use,
)
from model.failure import ply_strains as ply_strains
from model.laminate import A2_11, A2_12, A2_22, A3_16, A3_26

Array = NDArray[np.float64]

#: Rows of a field: strains of the wall under a unit load.
N_FIELD = 6
(
    AXIAL,
    AXIAL_PER_RADIUS,
    HOOP,
    SHEAR,
    SHEAR_PER_RADIUS,
    HOOP_PER_RADIUS,
) = range(N_FIELD)


@compiled_lean
def envelope_moment(
    x: float,
    moment: float,
    tip_support: float,
    rise_end: float,
    fall_start: float,
    butt_support: float,
) -> float:
    """Bending moment that the shaft must bear at a station.

    With ``rise_end`` equal to ``fall_start`` it is a peak, such as that of an impact
    near the tip.

    Parameters
    ----------
    x : float
        Station. [m]
    moment : float
        Full moment, borne between the two inner stations. [N·m]
    tip_support, rise_end, fall_start, butt_support : float
        Stations where the moment leaves zero, is full, begins to fall, is zero. [m]

    Returns
    -------
    moment : float
        Required moment. [N·m]
    """
    rise = (x - tip_support) / (rise_end - tip_support)
    fall = (butt_support - x) / (butt_support - fall_start)
    return moment * max(0.0, min(1.0, rise, fall))


@compiled_lean
def envelope_margin(
    x: Array,
    EI: Array,
    use: Array,
    first: int,
    last: int,
    moment: float,
    tip_support: float,
    rise_end: float,
    fall_start: float,
    butt_support: float,
    more_from: int = 0,
    more_to: int = 0,
) -> float:
    """Least margin of a shaft against a distribution of bending moment.

    Parameters
    ----------
    x, EI : ndarray, shape (n_x_max,)
        Stations, and bending stiffness. [m, N·m²]
    use : ndarray, shape (n_x_max,)
        Inverse of the curvature that the section bears. [m]
    first, last : int
        Range of points. [-]
    moment, tip_support, rise_end, fall_start, butt_support : float
        As in ``envelope_moment``. [N·m, m]
    more_from, more_to : int
        A second range, its end left out. [-]

    Returns
    -------
    margin : float
        Borne over required moment, less one; NaN if no moment is required. [-]
    """
    most = 0.0
    for i in range(first, last + 1 + more_to - more_from):
        p = i if i <= last else more_from + i - last - 1
        required = envelope_moment(
            x[p], moment, tip_support, rise_end, fall_start, butt_support
        )
        most = max(most, use[p] * required / EI[p])
    return 1.0 / most - 1.0 if most > 0.0 else np.nan


@compiled_lean
def bending_field(
    hoop: Array, hoop_slope: Array, shear: Array, n_x: int, field: Array
) -> None:
    """Strains of the wall under unit curvature.

    Parameters
    ----------
    hoop, hoop_slope, shear : ndarray, shape (n_x_max,)
        Under unit curvature the hoop strain is hoop + hoop_slope·r; the shear
        strain. [m, -, m]
    n_x : int
        Number of points. [-]
    field : ndarray, shape (6, n_x_max)
        Strains, written. [m, -]
    """
    for p in range(n_x):
        field[AXIAL, p] = 0.0
        field[AXIAL_PER_RADIUS, p] = 1.0
        field[HOOP, p] = hoop[p]
        field[HOOP_PER_RADIUS, p] = hoop_slope[p]
        field[SHEAR, p] = shear[p]
        field[SHEAR_PER_RADIUS, p] = 0.0


@compiled_lean
def torsion_field(
    sums: Array, GJ: Array, n_x: int, coupled: bool, field: Array
) -> None:
    """Strains of the wall under unit torque, free to stretch.

    Parameters
    ----------
    sums : ndarray, shape (n_sums, n_x_max)
        Ring sums; those with shear coupling only if coupled. [Pa·m², Pa·m³]
    GJ : ndarray, shape (n_x_max,)
        Torsional stiffness. [N·m²]
    n_x : int
        Number of points. [-]
    coupled : bool
        Whether any ring couples shear to stretch. [-]
    field : ndarray, shape (6, n_x_max)
        Strains, written. [1/(N·m), 1/(N·m²)]
    """
    for p in range(n_x):
        field[AXIAL, p] = 0.0
        field[AXIAL_PER_RADIUS, p] = 0.0
        field[HOOP, p] = 0.0
        field[HOOP_PER_RADIUS, p] = 0.0
        field[SHEAR, p] = 0.0
        field[SHEAR_PER_RADIUS, p] = 1.0 / GJ[p]
    if coupled:
        for p in range(n_x):
            a, b, d = sums[A2_11, p], sums[A2_12, p], sums[A2_22, p]
            rate = field[SHEAR_PER_RADIUS, p] / (a * d - b * b)
            field[AXIAL, p] = -rate * (d * sums[A3_16, p] - b * sums[A3_26, p])
            field[HOOP, p] = -rate * (a * sums[A3_26, p] - b * sums[A3_16, p])


@compiled_lean
def fibre_use(
    c2: float,
    s2: float,
    cs: float,
    is_pair: bool,
    allowable: float,
    field: Array,
    r_in: Array,
    r_out: Array,
    first: int,
    last: int,
    use: Array,
) -> None:
    """Raise the use of each station to that of one ring's fibres, maximum strain.

    Parameters
    ----------
    c2, s2, cs : float
        cos², sin² and cos·sin of the fibre angle. [-]
    is_pair : bool
        A balanced pair: the mirrored angle occurs too. [-]
    allowable : float
        Least allowable fibre strain; both signs of the load occur. [-]
    field : ndarray, shape (6, n_x_max)
        Strains under a unit load. [1/load]
    r_in, r_out : ndarray, shape (n_x_max,)
        Radii of the ring; a ring without thickness has no fibre. [m]
    first, last : int
        Range of points that the ring covers. [-]
    use : ndarray, shape (n_x_max,)
        Inverse of the load at failure, raised in place. [1/load]
    """
    share = 1.0 / allowable
    axial, axial_slope, hoop = field[AXIAL], field[AXIAL_PER_RADIUS], field[HOOP]
    shear, shear_slope = field[SHEAR], field[SHEAR_PER_RADIUS]
    hoop_slope = field[HOOP_PER_RADIUS]
    for p in range(np.uint64(first), np.uint64(last + 1)):
        r = r_out[p]
        straight = c2 * axial[p] + s2 * hoop[p]
        straight += (c2 * axial_slope[p] + s2 * hoop_slope[p]) * r
        skewed = cs * (shear[p] + shear_slope[p] * r)
        strain = abs(straight) + abs(skewed) if is_pair else abs(straight + skewed)
        new = strain * share if r > r_in[p] else 0.0
        use[p] = new if new > use[p] else use[p]


@compiled_lean
def shear_use(
    c2: float,
    s2: float,
    cs: float,
    is_pair: bool,
    allowable: float,
    field: Array,
    radius: Array,
    r_in: Array,
    r_out: Array,
    first: int,
    last: int,
    use: Array,
) -> None:
    """Lower the use of each station to that of one ring's matrix in shear.

    What is left when all rings are through is the use of the ply whose matrix resists
    shear longest, taken at the outside of the wall.

    Parameters
    ----------
    c2, s2, cs : float
        cos², sin² and cos·sin of the fibre angle. [-]
    is_pair : bool
        A balanced pair: the mirrored angle occurs too. [-]
    allowable : float
        Allowable engineering shear strain. [-]
    field : ndarray, shape (6, n_x_max)
        Strains under a unit load. [1/load]
    radius : ndarray, shape (n_x_max,)
        Outer radius of the wall. [m]
    r_in, r_out : ndarray, shape (n_x_max,)
        Radii of the ring; one without thickness resists nothing. [m]
    first, last : int
        Range of points that the ring covers. [-]
    use : ndarray, shape (n_x_max,)
        Inverse of the load at failure, lowered in place. [1/load]
    """
    share = 1.0 / allowable
    axial, axial_slope, hoop = field[AXIAL], field[AXIAL_PER_RADIUS], field[HOOP]
    shear, shear_slope = field[SHEAR], field[SHEAR_PER_RADIUS]
    hoop_slope = field[HOOP_PER_RADIUS]
    for p in range(first, last + 1):
        r = radius[p]
        straight = hoop[p] - axial[p] + (hoop_slope[p] - axial_slope[p]) * r
        straight *= 2.0 * cs
        skewed = (c2 - s2) * (shear[p] + shear_slope[p] * r)
        # of a pair, the ply that is strained less
        other = abs(straight - skewed) if is_pair else np.inf
        strain = min(abs(straight + skewed), other)
        new = strain * share if r_out[p] > r_in[p] else np.inf
        use[p] = new if new < use[p] else use[p]


@compiled_lean
def torsion_test(
    x: Array,
    GJ: Array,
    use: Array,
    n_x: int,
    tip_grip: float,
    butt_grip: float,
    n_more: int = 0,
) -> tuple[float, float]:
    """Break a shaft in torsion between two grips.

    Parameters
    ----------
    x, GJ : ndarray, shape (n_x_max,)
        Stations, and torsional stiffness. [m, N·m²]
    use : ndarray, shape (n_x_max,)
        Inverse of the torque that each station bears. [1/(N·m)]
    n_x : int
        Number of points. [-]
    tip_grip, butt_grip : float
        Stations where the grips begin. [m]
    n_more : int
        Stations behind the points, in any order, that only have a use. [-]

    Returns
    -------
    torque : float
        Breaking torque of the weakest station. [N·m]
    product : float
        Breaking torque times the twist between the grips at it. [N·m·rad]
    """
    most = 0.0
    compliance = 0.0
    for p in range(n_x - 1):
        if tip_grip <= x[p] <= butt_grip:
            most = max(most, use[p])
        low, high = max(x[p], tip_grip), min(x[p + 1], butt_grip)
        if high > low:
            soft = 1.0 / GJ[p]
            slope = (1.0 / GJ[p + 1] - soft) / (x[p + 1] - x[p])
            compliance += (high - low) * (soft + slope * ((low + high) / 2.0 - x[p]))
    for p in range(n_x - 1, n_x + n_more):
        if tip_grip <= x[p] <= butt_grip:
            most = max(most, use[p])
    torque = 1.0 / most
    return torque, torque * torque * compliance


@compiled_lean
def ply_use(
    limits: Array,
    c2: float,
    s2: float,
    cs: float,
    is_pair: bool,
    quadratic: bool,
    field: Array,
    free: Array,
    r_in: Array,
    r_out: Array,
    first: int,
    last: int,
    use: Array,
) -> None:
    """Raise the use of each station to that of one ring, any criterion, with cooling.

    Parameters
    ----------
    limits : ndarray, shape (17,)
        Row of ``ply_limits``. [SI]
    c2, s2, cs : float
        cos², sin² and cos·sin of the fibre angle. [-]
    is_pair : bool
        A balanced pair: the mirrored angle occurs too. [-]
    quadratic : bool
        The quadratic criterion gates, else maximum strain of the fibres. [-]
    field : ndarray, shape (6, n_x_max)
        Strains under a unit load. [1/load]
    free : ndarray, shape (3, n_x_max)
        Axial, hoop and shear strain of the wall from cooling. [-]
    r_in, r_out : ndarray, shape (n_x_max,)
        Radii of the ring; a ring without thickness does not fail. [m]
    first, last : int
        Range of points that the ring covers. [-]
    use : ndarray, shape (n_x_max,)
        Inverse of the load at failure, raised in place; inf if cooling alone breaks
        the ply. [1/load]
    """
    tension, compression = limits[TENSION], limits[COMPRESSION]
    for p in range(first, last + 1):
        r = r_out[p]
        if r <= r_in[p]:
            continue
        axial = field[AXIAL, p] + field[AXIAL_PER_RADIUS, p] * r
        hoop = field[HOOP, p] + field[HOOP_PER_RADIUS, p] * r
        shear = field[SHEAR, p] + field[SHEAR_PER_RADIUS, p] * r
        sides = 2 if is_pair and (shear != 0.0 or free[2, p] != 0.0) else 1
        for side in range(sides):
            skew = cs if side == 0 else -cs
            along, across, sheared = ply_strains(c2, s2, skew, axial, hoop, shear)
            along_there, across_there, sheared_there = ply_strains(
                c2, s2, skew, free[0, p], free[1, p], free[2, p]
            )
            along_there += limits[SHRINK_ALONG]
            across_there += limits[SHRINK_ACROSS]
            if quadratic:
                new = quadratic_use(
                    limits,
                    along,
                    across,
                    sheared,
                    along_there,
                    across_there,
                    sheared_there,
                    True,
                )
            else:
                new = max(
                    strain_use(tension, compression, along, along_there),
                    strain_use(tension, compression, -along, along_there),
                )
            use[p] = max(use[p], new)
