"""Strains that stay in the plies when the wall cools from cure to use.

A ply shrinks more across than along its fibres; the wall makes all plies shrink alike.
Axial, hoop and shear strain are common to all rings and their resultants vanish over
the whole wall, as in the section formulas. What expansion by moisture gives back, and
what the resin relaxes, is left out.
"""

import numpy as np
from numpy.typing import NDArray

from model.compilation import compiled_lean
from model.laminate import (
    A2_11,
    A2_12,
    A2_16,
    A2_22,
    A2_26,
    A2_66,
    plane_stiffness,
)
from model.materials import Ply

Array = NDArray[np.float64]


def cooling_stress(
    ply: Ply, angle: float, temperature_drop: float, *, is_pair: bool = False
) -> Array:
    """Stress in a ply that is held to its shape while it cools.

    Parameters
    ----------
    ply : Ply
        Cured ply. [SI]
    angle : float
        From the axis to the fibres. [rad]
    temperature_drop : float
        From cure to use. [K]
    is_pair : bool
        A balanced pair of +angle and -angle: no shear stress. [-]

    Returns
    -------
    stress : ndarray, shape (3,)
        Axial, hoop and shear stress. [Pa]
    """
    q11, q12, q22, _ = plane_stiffness(ply.E1, ply.E2, ply.G12, ply.nu12)
    along = q11 * ply.expansion_along + q12 * ply.expansion_across
    across = q12 * ply.expansion_along + q22 * ply.expansion_across
    c, s = np.cos(angle), np.sin(angle)
    stress = temperature_drop * np.array(
        [
            c * c * along + s * s * across,
            s * s * along + c * c * across,
            c * s * (along - across),
        ]
    )
    if is_pair:
        stress[2] = 0.0
    return stress


@compiled_lean
def add_cooling(
    stress: Array, r_in: Array, r_out: Array, first: int, last: int, cooling: Array
) -> None:
    """Add one ring to the resultants of a wall that is held while it cools.

    Parameters
    ----------
    stress : ndarray, shape (3,)
        From ``cooling_stress``. [Pa]
    r_in, r_out : ndarray, shape (n_x_max,)
        Radii of the ring. [m]
    first, last : int
        Range of points that it covers. [-]
    cooling : ndarray, shape (3, n_x_max)
        Sums of stress times (r_out² - r_in²)/2, added to. [N]
    """
    for p in range(first, last + 1):
        d2 = (r_out[p] * r_out[p] - r_in[p] * r_in[p]) / 2.0
        for i in range(3):
            cooling[i, p] += stress[i] * d2


@compiled_lean
def free_strains(sums: Array, cooling: Array, n_x: int, free: Array) -> None:
    """Strains of the wall once it is let go.

    Parameters
    ----------
    sums : ndarray, shape (n_sums, n_x_max)
        All ring sums, those with shear coupling too. [Pa·m²]
    cooling : ndarray, shape (3, n_x_max)
        Resultants of the held wall. [N]
    n_x : int
        Number of points. [-]
    free : ndarray, shape (3, n_x_max)
        Axial, hoop and shear strain, written. [-]
    """
    for p in range(n_x):
        a, b, c = sums[A2_11, p], sums[A2_12, p], sums[A2_16, p]
        d, e, f = sums[A2_22, p], sums[A2_26, p], sums[A2_66, p]
        # cofactors of the symmetric matrix [a b c; b d e; c e f]
        ca, cb, cc = d * f - e * e, c * e - b * f, b * e - c * d
        cd, ce, cf = a * f - c * c, b * c - a * e, a * d - b * b
        share = -1.0 / (a * ca + b * cb + c * cc)
        n, m, t = cooling[0, p], cooling[1, p], cooling[2, p]
        free[0, p] = share * (ca * n + cb * m + cc * t)
        free[1, p] = share * (cb * n + cd * m + ce * t)
        free[2, p] = share * (cc * n + ce * m + cf * t)
