"""A thin wall bent round its hoop: flattening of a bent tube, crushing of a ring.

The wall bends in the hoop direction as a flat plate of stiffness D22 about its neutral
radius, axial and shear strain held. Radial shear and the difference between inner and
outer arc are left out. Against plane elasticity the hoop strain of crushed rings is
then within 4 % at a wall of an eighth of the radius and 6 % at a half. They shorten
2 % too little at an eighth, 14 % with hoop plies on both faces of the wall, and thick
tips by half of what they should.
"""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.compilation import compiled_lean
from model.failure import (
    COMPRESSION,
    NO_MODE,
    SHEARED,
    SHRINK_ACROSS,
    SHRINK_ALONG,
    TENSION,
    TRANSVERSE,
    TRANSVERSE_PRESSED,
    ply_strains,
    ply_uses,
    quadratic_use,
    strain_use,
)

Array = NDArray[np.float64]

#: Rows of the hoop table; the first three are sums over the rings.
N_HOOP = 8
(
    STRETCH,  #: ∫ Q22 dr [Pa·m]
    FIRST,  #: ∫ Q22 r dr [Pa·m²]
    SECOND,  #: ∫ Q22 r² dr [Pa·m³]
    D22,  #: hoop bending stiffness about the neutral radius [N·m]
    NEUTRAL,  #: neutral radius [m]
    UNDER,  #: crushing: change of hoop curvature under the load [1/(N·m)]
    BESIDE,  #: the same, of the other sign, a quarter of the ring away [1/(N·m)]
    PUSH,  #: crushing: hoop strain there from the push of the load [1/N]
) = range(N_HOOP)

#: Moment that flattens a tube over √(EI·D22/r): 2/3·√(8π/3).
FLATTENING_FACTOR: Final = 2.0 / 3.0 * math.sqrt(8.0 * math.pi / 3.0)
#: Ring under a load on its diameter: moment under the load and beside it, over load
#: times radius; shortening of the diameter over load times radius³ over stiffness.
MOMENT_UNDER: Final = 1.0 / math.pi
MOMENT_BESIDE: Final = 0.5 - 1.0 / math.pi
SHORTENING: Final = math.pi / 4.0 - 2.0 / math.pi


@compiled_lean
def add_hoop(
    q22: float, r_in: Array, r_out: Array, first: int, last: int, hoop: Array
) -> None:
    """Add one ring to the sums for bending in the hoop direction.

    Parameters
    ----------
    q22 : float
        Hoop stiffness of the ring. [Pa]
    r_in, r_out : ndarray, shape (n_x_max,)
        Its radii. [m]
    first, last : int
        Range of points that it covers. [-]
    hoop : ndarray, shape (8, n_x_max)
        Rows STRETCH, FIRST and SECOND, added to. [Pa·m, Pa·m², Pa·m³]
    """
    stretch, moment, second = hoop[STRETCH], hoop[FIRST], hoop[SECOND]
    for p in range(first, last + 1):
        a, b = r_in[p], r_out[p]
        stretch[p] += q22 * (b - a)
        moment[p] += q22 * ((b * b - a * a) * (1.0 / 2.0))
        second[p] += q22 * ((b * b * b - a * a * a) * (1.0 / 3.0))


@compiled_lean
def close_hoop(n_x: int, width: float, hoop: Array) -> None:
    """Hoop bending stiffness, and how a ring bends under unit load on its diameter.

    Parameters
    ----------
    n_x : int
        Number of points. [-]
    width : float
        Width of a ring that is crushed. [m]
    hoop : ndarray, shape (8, n_x_max)
        Sums are read, the other rows written. [SI]
    """
    for p in range(n_x):
        stretch, first, second = hoop[STRETCH, p], hoop[FIRST, p], hoop[SECOND, p]
        neutral = first / stretch
        bending = second - first * neutral
        per_load = neutral / (bending * width)
        hoop[D22, p] = bending
        hoop[NEUTRAL, p] = neutral
        hoop[UNDER, p] = MOMENT_UNDER * per_load
        hoop[BESIDE, p] = MOMENT_BESIDE * per_load
        hoop[PUSH, p] = 0.5 / (stretch * width)


@compiled_lean
def flattening_moment(EI: float, D22: float, radius: float) -> float:
    """Bending moment at which a long tube flattens and collapses.

    Parameters
    ----------
    EI : float
        Bending stiffness of the round tube. [N·m²]
    D22 : float
        Hoop bending stiffness of the wall. [N·m]
    radius : float
        Radius of the wall. [m]

    Returns
    -------
    moment : float
        Largest bending moment. [N·m]

    Notes
    -----
    Brazier's estimate, in which the flattened share of the radius is 2/9 at the
    largest moment. With Ax the axial stiffness of the wall per circumference, hoop
    free, and EI = π r³ Ax of a thin tube it is 3.420 r √(Ax D22). Ends and loads that
    keep the section round are left out, so short spans bear more; a load that presses
    on the wall is left out too, and there they bear less.

    References
    ----------
    .. [1] L. G. Brazier, On the flexure of thin cylindrical shells and other "thin"
       sections, Proc. R. Soc. Lond. A 116, 1927.
    """
    return FLATTENING_FACTOR * float(np.sqrt(EI * D22 / radius))


@compiled_lean
def flattening_use(EI: Array, hoop: Array, n_x: int, use: Array) -> None:
    """EI of the round tube over the moment at which each station flattens.

    Parameters
    ----------
    EI : ndarray, shape (n_x_max,)
        Bending stiffness. [N·m²]
    hoop : ndarray, shape (8, n_x_max)
        Hoop table. [SI]
    n_x : int
        Number of points. [-]
    use : ndarray, shape (n_x_max,)
        EI over flattening moment, written. [m]
    """
    for p in range(n_x):
        use[p] = EI[p] / flattening_moment(EI[p], hoop[D22, p], hoop[NEUTRAL, p])


def ring_shortening(load: float, radius: float, D22: float, width: float) -> float:
    """How much a diameter of a ring shortens under a load along it.

    Parameters
    ----------
    load : float
        Force. [N]
    radius : float
        Radius of the wall. [m]
    D22 : float
        Hoop bending stiffness of the wall. [N·m]
    width : float
        Width of the ring. [m]

    Returns
    -------
    shortening : float
        Of the loaded diameter. [m]

    Examples
    --------
    A steel ring of 100 mm radius, 5 mm thick, 10 mm wide, under 10 N:

    >>> print(f"{1e6 * ring_shortening(10.0, 0.1, 200e9 * 5e-3**3 / 12, 0.01):.3f} µm")
    71.414 µm
    """
    return SHORTENING * load * radius**3 / (D22 * width)


@compiled_lean
def crush_use(
    limits: Array,
    c2: float,
    s2: float,
    cs: float,
    hoop: Array,
    r_in: Array,
    r_out: Array,
    first: int,
    last: int,
    use: Array,
) -> None:
    """Raise the use of each station to that of one ring, crushed; maximum strain.

    Under the load the inside of the ring is in tension, a quarter away the outside.

    Parameters
    ----------
    limits : ndarray, shape (17,)
        Row of ``ply_limits``. [SI]
    c2, s2, cs : float
        cos², sin² and cos·sin of the fibre angle. [-]
    hoop : ndarray, shape (8, n_x_max)
        Hoop table. [SI]
    r_in, r_out : ndarray, shape (n_x_max,)
        Radii of the ring; one without thickness does not fail. [m]
    first, last : int
        Range of points that it covers. [-]
    use : ndarray, shape (n_x_max,)
        Inverse of the load that fails the first ply, raised in place. [1/N]
    """
    of_shear = 2.0 * abs(cs) / limits[SHEARED]
    of_tension = max(s2 / limits[TENSION], c2 / limits[TRANSVERSE], of_shear)
    of_compression = max(
        s2 / limits[COMPRESSION], c2 / limits[TRANSVERSE_PRESSED], of_shear
    )
    neutral, under, beside, push = hoop[NEUTRAL], hoop[UNDER], hoop[BESIDE], hoop[PUSH]
    for p in range(first, last + 1):
        inside, outside = r_in[p] - neutral[p], r_out[p] - neutral[p]
        stretched = max(-under[p] * inside, beside[p] * outside - push[p])
        pressed = max(under[p] * outside, push[p] - beside[p] * inside)
        new = max(stretched * of_tension, pressed * of_compression)
        if r_out[p] <= r_in[p]:
            new = 0.0
        use[p] = new if new > use[p] else use[p]


@compiled_lean
def crush_strains(hoop: Array, r: float) -> tuple[float, float]:
    """Hoop strains of a ring under unit load on its diameter.

    Parameters
    ----------
    hoop : ndarray, shape (8,)
        Column of the hoop table. [SI]
    r : float
        Radius. [m]

    Returns
    -------
    under, beside : float
        Under the load, and a quarter of the ring away from it. [1/N]
    """
    arm = r - hoop[NEUTRAL]
    return -hoop[UNDER] * arm, hoop[BESIDE] * arm - hoop[PUSH]


@compiled_lean
def crush_loads(
    limits: Array,
    c2: float,
    s2: float,
    cs: float,
    is_pair: bool,
    hoop: Array,
    r_in: float,
    r_out: float,
    free: Array,
) -> tuple[float, int, float, int, float, int]:
    """Loads on the diameter at which one ring fails at one point.

    Parameters
    ----------
    limits : ndarray, shape (17,)
        Row of ``ply_limits``. [SI]
    c2, s2, cs : float
        cos², sin² and cos·sin of the fibre angle. [-]
    is_pair : bool
        A balanced pair: the mirrored angle occurs too. [-]
    hoop : ndarray, shape (8,)
        Column of the hoop table. [SI]
    r_in, r_out : float
        Radii of the ring. [m]
    free : ndarray, shape (3,)
        Axial, hoop and shear strain of the wall from cooling. [-]

    Returns
    -------
    fibre, fibre_mode : float, int
        Load at which the fibres fail; inf if they never do. [N]
    crack, crack_mode : float, int
        The same for cracks along the fibres. [N]
    quadratic, quadratic_mode : float, int
        The same for the quadratic criterion; the mode is its largest term. [N]
    """
    fibre, crack, quadratic = 0.0, 0.0, 0.0
    fibre_mode, crack_mode, quadratic_mode = NO_MODE, NO_MODE, NO_MODE
    for side in range(2 if is_pair and free[2] != 0.0 else 1):
        skew = cs if side == 0 else -cs
        along_there, across_there, sheared_there = ply_strains(
            c2, s2, skew, free[0], free[1], free[2]
        )
        along_there += limits[SHRINK_ALONG]
        across_there += limits[SHRINK_ACROSS]
        for r in (r_in, r_out):
            for strain in crush_strains(hoop, r):
                along, across, sheared = ply_strains(c2, s2, skew, 0.0, strain, 0.0)
                f, f_mode, c, c_mode, q, q_mode = ply_uses(
                    limits,
                    along,
                    across,
                    sheared,
                    along_there,
                    across_there,
                    sheared_there,
                )
                if f > fibre:
                    fibre, fibre_mode = f, f_mode
                if c > crack:
                    crack, crack_mode = c, c_mode
                if q > quadratic:
                    quadratic, quadratic_mode = q, q_mode
    return (
        1.0 / fibre,
        fibre_mode,
        1.0 / crack,
        crack_mode,
        1.0 / quadratic,
        quadratic_mode,
    )


@compiled_lean
def crush_ply_use(
    limits: Array,
    c2: float,
    s2: float,
    cs: float,
    is_pair: bool,
    quadratic: bool,
    hoop: Array,
    free: Array,
    r_in: Array,
    r_out: Array,
    first: int,
    last: int,
    use: Array,
) -> None:
    """Raise the use of each station to that of one ring, crushed; any criterion.

    Parameters
    ----------
    limits : ndarray, shape (17,)
        Row of ``ply_limits``. [SI]
    c2, s2, cs : float
        cos², sin² and cos·sin of the fibre angle. [-]
    is_pair : bool
        A balanced pair: the mirrored angle occurs too. [-]
    quadratic : bool
        The quadratic criterion, else maximum strain. [-]
    hoop : ndarray, shape (8, n_x_max)
        Hoop table. [SI]
    free : ndarray, shape (3, n_x_max)
        Axial, hoop and shear strain of the wall from cooling. [-]
    r_in, r_out : ndarray, shape (n_x_max,)
        Radii of the ring; one without thickness does not fail. [m]
    first, last : int
        Range of points that it covers. [-]
    use : ndarray, shape (n_x_max,)
        Inverse of the load that fails the first ply, raised in place. [1/N]
    """
    for p in range(first, last + 1):
        if r_out[p] <= r_in[p]:
            continue
        worst = use[p]
        for side in range(2 if is_pair and free[2, p] != 0.0 else 1):
            skew = cs if side == 0 else -cs
            along_there, across_there, sheared_there = ply_strains(
                c2, s2, skew, free[0, p], free[1, p], free[2, p]
            )
            along_there += limits[SHRINK_ALONG]
            across_there += limits[SHRINK_ACROSS]
            for r in (r_in[p], r_out[p]):
                for strain in crush_strains(hoop[:, p], r):
                    along, across = s2 * strain, c2 * strain
                    sheared = 2.0 * skew * strain
                    if quadratic:
                        new = quadratic_use(
                            limits,
                            along,
                            across,
                            sheared,
                            along_there,
                            across_there,
                            sheared_there,
                            False,
                        )
                    else:
                        new = max(
                            strain_use(
                                limits[TENSION],
                                limits[COMPRESSION],
                                along,
                                along_there,
                            ),
                            strain_use(
                                limits[TRANSVERSE],
                                limits[TRANSVERSE_PRESSED],
                                across,
                                across_there,
                            ),
                            strain_use(
                                limits[SHEARED],
                                limits[SHEARED],
                                sheared,
                                sheared_there,
                            ),
                        )
                    worst = max(worst, new)
        use[p] = worst
