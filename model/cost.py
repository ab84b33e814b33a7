"""How pieces lie on the roll, and what they cost."""

import numpy as np

from model.compilation import compiled_lean

#: Share of a row of straight or hoop pieces that stays empty where a batch ends.
_END = 0.35
#: The same for the slanting end of leaning pieces, in their length along the roll.
_LEANING_END = 0.85
#: Breadth of a straight piece with run-outs, as it counts, in its greatest.
_RUN_OUT_BREADTH = 0.9
#: A piece counts as fitting if it is too long by no more than this. [-]
_FITS = 1e-9


@compiled_lean
def gross_area(
    net: float,
    length: float,
    pieces: float,
    angle: float,
    width_tip: float,
    width_butt: float,
    run_out: bool,
    roll_width: float,
    gap: float,
    roll_edge: float,
    splice_from: float,
    batch: float,
) -> tuple[float, float, float]:
    """Area of roll that a flag takes, and how far it overhangs the roll.

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
    width_tip, width_butt : float
        Width of a piece at its ends; its greatest for both where it has run-outs. [m]
    run_out : bool
        Whether it has. [-]
    roll_width : float
        Width of the roll. [m]
    gap : float
        Cutting gap between pieces. [m]
    roll_edge : float
        Edge of the roll that is not used. [m]
    splice_from : float
        Pieces at this fibre angle or above may be spliced. [rad]
    batch : float
        Shafts that are cut together. [-]

    Returns
    -------
    gross : float
        Area of roll for all pieces. [m²]
    overhang : float
        How much wider a piece lies than the roll, where it may not be spliced. [m]
    splices : float
        Splices in a piece. [-]

    Notes
    -----
    Pieces lie head to tail. Two of them take the sum of their end widths and two gaps,
    which is more than twice the mean width where the edge is hollow, as it is on a
    mandrel whose taper grows less towards the butt. Where the wound edge runs out, the
    slanting parts fit one another and the mean width counts.

    Straight pieces lie across the roll side by side. Only whole ones do, so half of one
    is lost of each row on average.

    Leaning and hoop pieces fill slanting strips from edge to edge of the roll. The ends
    of a piece are square to the strip and not parallel to the roll's edge, which takes
    b cos from the strip for a piece b broad. Whole pieces go into a strip, so a strip
    may hold one piece whatever its length. Where it is longer than what it holds,
    neighbours are shifted along it and their narrow ends overlap, down to half of the
    wider end.

    Where a batch ends, part of the last row stays empty, and beside leaning pieces a
    triangle of roll at either end; what remains is shared out among the batch.
    """
    mean = net / (pieces * length)
    widest = max(width_tip, width_butt)
    usable = roll_width - 2.0 * roll_edge
    sine, cosine = np.sin(angle), np.cos(angle)
    span = length * sine + widest * cosine
    overhang = 0.0
    splices = 0.0
    if span > usable * (1.0 + _FITS):
        if angle >= splice_from:
            splices = np.ceil(span / usable - _FITS) - 1.0
        else:
            overhang = span - usable
    breadth = mean
    if not run_out:
        breadth = max(mean, (width_tip + width_butt) / 2.0)
    row = length + gap
    if angle == 0.0:
        if run_out:
            widest *= _RUN_OUT_BREADTH
        lost = min((widest + breadth + 2.0 * gap) / 4.0, usable / 2.0)
        gross = row * (breadth + gap) * roll_width / (usable - lost)
        return pieces * (gross + _END * length * roll_width / batch), overhang, splices
    strip = (usable - mean * cosine) / sine
    fit = (strip + gap) / row + _FITS
    across = usable / (row * sine)
    if fit >= 1.0:
        across = np.floor(fit)
        if not run_out:
            slack = min((strip - across * row) / length, 1.0)
            overlap = max(slack, 0.0) * abs(width_butt - width_tip) / 2.0
            breadth = max(breadth - overlap, widest / 2.0)
    elif splices == 0.0:
        across = 1.0
    end = _LEANING_END * length * cosine + _END * breadth * sine
    gross = (breadth + gap) * roll_width / (across * sine) + end * roll_width / batch
    return pieces * gross, overhang, splices
