"""Stiffness of a layered circular tube; knows nothing of golf.

Axes are axial, hoop, shear; engineering shear strain throughout. A balanced bias pair
is one ring whose two shear couplings vanish.

In bending a balanced wall is, exactly, one function of the radius: s(r), the hoop
strain under unit curvature, which minimises the sum over rings of

    ∫ [Q11 r² + 2 Q12 r s + Q22 s² + G (r s' + q s + p r)²] r dr

with p = C13/C33, q = C23/C33 of the ring as a solid, 1/G = 1/C44 + 1/C33: a hoop strain
that differs from layer to layer shears the wall and squeezes it, which resin resists
little. Here s is taken linear in r. In torsion the two plies of a pair pull hoopwise in
opposite senses turn by turn and squeeze each other, which costs some of GJ.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.compilation import compiled_lean
from model.errors import ModelRangeError
from model.solid import rotated_solid, solid_stiffness

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Rows of the ring sums: A2 is the sum of Q (r_out² - r_in²)/2, A3 and A4 likewise;
#: the first six likewise of the bending terms. A4_66 is less what a pair's plies lose.
(
    BENT,
    LOAD_0,
    LOAD_1,
    HOOP_00,
    HOOP_01,
    HOOP_11,
    A4_66,
    A2_66,
    A3_16,
    A2_26,
    A2_22,
    A2_11,
    A2_12,
    A2_16,
    A3_26,
) = range(15)
N_SUMS = 15

#: Columns of a ring's stiffness: plane stress, then what bending and twist need of the
#: ring as a solid.
N_STIFFNESS = 13
Q11, Q12, Q22, Q66, Q16, Q26, B, B0, B1, B00, B01, B11, LOSS = range(N_STIFFNESS)


class Section(NamedTuple):
    """Stiffness of a tube at its stations."""

    EI: Array  #: bending [N·m²]
    GJ: Array  #: torsion, free to stretch [N·m²]
    EA: Array  #: tension, held against twist [N]
    kGA: Array  #: transverse shear [N]


def plane_stiffness(
    E1: float, E2: float, G12: float, nu12: float
) -> tuple[float, float, float, float]:
    """Plane-stress stiffness of a ply in its own axes.

    Parameters
    ----------
    E1, E2 : float
        Moduli along and across the fibres. [Pa]
    G12 : float
        Shear modulus. [Pa]
    nu12 : float
        Poisson's ratio for stress along the fibres. [-]

    Returns
    -------
    Q11, Q12, Q22, Q66 : float
        Stiffness. [Pa]

    References
    ----------
    .. [1] A. K. Kaw, Mechanics of Composite Materials, 2nd ed., 2006, section 2.4.

    Examples
    --------
    >>> [round(q / 1e9, 3) for q in plane_stiffness(181e9, 10.3e9, 7.17e9, 0.28)]
    [181.811, 2.897, 10.346, 7.17]
    """
    nu21 = nu12 * E2 / E1
    share = 1.0 - nu12 * nu21
    return E1 / share, nu12 * E2 / share, E2 / share, G12


def rotated_stiffness(
    Q: tuple[float, float, float, float], angle: float, *, is_pair: bool = False
) -> Array:
    """Stiffness of a ply whose fibres stand at an angle to the tube's axis.

    Parameters
    ----------
    Q : tuple of float
        Q11, Q12, Q22, Q66 in the ply's axes. [Pa]
    angle : float
        From the axis to the fibres. [rad]
    is_pair : bool
        A balanced pair of +angle and -angle: no shear coupling. [-]

    Returns
    -------
    Q : ndarray, shape (6,)
        11, 12, 22, 66, 16, 26 in the tube's axes. [Pa]

    References
    ----------
    .. [1] A. K. Kaw, Mechanics of Composite Materials, 2nd ed., 2006, section 2.6.

    Examples
    --------
    >>> Q = plane_stiffness(181e9, 10.3e9, 7.17e9, 0.28)
    >>> [round(float(q) / 1e9, 2) for q in rotated_stiffness(Q, np.pi / 3)]
    [23.65, 32.46, 109.38, 36.74, 20.05, 54.19]
    """
    q11, q12, q22, q66 = Q
    c, s = np.cos(angle), np.sin(angle)
    c2, s2 = c * c, s * s
    mixed = q12 + 2.0 * q66
    out = np.array(
        [
            q11 * c2 * c2 + q22 * s2 * s2 + 2.0 * mixed * s2 * c2,
            (q11 + q22 - 4.0 * q66) * s2 * c2 + q12 * (c2 * c2 + s2 * s2),
            q11 * s2 * s2 + q22 * c2 * c2 + 2.0 * mixed * s2 * c2,
            (q11 + q22 - 2.0 * q12 - 2.0 * q66) * s2 * c2 + q66 * (c2 * c2 + s2 * s2),
            (q11 - q12 - 2.0 * q66) * s * c * c2 - (q22 - q12 - 2.0 * q66) * s * s2 * c,
            (q11 - q12 - 2.0 * q66) * s * s2 * c - (q22 - q12 - 2.0 * q66) * s * c * c2,
        ]
    )
    # straight and hoop plies couple by rounding alone
    if is_pair or abs(np.sin(2.0 * angle)) < 1e-12:
        out[[Q16, Q26]] = 0.0
    return out


def ring_stiffness(
    E1: float,
    E2: float,
    G12: float,
    nu12: float,
    angle: float,
    *,
    is_pair: bool = False,
    thickness: float = 0.0,
) -> Array:
    """Stiffness of a ring as the section needs it.

    Parameters
    ----------
    E1, E2 : float
        Moduli along and across the fibres. [Pa]
    G12 : float
        Shear modulus. [Pa]
    nu12 : float
        Poisson's ratio for stress along the fibres. [-]
    angle : float
        From the axis to the fibres. [rad]
    is_pair : bool
        A balanced pair of +angle and -angle: no shear coupling. [-]
    thickness : float
        Of one ply of a pair; 0 for plies without end thin. [m]

    Returns
    -------
    stiffness : ndarray, shape (13,)
        Plane stress as by ``rotated_stiffness``; six bending terms; what a pair loses
        in torsion. [Pa, Pa·m²]
    """
    Q = rotated_stiffness(plane_stiffness(E1, E2, G12, nu12), angle, is_pair=is_pair)
    solid = rotated_solid(solid_stiffness(E1, E2, G12, nu12), angle)
    radial = solid[2, 2]
    p, q = solid[0, 2] / radial, solid[1, 2] / radial
    G = 1.0 / (1.0 / solid[3, 3] + 1.0 / radial)
    bending = [
        Q[Q11] + G * p * p,
        Q[Q12] + G * p * q,
        Q[Q12] + G * p * (1.0 + q),
        Q[Q22] + G * q * q,
        Q[Q22] + G * q * (1.0 + q),
        Q[Q22] + G * (1.0 + q) ** 2,
    ]
    # hoop stress ±Q26 τr in turn builds up radial stress, Q26 τ times the thickness,
    # and takes it back: on the mean a third of its square over the radial stiffness
    pull = solid[1, 5] - q * solid[2, 5]
    loss = (pull * thickness) ** 2 / (3.0 * radial) if is_pair else 0.0
    return np.array([*Q, *bending, loss])


@compiled_lean
def add_ring(
    Q: Array,
    r_in: Array,
    r_out: Array,
    first: int,
    last: int,
    sums: Array,
    coupled: bool,
) -> None:
    """Add one ring to the ring sums.

    Parameters
    ----------
    Q : ndarray, shape (13,)
        Stiffness of the ring, as by ``ring_stiffness``. [Pa, Pa·m²]
    r_in, r_out : ndarray, shape (n_x_max,)
        Its radii. [m]
    first, last : int
        Range of points that it covers. [-]
    sums : ndarray, shape (15, n_x_max)
        Ring sums, added to. [Pa·m², Pa·m³, Pa·m⁴]
    coupled : bool
        Whether any ring of the tube couples shear to stretch, so that all sums are
        needed; else the first eight suffice. [-]
    """
    bent, load_0, load_1 = sums[BENT], sums[LOAD_0], sums[LOAD_1]
    hoop_00, hoop_01, hoop_11 = sums[HOOP_00], sums[HOOP_01], sums[HOOP_11]
    s466, s266 = sums[A4_66], sums[A2_66]
    b, b0, b1, b00, b01, b11 = Q[B], Q[B0], Q[B1], Q[B00], Q[B01], Q[B11]
    q66, loss = Q[Q66], Q[LOSS]
    for i in range(np.uint64(first), np.uint64(last + 1)):
        r = r_in[i]
        R = r_out[i]
        r2 = r * r
        R2 = R * R
        d2 = (R2 - r2) * (1.0 / 2.0)
        d3 = (R2 * R - r2 * r) * (1.0 / 3.0)
        d4 = (R2 + r2) * d2 * 0.5
        bent[i] += b * d4
        load_0[i] += b0 * d3
        load_1[i] += b1 * d4
        hoop_00[i] += b00 * d2
        hoop_01[i] += b01 * d3
        hoop_11[i] += b11 * d4
        s466[i] += q66 * d4 - loss * d2
        s266[i] += q66 * d2
    if coupled:
        q11, q12, q22, q16, q26 = Q[Q11], Q[Q12], Q[Q22], Q[Q16], Q[Q26]
        for i in range(np.uint64(first), np.uint64(last + 1)):
            r = r_in[i]
            R = r_out[i]
            d2 = (R**2 - r**2) / 2.0
            d3 = (R**3 - r**3) / 3.0
            sums[A3_16, i] += q16 * d3
            sums[A2_26, i] += q26 * d2
            sums[A2_22, i] += q22 * d2
            sums[A2_11, i] += q11 * d2
            sums[A2_12, i] += q12 * d2
            sums[A2_16, i] += q16 * d2
            sums[A3_26, i] += q26 * d3


@compiled_lean
def close_section(
    sums: Array,
    n_x: int,
    coupled: bool,
    EI: Array,
    GJ: Array,
    hoop: Array,
    hoop_axis: Array,
    hoop_slope: Array,
    shear: Array,
) -> None:
    """Stiffness of the tube from its ring sums.

    Parameters
    ----------
    sums : ndarray, shape (15, n_x_max)
        Ring sums. [Pa·m², Pa·m³, Pa·m⁴]
    n_x : int
        Number of points. [-]
    coupled : bool
        Whether any ring couples shear to stretch. [-]
    EI, GJ : ndarray, shape (n_x_max,)
        Bending and torsional stiffness, written. [N·m²]
    hoop, hoop_axis, hoop_slope, shear : ndarray, shape (n_x_max,)
        Strains under unit curvature, written: hoop strain of the wall as a whole; at
        radius r it is hoop_axis + hoop_slope·r; shear strain. [m, m, -, m]
    """
    if not coupled:
        for i in range(n_x):
            share = 1.0 / sums[HOOP_00, i]
            r = sums[HOOP_01, i] * share
            h = -sums[LOAD_0, i] * share
            rest = sums[LOAD_1, i] + sums[HOOP_01, i] * h
            slope = -rest / (sums[HOOP_11, i] - sums[HOOP_01, i] * r)
            hoop[i] = h
            hoop_slope[i] = slope
            hoop_axis[i] = h - slope * r
            shear[i] = 0.0
            EI[i] = np.pi * (sums[BENT, i] + sums[LOAD_0, i] * h + rest * slope)
            GJ[i] = 2.0 * np.pi * sums[A4_66, i]
        return
    for i in range(n_x):
        # the shear strain first
        g, c0, c1, f2 = sums[A2_66, i], sums[A2_26, i], sums[A3_26, i], sums[A3_16, i]
        f0 = sums[LOAD_0, i] - c0 * f2 / g
        k01 = sums[HOOP_01, i] - c0 * c1 / g
        k00 = sums[HOOP_00, i] - c0 * c0 / g
        r = k01 / k00
        h = -f0 / k00
        rest = sums[LOAD_1, i] - c1 * f2 / g + k01 * h
        slope = -rest / (sums[HOOP_11, i] - c1 * c1 / g - k01 * r)
        hoop[i] = h
        hoop_slope[i] = slope
        hoop_axis[i] = h - slope * r
        shear[i] = -(f2 + c0 * hoop_axis[i] + c1 * slope) / g
        EI[i] = np.pi * (sums[BENT, i] - f2 * f2 / g + f0 * h + rest * slope)
        det = sums[A2_11, i] * sums[A2_22, i] - sums[A2_12, i] ** 2
        b1, b2 = sums[A3_16, i], sums[A3_26, i]
        saved = (
            sums[A2_22, i] * b1 * b1
            - 2.0 * sums[A2_12, i] * b1 * b2
            + sums[A2_11, i] * b2 * b2
        ) / det
        GJ[i] = 2.0 * np.pi * (sums[A4_66, i] - saved)


def tube_section(Q: ArrayLike, r_in: ArrayLike, r_out: ArrayLike) -> Section:
    """Stiffness of a layered circular tube.

    Parameters
    ----------
    Q : array_like, shape (n_ring, 13)
        Stiffness of each ring, as by ``ring_stiffness``. [Pa, Pa·m²]
    r_in, r_out : array_like, shape (n_ring, n_x)
        Inner and outer radius of each ring at each station. [m]

    Returns
    -------
    section : Section
        EI, GJ, EA, kGA, each of shape (n_x,). [N·m², N]

    Raises
    ------
    ModelRangeError
        If a ring has a negative thickness, or no ring has any at some station.

    Notes
    -----
    Least strain energy of the wall: in bending the axial strain is κr, the hoop strain
    linear in the radius, the shear strain common to all rings; in torsion the shear
    strain is τr and the axial and hoop strains are common. Against three-dimensional
    elasticity EI is off by 0.02 %, GJ by 0.003 % in the median of random walls;
    ``tests/benchmarks/section_errors.py`` has the worst.

    Examples
    --------
    An isotropic tube is exact.

    >>> E, nu = 70e9, 0.3
    >>> Q = ring_stiffness(E, E, E / 2 / (1 + nu), nu, 0.0)
    >>> section = tube_section([Q], [[5.5e-3]], [[6.5e-3]])
    >>> round(float(section.EI[0] / (E * np.pi / 4 * (6.5e-3**4 - 5.5e-3**4))), 9)
    1.0
    """
    stiffness = np.atleast_2d(np.asarray(Q, dtype=float))
    inner = np.atleast_2d(np.asarray(r_in, dtype=float))
    outer = np.atleast_2d(np.asarray(r_out, dtype=float))
    if np.any(outer < inner):
        raise ModelRangeError("a ring's outer radius is below its inner radius")
    n_ring, n_x = inner.shape
    if not np.all(np.any(outer > inner, axis=0)):
        raise ModelRangeError("no ring has any thickness at some station")
    sums = np.zeros((N_SUMS, n_x))
    for k in range(n_ring):
        add_ring(stiffness[k], inner[k], outer[k], 0, n_x - 1, sums, True)
    EI, GJ, *strains = np.zeros((6, n_x))
    close_section(sums, n_x, True, EI, GJ, *strains)
    EA = 2.0 * np.pi * (sums[A2_11] - sums[A2_12] ** 2 / sums[A2_22])
    return Section(EI, GJ, EA, np.pi * sums[A2_66])
