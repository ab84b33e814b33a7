"""One partial ply of a wall: which arc it covers, and what energy its step brings."""

import numpy as np
from numpy.typing import NDArray

from model.compilation import compiled_lean

Array = NDArray[np.float64]

#: A part of a turn below this is none.
WHOLE = 1e-6


@compiled_lean
def partial_turn(layers: float) -> tuple[float, float]:
    """Split a number of layers into whole ones and the part on an arc.

    Parameters
    ----------
    layers : float
        Layers; a bias pair lays two a turn, each on half of the round. [-]

    Returns
    -------
    whole, part : float
        Whole layers, and a part of one that is 0 or clearly between 0 and 1. [-]
    """
    whole = np.floor(layers + WHOLE)
    part = layers - whole
    return whole, part if part > WHOLE else 0.0


@compiled_lean
def turns_at(
    x: float,
    r_in: float,
    start: float,
    end: float,
    wraps: float,
    run_out_tip: float,
    run_out_butt: float,
    width_tip: float,
    width_butt: float,
    turn: float,
) -> float:
    """Turns of a flag with run-outs or straight edges at a station.

    Parameters
    ----------
    x, r_in : float
        Station, and radius that the flag is rolled on there. [m]
    start, end : float
        Stations of its ends. [m]
    wraps : float
        Turns between the run-outs; 0 for a piece with straight edges. [-]
    run_out_tip, run_out_butt : float
        Lengths over which the turns rise from none. [m]
    width_tip, width_butt : float
        Widths of a piece with straight edges. [m]
    turn : float
        Thickness that a turn of a piece with straight edges adds. [m]

    Returns
    -------
    turns : float
        Turns. [-]
    """
    if wraps > 0.0:
        share = 1.0
        if run_out_tip > 0.0:
            share = min(share, (x - start) / run_out_tip)
        if run_out_butt > 0.0:
            share = min(share, (end - x) / run_out_butt)
        return wraps * max(share, 0.0)
    width = width_tip + (width_butt - width_tip) * (x - start) / (end - start)
    return float((np.sqrt(r_in * r_in + turn * width / np.pi) - r_in) / turn)


@compiled_lean
def arc_harmonics(
    part: float, pieces: float, cos_clock: float, sin_clock: float
) -> tuple[float, float, float, float]:
    """Harmonics of the arc that a partial ply covers, or of both arcs of a pair.

    Parameters
    ----------
    part : float
        Share of the round that is covered, 0 to 1. [-]
    pieces : float
        1, or 2 for a bias pair: two arcs, half a turn apart. [-]
    cos_clock, sin_clock : float
        Cosine and sine of the position where the arc begins. [-]

    Returns
    -------
    cos2, sin2 : float
        Half the integral of cos 2α and sin 2α over the arc. [rad]
    cos1, sin1 : float
        Integral of cos α and sin α over the arc. [rad]

    Notes
    -----
    The sine and cosine of half the arc come from their series about a quarter turn,
    to 1e-10, since they are wanted at many points of a run-out.
    """
    u = np.pi * (part / pieces - 0.5)
    v = u * u
    s = 1.0 - v / 2.0 * (
        1.0
        - v
        / 12.0
        * (
            1.0
            - v
            / 30.0
            * (
                1.0
                - v / 56.0 * (1.0 - v / 90.0 * (1.0 - v / 132.0 * (1.0 - v / 182.0)))
            )
        )
    )
    c = -u * (
        1.0
        - v
        / 6.0
        * (
            1.0
            - v
            / 20.0
            * (
                1.0
                - v
                / 42.0
                * (
                    1.0
                    - v
                    / 72.0
                    * (1.0 - v / 110.0 * (1.0 - v / 156.0 * (1.0 - v / 210.0)))
                )
            )
        )
    )
    cm = cos_clock * c - sin_clock * s
    sm = sin_clock * c + cos_clock * s
    second = pieces * s * c
    first = 2.0 * s if pieces == 1.0 else 0.0
    return second * (cm * cm - sm * sm), second * 2.0 * sm * cm, first * cm, first * sm


@compiled_lean
def step_energy(
    q11: float, q12: float, q22: float, ply: float, a: float, hoop: float, over: float
) -> float:
    """Energy per angle that a step brings, at unit curvature, with what rides on it.

    Parameters
    ----------
    q11, q12, q22 : float
        Plane-stress stiffness of its ply. [Pa]
    ply, a : float
        Thickness of the ply, and the radius that it lies on. [m]
    hoop : float
        Hoop strain of the wall under unit curvature. [m]
    over : float
        Energy per height of step of what rides over it. [N·m]

    Returns
    -------
    energy : float
        Per angle. [N·m²]
    """
    b = a + ply
    a2, b2 = a * a, b * b
    d2 = (b2 - a2) * 0.5
    d3 = (b2 * b - a2 * a) * (1.0 / 3.0)
    d4 = (b2 + a2) * d2 * 0.5
    return q11 * d4 + hoop * (2.0 * q12 * d3 + q22 * hoop * d2) + ply * over


@compiled_lean
def ride_energy(
    q11: float, q12: float, q22: float, a: float, b: float, hoop: float
) -> float:
    """Energy per height that a ring gains by riding over a step.

    Parameters
    ----------
    q11, q12, q22 : float
        Plane-stress stiffness of its ply. [Pa]
    a, b : float
        Radii of the ring. [m]
    hoop : float
        Hoop strain of the wall under unit curvature. [m]

    Returns
    -------
    energy : float
        Per angle and height of step. [N·m]
    """
    both = a + b
    rise = q11 * (both * both - a * b) + hoop * (2.0 * q12 * both + q22 * hoop)
    return (b - a) * rise
