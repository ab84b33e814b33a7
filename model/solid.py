"""Plies as solids: stiffness in three dimensions, turned to the tube's axes and back.

Axes are axial, hoop, radial (1, 2, 3 in the ply: along the fibres, across, through);
strains stand in the order axial, hoop, radial, hoop-radial, axial-radial, axial-hoop,
shear strains engineering.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.errors import ModelRangeError

Array = NDArray[np.float64]

#: Order of strains and stresses.
AXIAL, HOOP, RADIAL, HOOP_RADIAL, AXIAL_RADIAL, AXIAL_HOOP = range(6)


def solid_stiffness(
    E1: float, E2: float, G12: float, nu12: float, nu23: float | None = None
) -> Array:
    """Stiffness of a ply in its own axes, alike in all directions across its fibres.

    Parameters
    ----------
    E1, E2 : float
        Moduli along and across the fibres. [Pa]
    G12 : float
        Shear modulus along the fibres. [Pa]
    nu12 : float
        Poisson's ratio for stress along the fibres. [-]
    nu23 : float or None
        Poisson's ratio across the fibres; None takes it from the others. [-]

    Returns
    -------
    C : ndarray, shape (6, 6)
        Stiffness; 1 along the fibres, 2 across, 3 through the ply. [Pa]

    References
    ----------
    .. [1] R. M. Christensen, Tensor transformations and failure criteria for the
       analysis of fiber composite materials, Journal of Composite Materials 22, 1988:
       nu23 from nu12; from memory.

    Examples
    --------
    >>> C = solid_stiffness(70e9, 70e9, 70e9 / 2.6, 0.3)
    >>> [round(float(c) / 1e9, 3) for c in (C[0, 0], C[0, 1], C[3, 3])]
    [94.231, 40.385, 26.923]
    """
    if nu23 is None:
        nu23 = nu12 * (1.0 - nu12 * E2 / E1) / (1.0 - nu12)
    compliance = np.diag(
        [1 / E1, 1 / E2, 1 / E2, 2 * (1 + nu23) / E2, 1 / G12, 1 / G12]
    )
    compliance[0, 1:3] = compliance[1:3, 0] = -nu12 / E1
    compliance[1, 2] = compliance[2, 1] = -nu23 / E2
    stiffness: Array = np.linalg.inv(compliance)
    return stiffness


def _strain_rotation(angle: float) -> Array:
    """Turn strain in the tube's axes into strain in the ply's axes."""
    c, s = np.cos(angle), np.sin(angle)
    T = np.eye(6)
    T[np.ix_((0, 1, 5), (0, 1, 5))] = [
        [c * c, s * s, c * s],
        [s * s, c * c, -c * s],
        [-2 * c * s, 2 * c * s, c * c - s * s],
    ]
    T[3:5, 3:5] = [[c, -s], [s, c]]
    return T


def rotated_solid(C: ArrayLike, angle: float, *, is_pair: bool = False) -> Array:
    """Stiffness of a ply whose fibres stand at an angle to the tube's axis.

    Parameters
    ----------
    C : array_like, shape (6, 6)
        Stiffness in the ply's axes. [Pa]
    angle : float
        From the axis to the fibres. [rad]
    is_pair : bool
        A balanced pair of +angle and -angle smeared into one: no coupling. [-]

    Returns
    -------
    C : ndarray, shape (6, 6)
        Stiffness in the tube's axes. [Pa]

    Examples
    --------
    >>> C = rotated_solid(solid_stiffness(181e9, 10.3e9, 7.17e9, 0.28), np.pi / 2)
    >>> [round(float(c) / 1e9, 2) for c in (C[0, 0], C[1, 1], C[2, 2])]
    [12.19, 183.65, 12.19]
    """
    T = _strain_rotation(angle)
    out: Array = T.T @ np.asarray(C, dtype=float) @ T
    # exactly nothing in place of what rounding leaves
    out[np.abs(out) < 1e-14 * np.abs(out).max()] = 0.0
    if is_pair:
        out[:3, 5] = out[5, :3] = 0.0
        out[3, 4] = out[4, 3] = 0.0
    return out


def in_ply_axes(strain: ArrayLike, angle: float) -> Array:
    """Strain in a ply's own axes.

    Parameters
    ----------
    strain : array_like, shape (..., 6)
        Strain in the tube's axes. [-]
    angle : float
        From the axis to the fibres. [rad]

    Returns
    -------
    strain : ndarray, shape (..., 6)
        Along the fibres, across, through the ply, and the shear strains 23, 13, 12.
        In bending the first three and the last go with the cosine. [-]
    """
    return np.asarray(strain, dtype=float) @ _strain_rotation(angle).T


def alternating_plies(
    r_in: ArrayLike, r_out: ArrayLike, thickness: float
) -> tuple[Array, Array]:
    """Plies of a bias pair as rolled: turn by turn, +angle inside, -angle outside.

    A last turn that is not whole counts as two thinner plies.

    Parameters
    ----------
    r_in, r_out : array_like, shape (n_x,)
        Radii of the pair as rolled, before grinding. [m]
    thickness : float
        Of one ply. [m]

    Returns
    -------
    inner, outer : ndarray, shape (n_ply, n_x)
        Radii of the plies, even rows +angle, odd rows -angle. Grinding cuts them at the
        finished radius. [m]

    Examples
    --------
    >>> inner, outer = alternating_plies([4.0e-3], [4.5e-3], 0.1e-3)
    >>> [round(float(r) * 1e3, 2) for r in outer[:, 0]]
    [4.1, 4.2, 4.3, 4.4, 4.45, 4.5]
    """
    inside = np.atleast_1d(np.asarray(r_in, dtype=float))
    outside = np.atleast_1d(np.asarray(r_out, dtype=float))
    if np.any(outside < inside) or not thickness > 0.0:
        raise ModelRangeError("a pair needs plies of some thickness, outward")
    turns = (outside - inside) / (2.0 * thickness)
    n_turn = int(np.ceil(np.max(turns, initial=0.0) - 1e-9))
    if n_turn == 0:
        return np.zeros((2, 0, len(inside)))[0], np.zeros((0, len(inside)))
    turn = np.repeat(np.arange(n_turn), 2)[:, None]
    half = np.tile([0.0, 0.5], n_turn)[:, None]
    share = np.clip(turns - turn, 0.0, 1.0)
    share[turn[:, 0] == n_turn - 1] = np.clip(turns - n_turn + 1, 0.0, None)
    inner = inside + 2.0 * thickness * (np.minimum(turn, turns) + half * share)
    return inner, inner + thickness * share
