"""How far bending stiffness depends on direction, by plain loops; one point at a time.

The integrals over the arcs are exact here. Shares no code with the package.
"""

import cmath
from math import ceil, floor, pi, sqrt

WHOLE = 1e-6  # a part of a turn below this is none
TIP_GROUND = 1e-9  # a tip is ground if deeper than this [m]
LOOKS, MOST_LOOKS = 16, 64  # a turn and a cell, where flags run out


def arcs(clock, part, pieces):
    """Half the integral of exp(2iα), and the integral of exp(iα), over the arcs."""
    second = first = 0.0
    for piece in range(pieces):
        a = clock + pi * piece
        b = a + 2 * pi * part / pieces
        second += (cmath.exp(2j * b) - cmath.exp(2j * a)) / 4j
        if pieces == 1:  # opposite arcs cancel
            first += (cmath.exp(1j * b) - cmath.exp(1j * a)) / 1j
    return second, first


def energy_density(Q, r, hoop):
    """Of a ply at unit curvature and the wall's hoop strain, times the radius."""
    return (Q[0][0] * r * r + 2 * Q[0][1] * r * hoop + Q[1][1] * hoop * hoop) * r


def harmonics_of(flag, turns, inner, hoop, over, limit):
    """Second and first harmonic that a flag's partial ply brings."""
    layers = turns * flag["pieces"]
    whole = floor(layers + WHOLE)
    part = layers - whole
    a = inner + whole * flag["ply"]
    if part <= WHOLE or a >= limit:
        return 0.0, 0.0
    Q, b = flag["Q"], a + flag["ply"]
    energy = (
        Q[0][0] * (b**4 - a**4) / 4
        + 2 * Q[0][1] * hoop * (b**3 - a**3) / 3
        + Q[1][1] * hoop**2 * (b**2 - a**2) / 2
    )
    energy += flag["ply"] * over
    second, first = arcs(flag["clock"], part, flag["pieces"])
    return second * energy, first * energy


def look(point):
    """Add to a point its limit of standing steps and what each flag brings.

    A point is a dictionary: hoop strain, EI, radii bore, build and finished, grind,
    and its flags in rolling order, dictionaries again: whether there, turns, ply,
    pieces, clock, Q, and r_in, r_out as ground.
    """
    hoop, flags = point["hoop"], point["flags"]
    tip_depth = point["build"] - point["grind"] - point["finished"]
    point["limit"] = point["finished"] + max(point["grind"] - tip_depth, 0.0)
    there = [flag for flag in flags if flag["there"]]
    height = 0.0
    for flag in there:
        layers = flag["turns"] * flag["pieces"]
        whole = floor(layers + WHOLE)
        inside = flag["r_in"] + whole * flag["ply"]
        if layers - whole > WHOLE and inside < point["limit"]:
            height += ((layers - whole) * flag["ply"]) ** 2
    # grinding a tip round takes off what stands above its valleys
    off = 0.0
    if tip_depth > TIP_GROUND:
        left = [flag for flag in there if flag["r_out"] > flag["r_in"]]
        surface = energy_density(left[-1]["Q"], point["finished"], hoop)
        taken = min(tip_depth / sqrt(height), 1.0) if height else 1.0
        off = taken * surface
    for k, flag in enumerate(flags):
        flag["over"] = -off
        for other in flags[k + 1 :]:
            if other["there"]:
                rise = energy_density(other["Q"], other["r_out"], hoop)
                rise -= energy_density(other["Q"], other["r_in"], hoop)
                flag["over"] += rise
        flag["harmonics"] = (0.0, 0.0)
        if flag["there"]:
            flag["harmonics"] = harmonics_of(
                flag, flag["turns"], flag["r_in"], hoop, flag["over"], point["limit"]
            )


def spread_of(H, S, EI, bore, finished):
    """(max - min) / mean of EI."""
    # as in a wall of even modulus: first moment, tension stiffness
    S = S / finished
    EA = 4 * EI / (finished**2 + bore**2)
    return 2 * abs(H - S * S / (2 * EA)) / (EI - abs(S) ** 2 / (2 * EA))


def spread_at(point):
    H, S = (sum(flag["harmonics"][i] for flag in point["flags"]) for i in (0, 1))
    return spread_of(H, S, point["EI"], point["bore"], point["finished"])


def spreads_between(p, q, rates):
    """Spreads within a cell; rates are the turns that flags gain or lose a length.

    Flags with a rate pass through parts of a turn, all else is linear.
    """
    looks = ceil(LOOKS * max(rates) * (q["x"] - p["x"]) - 1e-6)
    looks = min(looks, MOST_LOOKS)
    for j in range(1, looks):
        b = j / looks

        def mixed(at_p, at_q, b=b):
            return (1 - b) * at_p + b * at_q

        total = [0.0, 0.0]
        for near, far, rate in zip(p["flags"], q["flags"], rates, strict=True):
            brings = [
                mixed(near["harmonics"][i], far["harmonics"][i]) for i in range(2)
            ]
            if rate > 0:
                brings = harmonics_of(
                    near,
                    *(mixed(near[key], far[key]) for key in ("turns", "r_in")),
                    mixed(p["hoop"], q["hoop"]),
                    mixed(near["over"], far["over"]),
                    mixed(p["limit"], q["limit"]),
                )
            total = [total[i] + brings[i] for i in range(2)]
        yield spread_of(
            *total, *(mixed(p[k], q[k]) for k in ("EI", "bore", "finished"))
        )
