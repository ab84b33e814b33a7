"""How pieces lie on the roll, and what they cost."""

import numpy as np

from model.compilation import compiled_lean


@compiled_lean
def gross_area(
    net: float,
    length: float,
    pieces: float,
    angle: float,
    roll_width: float,
    gap: float,
    roll_edge: float,
    splice_from: float,
) -> tuple[float, float, float]:
    """Area of roll that a flag takes, and how far it overhangs the roll.

    Pieces lie head to tail, so that a piece takes its mean width plus the cutting gap;
    a strip of pieces at an angle loses half a tooth at either edge of the roll.

    Parameters
    ----------
    net : float
        Area of all pieces as cut. [m²]
    length : float
        Axial length of the cut piece. [m]
    pieces : float
        1, or 2 for a bias pair. [-]
    angle : float
        Fibre angle, not negative. [rad]
    roll_width : float
        Width of the roll. [m]
    gap : float
        Cutting gap between pieces. [m]
    roll_edge : float
        Edge of the roll that is not used. [m]
    splice_from : float
        Pieces at this fibre angle or above may be spliced. [rad]

    Returns
    -------
    gross : float
        Area of roll for all pieces. [m²]
    overhang : float
        How much wider a piece lies than the roll, where it may not be spliced. [m]
    splices : float
        Splices in a piece. [-]
    """
    breadth = net / (pieces * length) + gap
    usable = roll_width - 2.0 * roll_edge
    span = breadth
    tooth = 0.0
    if angle > 0.0:
        span = length * np.sin(angle) + breadth * np.cos(angle)
        tooth = breadth * np.cos(angle)
    overhang = 0.0
    splices = 0.0
    if span > usable:
        if angle >= splice_from:
            splices = np.ceil(span / usable) - 1.0
        else:
            overhang = span - usable
    gross = pieces * (length + gap) * breadth * roll_width / (usable - tooth)
    return gross, overhang, splices
