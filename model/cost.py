"""How pieces lie on the roll, and what of it they take."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.compilation import compiled_lean

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Share of a row of straight or hoop pieces that stays empty where a batch ends.
_END = 0.35
#: The same for the slanting end of leaning pieces, in their length along the roll.
_LEANING_END = 0.7
#: Share of the slanting ends that straight pieces of the same prepreg lie in.
_TRIANGLES = 0.5
#: Breadth of a straight piece with run-outs, as it counts, in its greatest.
_RUN_OUT_BREADTH = 0.9
#: So much of a piece has to be spare before a slanting strip holds all that fit it.
_SPARE = 0.04
#: Where less than this of a piece is missing, a few strips still hold one more.
_NEARLY = 0.3
#: A piece counts as fitting if it is too long by no more than this. [-]
_FITS = 1e-9


@compiled_lean
def roll_alone(
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
) -> tuple[float, float, float, float]:
    """Area of roll that a flag takes by itself, and how far it overhangs the roll.

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
        Width of a piece at its ends, or where its run-outs end. [m]
    run_out : bool
        Whether it has any. [-]
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
    body : float
        Area of roll for all pieces, as one shaft of very many. [m²]
    end : float
        What comes to it where the batch begins and ends. [m²]
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
    is lost of each row on average; ``lay_together`` counts rows instead.

    Leaning and hoop pieces fill slanting strips from edge to edge of the roll. Their
    ends are square to the strip and not parallel to the roll's edge, which takes b cos
    from the strip for an end b broad. Whole pieces go into a strip, so it may hold one
    whatever its length, and more where there is room for as many of two side by side;
    where there nearly is, pieces that are shifted along the strips find some (fitted to
    pieces that were laid).
    Where a strip is longer than what it holds, neighbours are shifted along it and
    their narrow ends overlap, down to half of the wider end.

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
        body = row * (breadth + gap) * roll_width / (usable - lost)
        end = _END * length * roll_width / batch
        return pieces * body, pieces * end, overhang, splices
    strip = (usable - widest * cosine) / sine
    fit = (strip + gap) / row + _FITS
    both = (width_tip + width_butt + gap) * cosine
    room = max(((usable - both) / sine + gap) / row - _SPARE, 1.0)
    across = np.floor(room)
    most = max(room - across - 1.0 + _NEARLY, 0.0) / _NEARLY
    across += most * most * most * most
    if splices > 0.0:
        across = usable / (row * sine)
    if fit >= 1.0 and not run_out:
        slack = min((strip - across * row) / length, 1.0)
        overlap = max(slack, 0.0) * abs(width_butt - width_tip) / 2.0
        breadth = max(breadth - overlap, widest / 2.0)
    end = _LEANING_END * length * cosine + _END * breadth * sine
    body = (breadth + gap) * roll_width / (across * sine)
    return pieces * body, pieces * end * roll_width / batch, overhang, splices


@compiled_lean
def lay_together(
    sheets: Array,
    columns: tuple[int, int, int, int],
    sheet: IntArray,
    start: Array,
    end: Array,
    run_out_tip: Array,
    run_out_butt: Array,
    widths: Array,
    net: Array,
    cutting: Any,
    gross: Array,
    ends: Array,
    room: Array,
) -> None:
    """Area of roll that each flag takes of rolls that flags of one prepreg share.

    Parameters
    ----------
    sheets : ndarray, shape (n_sheet, n_column)
        Table of sheets. [SI]
    columns : tuple of int
        Its columns of material, number of pieces, fibre angle and roll width. [-]
    sheet : ndarray, shape (n_flag,)
        Sheet of each flag; -1 for no flag. [-]
    start, end : ndarray, shape (n_flag,)
        Ends of the pieces. [m]
    run_out_tip, run_out_butt : ndarray, shape (n_flag,)
        Their run-outs. [m]
    widths : ndarray, shape (n_flag, 2)
        Their widths at both ends, or where the run-outs end. [m]
    net : ndarray, shape (n_flag,)
        Area of the pieces. [m²]
    cutting : tuple
        Gap, edges and batch. [SI]
    gross : ndarray, shape (n_flag,)
        Body of each flag by itself; then its part of the roll, written. [m²]
    ends : ndarray, shape (n_flag,)
        End of each flag by itself. [m²]
    room : ndarray, shape (3, n_flag)
        Scratch. [-]

    Notes
    -----
    Straight pieces lie in rows across the roll, those of the longest flag first. Two
    pieces head to tail are a tile: side by side, or one beyond the other with their
    run-outs side by side, whichever takes less roll. What a last row leaves free is
    filled with the pieces of shorter flags, as many as go in, one behind the other and
    side by side.

    Leaning pieces share the triangles where the batch begins and ends, and straight
    pieces of the same prepreg lie in a part of them.

    What a prepreg takes is shared out in proportion to what its flags take by
    themselves.
    """
    material, pieces, angle, roll = columns
    n_flags = len(sheet)
    is_open = room[0]
    for k in range(n_flags):
        is_open[k] = 1.0 if sheet[k] >= 0 else 0.0
    for first in range(n_flags):
        if is_open[first] == 0.0:
            continue
        what = sheets[sheet[first], material]
        roll_width = sheets[sheet[first], roll]
        body = triangle = alone = rows = 0.0
        n_free = 0
        while True:
            # the longest straight flag that is left; leaning ones are only summed
            longest = -1
            for k in range(first, n_flags):
                if is_open[k] == 0.0 or sheets[sheet[k], material] != what:
                    continue
                if sheets[sheet[k], angle] > 0.0:
                    is_open[k] = 0.0
                    body += gross[k]
                    triangle = max(triangle, ends[k])
                    alone += gross[k] + ends[k]
                elif longest < 0 or end[k] - start[k] > end[longest] - start[longest]:
                    longest = k
            if longest < 0:
                break
            k = longest
            is_open[k] = 0.0
            alone += gross[k] + ends[k]
            count = sheets[sheet[k], pieces]
            rows += _lay_rows(
                np.round(cutting.batch * count),
                end[k] - start[k],
                run_out_tip[k],
                run_out_butt[k],
                widths[k, 0],
                widths[k, 1],
                net[k] / count,
                roll_width - 2.0 * cutting.roll_edge,
                cutting.gap,
                room[1],
                room[2],
                n_free,
            )
            n_free += 1
        straight = rows * roll_width / cutting.batch
        whole = body + triangle + max(straight - _TRIANGLES * triangle, 0.0)
        for k in range(first, n_flags):
            if sheet[k] >= 0 and sheets[sheet[k], material] == what:
                gross[k] = (gross[k] + ends[k]) * whole / alone


@compiled_lean
def _lay_rows(
    n: float,
    length: float,
    run_out_tip: float,
    run_out_butt: float,
    width_tip: float,
    width_butt: float,
    area: float,
    usable: float,
    gap: float,
    free_width: Array,
    free_length: Array,
    n_free: int,
) -> float:
    """Length of roll that n straight pieces of a flag add, as tiles of two.

    What is free of rows before is used; what the last of these leaves free becomes
    place `n_free`.
    """
    one_long, one_wide = length + gap, max(width_tip, width_butt) + gap
    side = _side_by_side(
        length, run_out_tip, run_out_butt, width_tip, width_butt, 2.0 * area / length
    )
    best_long, best_wide, least = one_long, side + 2.0 * gap, np.inf
    for way in range(3):
        long, wide = one_long, side + 2.0 * gap
        if way > 0:
            # one beyond the other, run-out beside run-out
            run_out = run_out_tip if way == 1 else run_out_butt
            long, wide = one_long + length - run_out, one_wide + gap
            if run_out == 0.0:
                continue
        added = _lay_tiles(
            n,
            long,
            wide,
            one_long,
            one_wide,
            usable + gap,
            gap,
            free_width,
            free_length,
            n_free,
            False,
        )
        if added < least:
            least, best_long, best_wide = added, long, wide
    return _lay_tiles(
        n,
        best_long,
        best_wide,
        one_long,
        one_wide,
        usable + gap,
        gap,
        free_width,
        free_length,
        n_free,
        True,
    )


@compiled_lean
def _side_by_side(
    length: float,
    run_out_tip: float,
    run_out_butt: float,
    width_tip: float,
    width_butt: float,
    least: float,
) -> float:
    """Width of two straight pieces side by side, head to tail.

    Were their edges straight between the ends and those of the run-outs, they would be
    widest at one of these; where they bulge, the mean width counts.
    """
    wide = least
    whole = max(length - run_out_tip - run_out_butt, 1e-9)
    for place in range(3):
        u = run_out_tip if place == 1 else run_out_butt if place == 2 else 0.0
        both = 0.0
        for v in (u, length - u):
            share = min(max((v - run_out_tip) / whole, 0.0), 1.0)
            width = width_tip + (width_butt - width_tip) * share
            if v < run_out_tip:
                width *= v / run_out_tip
            if length - v < run_out_butt:
                width *= (length - v) / run_out_butt
            both += width
        wide = max(wide, both)
    return wide


@compiled_lean
def _lay_tiles(
    n: float,
    long: float,
    wide: float,
    one_long: float,
    one_wide: float,
    usable: float,
    gap: float,
    free_width: Array,
    free_length: Array,
    n_free: int,
    is_laid: bool,
) -> float:
    """Length of roll that n pieces add, as tiles of two and single ones.

    Lengths and widths are with a gap beyond each piece. What is free is only used up
    where the pieces are laid.
    """
    left = n
    for j in range(n_free):
        deep = np.floor((free_length[j] + gap) / long + _FITS)
        if deep < 1.0 or left < 1.0:
            continue
        columns = np.floor(free_width[j] / wide + _FITS)
        held = 2.0 * deep * columns
        room = held
        if free_width[j] - columns * wide >= one_wide * (1.0 - _FITS):
            room += np.floor((free_length[j] + gap) / one_long + _FITS)
        filled = min(left, room)
        left -= filled
        if is_laid:
            taken = min(columns, np.ceil(filled / (2.0 * deep) - _FITS)) * wide
            if filled > held:
                taken += one_wide
            free_width[j] -= taken
    if is_laid:
        free_width[n_free] = free_length[n_free] = 0.0
    if left < 1.0:
        return 0.0
    columns = np.floor(usable / wide + _FITS)
    a_row = 2.0 * columns
    if long == one_long:
        # single ones beside the tiles; at least one, which may be too wide
        a_row += np.floor((usable - columns * wide) / one_wide + _FITS)
        a_row = max(a_row, 1.0)
    elif a_row == 0.0:
        return np.inf
    rows = np.ceil(left / a_row - _FITS)
    last = left - (rows - 1.0) * a_row
    added, taken, reach = rows * long, np.ceil(last / 2.0) * wide, long - gap
    if long > one_long and last * one_wide <= usable * (1.0 + _FITS):
        added, taken, reach = added - long + one_long, last * one_wide, one_long - gap
    if is_laid:
        free_width[n_free] = max(usable - taken, 0.0)
        free_length[n_free] = reach
    return float(added)
