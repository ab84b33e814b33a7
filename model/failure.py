"""When a ply fails: allowable strains, or a quadratic criterion of stresses.

Strains that are there without the load, such as those from cooling, count: a ply fails
where they and a factor on the strains of the load reach what it bears.
"""

import math

import numpy as np
from numpy.typing import NDArray

from model.compilation import compiled_lean
from model.laminate import plane_stiffness
from model.materials import Ply

Array = NDArray[np.float64]

#: How a ply fails, by the numbers that the compiled functions give.
MODES = (
    "",
    "fibre tension",
    "fibre compression",
    "transverse tension",
    "transverse compression",
    "shear",
)
(
    NO_MODE,
    FIBRE_TENSION,
    FIBRE_COMPRESSION,
    TRANSVERSE_TENSION,
    TRANSVERSE_COMPRESSION,
    SHEAR_MODE,
) = range(len(MODES))

#: Columns of a ply's limits: allowable strains; stiffness in the ply's own axes [Pa];
#: quadratic criterion in stresses [1/Pa, 1/Pa²]; strains that the ply, free of the
#: wall, would shrink by from cure to use.
N_LIMITS = 17
(
    TENSION,
    COMPRESSION,
    TRANSVERSE,
    TRANSVERSE_PRESSED,
    SHEARED,
    STIFF_11,
    STIFF_12,
    STIFF_22,
    STIFF_66,
    F_1,
    F_2,
    F_11,
    F_22,
    F_12,
    F_66,
    SHRINK_ALONG,
    SHRINK_ACROSS,
) = range(N_LIMITS)


@compiled_lean
def ply_strains(
    c2: float, s2: float, cs: float, axial: float, hoop: float, shear: float
) -> tuple[float, float, float]:
    """Strains in the ply's own axes.

    Parameters
    ----------
    c2, s2, cs : float
        cos², sin² and cos·sin of the fibre angle. [-]
    axial, hoop, shear : float
        Strains in the tube's axes. [-]

    Returns
    -------
    fibre, transverse, shear : float
        Strain along and across the fibres, and engineering shear strain. [-]
    """
    along = c2 * axial + s2 * hoop + cs * shear
    across = s2 * axial + c2 * hoop - cs * shear
    sheared = 2.0 * cs * (hoop - axial) + (c2 - s2) * shear
    return along, across, sheared


def ply_limits(ply: Ply, temperature_drop: float = 0.0) -> Array:
    """What a ply bears, as the row of numbers that the compiled functions read.

    Parameters
    ----------
    ply : Ply
        Cured ply. [SI]
    temperature_drop : float
        From cure to use. [K]

    Returns
    -------
    limits : ndarray, shape (17,)
        Allowable strains, stiffness, quadratic criterion, shrinkage. [SI]

    Notes
    -----
    The strengths of the quadratic criterion (Tsai and Wu) are modulus times allowable
    strain, its interaction term is -1/2 √(F11 F22).
    """
    along_tension = ply.E1 * ply.strain_tension
    along_compression = ply.E1 * ply.strain_compression
    across_tension = ply.E2 * ply.strain_transverse
    across_compression = ply.E2 * ply.strain_transverse_compression
    F_along = 1.0 / (along_tension * along_compression)
    F_across = 1.0 / (across_tension * across_compression)
    return np.array(
        [
            ply.strain_tension,
            ply.strain_compression,
            ply.strain_transverse,
            ply.strain_transverse_compression,
            ply.strain_shear,
            *plane_stiffness(ply.E1, ply.E2, ply.G12, ply.nu12),
            1.0 / along_tension - 1.0 / along_compression,
            1.0 / across_tension - 1.0 / across_compression,
            F_along,
            F_across,
            -0.5 * math.sqrt(F_along * F_across),
            1.0 / (ply.G12 * ply.strain_shear) ** 2,
            ply.expansion_along * temperature_drop,
            ply.expansion_across * temperature_drop,
        ]
    )


@compiled_lean
def strain_use(tension: float, compression: float, load: float, there: float) -> float:
    """Inverse of the factor on a strain at which it reaches its allowable.

    Parameters
    ----------
    tension, compression : float
        Allowable strains, both positive. [-]
    load : float
        Strain of the load. [-]
    there : float
        Strain that is there without it. [-]

    Returns
    -------
    use : float
        0 if the load does not strain it, inf if the allowable is reached without. [-]
    """
    pulled = tension - there
    pressed = compression + there
    use = max(load / pulled, -load / pressed)
    return use if pulled > 0.0 and pressed > 0.0 else np.inf


@compiled_lean
def quadratic_use(
    limits: Array,
    along: float,
    across: float,
    sheared: float,
    along_there: float,
    across_there: float,
    sheared_there: float,
    either_sign: bool,
) -> float:
    """Inverse of the factor at which the quadratic criterion reaches one.

    Parameters
    ----------
    limits : ndarray, shape (17,)
        Row of ``ply_limits``. [SI]
    along, across, sheared : float
        Strains in the ply's axes under the load. [-]
    along_there, across_there, sheared_there : float
        Strains that are there without it. [-]
    either_sign : bool
        Take the worse of the load and its opposite. [-]

    Returns
    -------
    use : float
        0 if the load does not strain the ply, inf if it has failed without. [-]
    """
    q11, q12 = limits[STIFF_11], limits[STIFF_12]
    q22, q66 = limits[STIFF_22], limits[STIFF_66]
    f1, f2 = limits[F_1], limits[F_2]
    f11, f22, f12, f66 = limits[F_11], limits[F_22], limits[F_12], limits[F_66]
    s1, s2 = q11 * along + q12 * across, q12 * along + q22 * across
    t1 = q11 * along_there + q12 * across_there
    t2 = q12 * along_there + q22 * across_there
    s6, t6 = q66 * sheared, q66 * sheared_there
    # square R² + linear R = left, for the factor R
    square = f11 * s1 * s1 + f22 * s2 * s2 + f66 * s6 * s6 + 2.0 * f12 * s1 * s2
    linear = (
        f1 * s1
        + f2 * s2
        + 2.0
        * (f11 * s1 * t1 + f22 * s2 * t2 + f66 * s6 * t6 + f12 * (s1 * t2 + s2 * t1))
    )
    left = 1.0 - (
        f1 * t1
        + f2 * t2
        + f11 * t1 * t1
        + f22 * t2 * t2
        + f66 * t6 * t6
        + 2.0 * f12 * t1 * t2
    )
    root = np.sqrt(linear * linear + 4.0 * square * max(left, 0.0))
    use = (root + (abs(linear) if either_sign else linear)) / (2.0 * left)
    return use if left > 0.0 else np.inf


@compiled_lean
def _largest_term(limits: Array, along: float, across: float, sheared: float) -> int:
    """Mode of the largest term of the quadratic criterion."""
    s1 = limits[STIFF_11] * along + limits[STIFF_12] * across
    s2 = limits[STIFF_12] * along + limits[STIFF_22] * across
    s6 = limits[STIFF_66] * sheared
    of_fibre = limits[F_1] * s1 + limits[F_11] * s1 * s1
    of_transverse = limits[F_2] * s2 + limits[F_22] * s2 * s2
    of_shear = limits[F_66] * s6 * s6
    if of_fibre >= of_transverse and of_fibre >= of_shear:
        return FIBRE_TENSION if s1 > 0.0 else FIBRE_COMPRESSION
    if of_transverse >= of_shear:
        return TRANSVERSE_TENSION if s2 > 0.0 else TRANSVERSE_COMPRESSION
    return SHEAR_MODE


@compiled_lean
def _strain_mode(
    tension: float, load: float, there: float, use: float, if_tension: int
) -> int:
    """Mode of a strain at its allowable; compression stands after tension."""
    if use == 0.0:
        return NO_MODE
    stretched = load > 0.0 if use < np.inf else there >= tension
    return if_tension if stretched else if_tension + 1


@compiled_lean
def ply_uses(
    limits: Array,
    along: float,
    across: float,
    sheared: float,
    along_there: float,
    across_there: float,
    sheared_there: float,
) -> tuple[float, int, float, int, float, int]:
    """Inverse of the factors on a load of one sign at which a ply fails, and how.

    Parameters
    ----------
    limits : ndarray, shape (17,)
        Row of ``ply_limits``. [SI]
    along, across, sheared : float
        Strains in the ply's axes under the load. [-]
    along_there, across_there, sheared_there : float
        Strains that are there without it. [-]

    Returns
    -------
    fibre, fibre_mode : float, int
        Use of the fibres: 0 if the load does not strain them, inf if they have
        failed without it. [-]
    crack, crack_mode : float, int
        The same for cracks along the fibres. [-]
    quadratic, quadratic_mode : float, int
        The same for the quadratic criterion; the mode is its largest term. [-]
    """
    fibre = strain_use(limits[TENSION], limits[COMPRESSION], along, along_there)
    fibre_mode = _strain_mode(limits[TENSION], along, along_there, fibre, FIBRE_TENSION)
    crack = strain_use(
        limits[TRANSVERSE], limits[TRANSVERSE_PRESSED], across, across_there
    )
    crack_mode = _strain_mode(
        limits[TRANSVERSE], across, across_there, crack, TRANSVERSE_TENSION
    )
    use = strain_use(limits[SHEARED], limits[SHEARED], sheared, sheared_there)
    if use > crack:
        crack = use
        crack_mode = SHEAR_MODE
    quadratic = quadratic_use(
        limits, along, across, sheared, along_there, across_there, sheared_there, False
    )
    quadratic_mode = NO_MODE
    if quadratic > 0.0:
        factor = 1.0 / quadratic
        quadratic_mode = _largest_term(
            limits,
            along_there + factor * along,
            across_there + factor * across,
            sheared_there + factor * sheared,
        )
    return fibre, fibre_mode, crack, crack_mode, quadratic, quadratic_mode


@compiled_lean
def ply_margins(
    limits: Array,
    c2: float,
    s2: float,
    cs: float,
    is_pair: bool,
    axial: float,
    hoop: float,
    shear: float,
    free_axial: float,
    free_hoop: float,
    free_shear: float,
) -> tuple[float, int, float, int, float, int]:
    """Margins of one ring at one point under a load of either sign.

    Parameters
    ----------
    limits : ndarray, shape (17,)
        Row of ``ply_limits``. [SI]
    c2, s2, cs : float
        cos², sin² and cos·sin of the fibre angle. [-]
    is_pair : bool
        A balanced pair: the mirrored angle occurs too. [-]
    axial, hoop, shear : float
        Strains in the tube's axes under the load. [-]
    free_axial, free_hoop, free_shear : float
        Strains of the whole wall from cooling. [-]

    Returns
    -------
    fibre, fibre_mode : float, int
        Borne over actual load, less one, until the fibres fail; inf if the load does
        not strain them, -1 if cooling alone has broken them. [-]
    crack, crack_mode : float, int
        The same for cracks along the fibres. [-]
    quadratic, quadratic_mode : float, int
        The same for the quadratic criterion; the mode is its largest term. [-]
    """
    fibre, crack, quadratic = 0.0, 0.0, 0.0
    fibre_mode, crack_mode, quadratic_mode = NO_MODE, NO_MODE, NO_MODE
    sides = 2 if is_pair and (shear != 0.0 or free_shear != 0.0) else 1
    for side in range(sides):
        skew = cs if side == 0 else -cs
        along, across, sheared = ply_strains(c2, s2, skew, axial, hoop, shear)
        along_there, across_there, sheared_there = ply_strains(
            c2, s2, skew, free_axial, free_hoop, free_shear
        )
        along_there += limits[SHRINK_ALONG]
        across_there += limits[SHRINK_ACROSS]
        # tension of the fibres first, so that it is named where both are as near
        sign = 1.0 if along >= 0.0 else -1.0
        for _ in range(2):
            f, f_mode, c, c_mode, q, q_mode = ply_uses(
                limits,
                sign * along,
                sign * across,
                sign * sheared,
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
            sign = -sign
    return (
        1.0 / fibre - 1.0,
        fibre_mode,
        1.0 / crack - 1.0,
        crack_mode,
        1.0 / quadratic - 1.0,
        quadratic_mode,
    )
