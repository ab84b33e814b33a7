"""Stiffness of a layered circular tube; knows nothing of golf.

Axes are axial, hoop, shear; engineering shear strain throughout. A balanced bias pair
is one ring whose two shear couplings vanish.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.compilation import compiled
from model.errors import ModelRangeError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Rows of the ring sums: A2 is the sum of Q (r_out² - r_in²)/2, A3 and A4 likewise.
N_SUMS = 12
(
    A4_11,
    A3_12,
    A2_22,
    A4_66,
    A2_66,
    A3_16,
    A2_26,
    A2_11,
    A2_12,
    A2_16,
    A3_26,
    A4_16,
) = range(N_SUMS)

#: Columns of a ring's stiffness.
Q11, Q12, Q22, Q66, Q16, Q26 = range(6)


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
    if is_pair:
        out[[Q16, Q26]] = 0.0
    return out


@compiled
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
    Q : ndarray, shape (6,)
        Stiffness of the ring. [Pa]
    r_in, r_out : ndarray, shape (n_x_max,)
        Its radii. [m]
    first, last : int
        Range of points that it covers. [-]
    sums : ndarray, shape (12, n_x_max)
        Ring sums, added to. [Pa·m², Pa·m³, Pa·m⁴]
    coupled : bool
        Whether any ring of the tube couples shear to stretch, so that all twelve
        sums are needed; else the first five suffice. [-]
    """
    s411, s312, s222 = sums[A4_11], sums[A3_12], sums[A2_22]
    s466, s266 = sums[A4_66], sums[A2_66]
    q11, q12, q22, q66 = Q[Q11], Q[Q12], Q[Q22], Q[Q66]
    for p in range(first, last + 1):
        a = r_in[p]
        b = r_out[p]
        a2 = a * a
        b2 = b * b
        d2 = (b2 - a2) * (1.0 / 2.0)
        d3 = (b2 * b - a2 * a) * (1.0 / 3.0)
        d4 = (b2 + a2) * d2 * 0.5
        s411[p] += q11 * d4
        s312[p] += q12 * d3
        s222[p] += q22 * d2
        s466[p] += q66 * d4
        s266[p] += q66 * d2
    if coupled:
        q16, q26 = Q[Q16], Q[Q26]
        for p in range(first, last + 1):
            a = r_in[p]
            b = r_out[p]
            d2 = (b**2 - a**2) / 2.0
            d3 = (b**3 - a**3) / 3.0
            d4 = (b**4 - a**4) / 4.0
            sums[A3_16, p] += q16 * d3
            sums[A2_26, p] += q26 * d2
            sums[A2_11, p] += q11 * d2
            sums[A2_12, p] += q12 * d2
            sums[A2_16, p] += q16 * d2
            sums[A3_26, p] += q26 * d3
            sums[A4_16, p] += q16 * d4


@compiled
def close_section(
    sums: Array,
    n_x: int,
    coupled: bool,
    EI: Array,
    GJ: Array,
    hoop: Array,
    shear: Array,
) -> None:
    """Stiffness of the tube from its ring sums.

    Parameters
    ----------
    sums : ndarray, shape (12, n_x_max)
        Ring sums. [Pa·m², Pa·m³, Pa·m⁴]
    n_x : int
        Number of points. [-]
    coupled : bool
        Whether any ring couples shear to stretch. [-]
    EI, GJ : ndarray, shape (n_x_max,)
        Bending and torsional stiffness, written. [N·m²]
    hoop, shear : ndarray, shape (n_x_max,)
        Hoop and shear strain under unit curvature, written. [m]
    """
    if not coupled:
        for p in range(n_x):
            hoop[p] = -sums[A3_12, p] / sums[A2_22, p]
            shear[p] = 0.0
            EI[p] = np.pi * (sums[A4_11, p] + sums[A3_12, p] * hoop[p])
            GJ[p] = 2.0 * np.pi * sums[A4_66, p]
        return
    for p in range(n_x):
        det = sums[A2_22, p] * sums[A2_66, p] - sums[A2_26, p] ** 2
        b1, b2 = sums[A3_12, p], sums[A3_16, p]
        hoop[p] = -(sums[A2_66, p] * b1 - sums[A2_26, p] * b2) / det
        shear[p] = -(sums[A2_22, p] * b2 - sums[A2_26, p] * b1) / det
        EI[p] = np.pi * (sums[A4_11, p] + b1 * hoop[p] + b2 * shear[p])
        det = sums[A2_11, p] * sums[A2_22, p] - sums[A2_12, p] ** 2
        b1, b2 = sums[A3_16, p], sums[A3_26, p]
        saved = (
            sums[A2_22, p] * b1 * b1
            - 2.0 * sums[A2_12, p] * b1 * b2
            + sums[A2_11, p] * b2 * b2
        ) / det
        GJ[p] = 2.0 * np.pi * (sums[A4_66, p] - saved)


def tube_section(Q: ArrayLike, r_in: ArrayLike, r_out: ArrayLike) -> Section:
    """Stiffness of a layered circular tube.

    Parameters
    ----------
    Q : array_like, shape (n_ring, 6)
        Plane-stress stiffness of each ring: 11, 12, 22, 66, 16, 26. [Pa]
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
    Least strain energy of the wall: in bending the axial strain is κr and the hoop and
    shear strains are common to all rings, their resultants zero; in torsion the shear
    strain is τr and the axial and hoop strains are common. Against three-dimensional
    elasticity EI is off by 0.05 % in the median of shaft-like walls; thick tips of
    very stiff fibre at 20 to 35 degrees can be off by some per cent.

    Examples
    --------
    An isotropic tube of 1 mm wall is 0.02 % too stiff, since its hoop strain is held
    common to the wall; without Poisson's ratio it is exact.

    >>> E, nu = 70e9, 0.3
    >>> Q = rotated_stiffness(plane_stiffness(E, E, E / 2 / (1 + nu), nu), 0.0)
    >>> section = tube_section([Q], [[5.5e-3]], [[6.5e-3]])
    >>> round(float(section.EI[0] / (E * np.pi / 4 * (6.5e-3**4 - 5.5e-3**4))), 6)
    1.000227
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
    EI, GJ, hoop, shear = np.zeros((4, n_x))
    close_section(sums, n_x, True, EI, GJ, hoop, shear)
    EA = 2.0 * np.pi * (sums[A2_11] - sums[A2_12] ** 2 / sums[A2_22])
    return Section(EI, GJ, EA, np.pi * sums[A2_66])
