"""What flags take of the rolls, written out plainly: one flag after the other.

A flag is a dictionary with its prepreg, angle (not negative), length, run-outs, widths
at its ends or where its run-outs end, net area and number of pieces.
"""

from math import ceil, cos, floor, inf, sin

SAME = 1e-9


def by_itself(flag, prepreg, cutting):
    """Body and end of a flag by itself, overhang and splices."""
    gap, usable = cutting.gap, prepreg.roll_width - 2 * cutting.roll_edge
    angle, length, pieces = flag["angle"], flag["length"], flag["pieces"]
    widest, runs_out = max(flag["widths"]), max(flag["run_outs"]) > 0
    breadth = flag["net"] / (pieces * length)
    if not runs_out:
        breadth = max(breadth, sum(flag["widths"]) / 2)
    each = pieces * prepreg.roll_width
    span = length * sin(angle) + widest * cos(angle)
    fits = span <= usable * (1 + SAME)
    splices = overhang = 0
    if not fits and angle >= cutting.splice_from:
        splices = ceil(span / usable - SAME) - 1
    elif not fits:
        overhang = span - usable
    if angle == 0:
        counted = 0.9 * widest if runs_out else widest
        half_a_piece = min((counted + breadth + 2 * gap) / 4, usable / 2)
        body = (length + gap) * (breadth + gap) / (usable - half_a_piece)
        return each * body, each * 0.35 * length / cutting.batch, overhang, splices
    strip = (usable - widest * cos(angle)) / sin(angle)
    two = (usable - (sum(flag["widths"]) + gap) * cos(angle)) / sin(angle)
    room = max((two + gap) / (length + gap) - 0.04, 1)
    held = floor(room) + max((room - floor(room) - 0.7) / 0.3, 0) ** 4
    if splices:
        held = usable / sin(angle) / (length + gap)
    elif fits and not runs_out:
        spare = min(max(strip - held * (length + gap), 0) / length, 1)
        narrow = abs(flag["widths"][0] - flag["widths"][1]) / 2
        breadth = max(breadth - spare * narrow, widest / 2)
    body = (breadth + gap) / held / sin(angle)
    end = 0.7 * length * cos(angle) + 0.35 * breadth * sin(angle)
    return each * body, each * end / cutting.batch, overhang, splices


def width_at(flag, u):
    """Width of a straight piece whose edge is straight between its corners."""
    (tip, butt), (out_tip, out_butt) = flag["widths"], flag["run_outs"]
    length = flag["length"]
    share = (u - out_tip) / max(length - out_tip - out_butt, 1e-9)
    width = tip + (butt - tip) * min(max(share, 0), 1)
    if u < out_tip:
        width *= u / out_tip
    if length - u < out_butt:
        width *= (length - u) / out_butt
    return width


def tiles(flag, gap):
    """Length and width of two pieces, gaps included, in all ways that they may lie."""
    length, (out_tip, out_butt) = flag["length"], flag["run_outs"]
    side = 2 * flag["net"] / flag["pieces"] / length
    for u in (0, out_tip, out_butt):
        side = max(side, width_at(flag, u) + width_at(flag, length - u))
    yield length + gap, side + 2 * gap
    for out in (out_tip, out_butt):
        if out > 0:
            yield 2 * length - out + gap, max(flag["widths"]) + 2 * gap


def put(flag, count, tile, places, usable, gap):
    """Length of roll that pieces add as such tiles, and the places free afterwards."""
    (long, wide), one_long = tile, flag["length"] + gap
    one_wide = max(flag["widths"]) + gap
    after = []
    for free_wide, free_long in places:
        deep = floor((free_long + gap) / long + SAME)
        if deep == 0 or count == 0:
            after.append((free_wide, free_long))
            continue
        columns = floor(free_wide / wide + SAME)
        behind_each_other = 0
        if free_wide - columns * wide >= one_wide * (1 - SAME):
            behind_each_other = floor((free_long + gap) / one_long + SAME)
        here = min(count, 2 * deep * columns + behind_each_other)
        count -= here
        used = min(columns, ceil(here / (2 * deep))) * wide
        if here > 2 * deep * columns:
            used += one_wide
        after.append((free_wide - used, free_long))
    if count == 0:
        return 0, [*after, (0, 0)]
    room = usable + gap
    columns = floor(room / wide + SAME)
    a_row = 2 * columns
    if long == one_long:
        a_row = max(a_row + floor((room - columns * wide) / one_wide + SAME), 1)
    if a_row == 0:
        return inf, after
    rows = ceil(count / a_row)
    last = count - (rows - 1) * a_row
    if long > one_long and last * one_wide <= room * (1 + SAME):
        free = (max(room - last * one_wide, 0), flag["length"])
        return (rows - 1) * long + one_long, [*after, free]
    return rows * long, [*after, (max(room - ceil(last / 2) * wide, 0), long - gap)]


def areas(flags, prepregs, cutting):
    """Roll area of each flag, and its body and end, overhang and splices by itself."""
    alone = [by_itself(flag, prepregs[flag["material"]], cutting) for flag in flags]
    found = [0.0] * len(flags)
    for material in {flag["material"] for flag in flags}:
        mine = [k for k, flag in enumerate(flags) if flag["material"] == material]
        roll = prepregs[material].roll_width
        usable = roll - 2 * cutting.roll_edge
        straight = [k for k in mine if flags[k]["angle"] == 0]
        leaning = [k for k in mine if k not in straight]
        added, places = 0, []
        for k in sorted(straight, key=lambda k: -flags[k]["length"]):
            count = round(cutting.batch * flags[k]["pieces"])
            ways = [
                put(flags[k], count, tile, places, usable, cutting.gap)
                for tile in tiles(flags[k], cutting.gap)
            ]
            more, places = min(ways, key=lambda way: way[0])
            added += more
        triangle = max((alone[k][1] for k in leaning), default=0)
        whole = sum(alone[k][0] for k in leaning) + triangle
        whole += max(added * roll / cutting.batch - triangle / 2, 0)
        share = whole / sum(alone[k][0] + alone[k][1] for k in mine)
        for k in mine:
            found[k] = share * (alone[k][0] + alone[k][1])
    return found, alone
