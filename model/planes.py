"""Vibration of a bar whose bending stiffness depends on direction, in both planes."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.errors import ModelRangeError

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

#: Spread of stiffness below which a bar is the same in all directions. [-]
NO_SPREAD = 1e-12
_CONVERGED = 1e-13
_MOST_ITERATIONS = 60


class PlaneModes(NamedTuple):
    """First vibration in the two planes of a clamped shaft."""

    low: float  #: frequency in the softer plane [Hz]
    high: float  #: frequency in the stiffer plane [Hz]
    direction: float  #: of the stiffer plane at the tip, 0 to π; 0 if both agree [rad]


def plane_modes(
    x: Array,
    EI: Array,
    second: ComplexArray,
    m: Array,
    *,
    tip_mass: float = 0.0,
    tip_mass_offset: float = 0.0,
    tip_mass_inertia: float = 0.0,
    clamp_compliance: float = 0.0,
) -> PlaneModes:
    """First vibration in both planes of a bar clamped at its last station.

    Parameters
    ----------
    x, EI : ndarray, shape (n_x,)
        Stations and mean bending stiffness. [m, N·m²]
    second : ndarray of complex, shape (n_x,)
        Second harmonic of the bending stiffness. [N·m²]
    m : ndarray, shape (n_x,)
        Mass per length. [kg/m]
    tip_mass : float
        Mass on the first station. [kg]
    tip_mass_offset : float
        Distance of its centre beyond the bar. [m]
    tip_mass_inertia : float
        Moment of inertia about its own centre, the same in both planes. [kg·m²]
    clamp_compliance : float
        How much the clamp turns under the moment on it. [rad/(N·m)]

    Returns
    -------
    modes : PlaneModes
        Two frequencies and the direction of the stiffer plane at the tip. [Hz, rad]

    Raises
    ------
    ModelRangeError
        If the bar has no stiffness in some direction.

    Notes
    -----
    Moment and curvature are vectors across the axis, joined by the stiffness tensor
    [[EI + Re H, Im H], [Im H, EI - Re H]]. Iterates a plane of two shapes with the
    same rules in each cell as the vibration in one plane, so that without any spread
    both frequencies are that of one plane.

    Examples
    --------
    A bar that is 2 % stiffer and 2 % softer across:

    >>> x = np.linspace(0.0, 1.0, 201)
    >>> one = np.ones(201)
    >>> modes = plane_modes(x, 40 * one, 0.8j * one, 0.05 * one, tip_mass=0.196)
    >>> print(f"{60 * modes.low:.2f} {60 * modes.high:.2f} cpm")
    227.17 231.76 cpm
    >>> print(f"{np.degrees(modes.direction):.1f} deg")
    45.0 deg
    """
    if np.any(np.abs(second) >= EI):
        raise ModelRangeError("the bar has no bending stiffness in some direction")
    det = EI**2 - np.abs(second) ** 2
    soft = np.array(
        [[EI - second.real, -second.imag], [-second.imag, EI + second.real]]
    )
    soft /= det
    h = np.diff(x)
    u = (x[-1] - x) / (x[-1] - x[0])
    y = np.zeros((2, 2, len(x)))  # shape, component, point
    slope = np.zeros((2, 2))  # outward at the tip: shape, component
    for plane in range(2):
        y[plane, plane] = u * u * (3.0 - u) / 2.0
        slope[plane, plane] = 1.5 / (x[-1] - x[0])

    def product(a: tuple[Array, Array], b: tuple[Array, Array]) -> Array:
        """Kinetic energy of each of two shapes with each of two others."""
        joined = np.einsum("icp,jcp->ijp", a[0] * m, b[0])
        head_a = a[0][..., 0] + tip_mass_offset * a[1]
        head_b = b[0][..., 0] + tip_mass_offset * b[1]
        energy: Array = np.trapezoid(joined, x, axis=-1)
        energy = energy + tip_mass * head_a @ head_b.T
        return energy + tip_mass_inertia * a[1] @ b[1].T

    before = np.zeros(2)
    inverse, mix = np.zeros(2), np.eye(2)
    for _ in range(_MOST_ITERATIONS):
        # shapes of unit kinetic energy, so that the projection is symmetric
        root = np.linalg.inv(np.linalg.cholesky(product((y, slope), (y, slope))))
        y = np.einsum("ij,jcp->icp", root, y)
        slope = root @ slope
        force = tip_mass * (y[..., 0] + tip_mass_offset * slope)
        couple = force * tip_mass_offset + tip_mass_inertia * slope
        load = m * y
        near, far = load[..., :-1], load[..., 1:]
        forces = _summed(force, h * (near + far) / 2.0)
        rise = forces[..., :-1] * h + h * h * (2.0 * near + far) / 6.0
        moment = _summed(couple, rise)
        bend = np.einsum("cdp,idp->icp", soft, moment)
        near, far = bend[..., :-1], bend[..., 1:]
        at_clamp = clamp_compliance * moment[..., -1]
        turn = _summed(at_clamp, (h * (near + far) / 2.0)[..., ::-1])[..., ::-1]
        drop = turn[..., 1:] * h + h * h * (2.0 * far + near) / 6.0
        new_y = _summed(np.zeros((2, 2)), drop[..., ::-1])[..., ::-1]
        new = (new_y, turn[..., 0])
        projected = product((y, slope), new)
        inverse, mix = np.linalg.eigh((projected + projected.T) / 2.0)
        y, slope = new
        if np.all(np.abs(inverse - before) <= _CONVERGED * inverse):
            break
        before = inverse
    # the smaller eigenvalue is the stiffer plane
    high, low = np.sqrt(1.0 / inverse) / (2.0 * np.pi)
    direction = 0.0
    if np.any(np.abs(second) > NO_SPREAD * EI):
        along = mix[:, 0] @ y[..., 0]
        direction = float(np.arctan2(along[1], along[0]) % np.pi)
    return PlaneModes(float(low), float(high), direction)


def _summed(start: Array, steps: Array) -> Array:
    """Running sums along the last axis, from a start."""
    whole: Array = np.cumsum(np.concatenate([start[..., None], steps], axis=-1), -1)
    return whole
