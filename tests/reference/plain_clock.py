"""How far bending stiffness depends on direction, by plain loops; one point at a time.

The integrals over the arcs are exact here. Shares no code with the package.
"""

import cmath
from math import floor, pi, sqrt

WHOLE = 1e-6  # a part of a turn below this is none
TIP_GROUND = 1e-9  # a tip is ground if deeper than this [m]


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


def spread_at(flags, hoop, EI, bore, build, finished, grind):
    """(max - min) / mean of EI at one point.

    Flags, in rolling order, are dictionaries: whether there, turns, ply, pieces, clock,
    Q, and r_in, r_out as ground.
    """

    def energy_density(Q, r):
        """Of a ply at unit curvature and the wall's hoop strain, times the radius."""
        return (Q[0][0] * r * r + 2 * Q[0][1] * r * hoop + Q[1][1] * hoop * hoop) * r

    tip_depth = build - grind - finished
    limit = finished + max(grind - tip_depth, 0.0)
    there = [flag for flag in flags if flag["there"]]
    steps = []
    for i, flag in enumerate(there):
        layers = flag["turns"] * flag["pieces"]
        whole = floor(layers + WHOLE)
        part = layers - whole
        inside = flag["r_in"] + whole * flag["ply"]
        if part > WHOLE and inside < limit:
            steps.append((i, part, inside))

    # grinding a tip round takes off what stands above its valleys
    off = 0.0
    if tip_depth > TIP_GROUND and steps:
        height = sqrt(sum((part * there[i]["ply"]) ** 2 for i, part, _ in steps))
        left = [flag for flag in there if flag["r_out"] > flag["r_in"]]
        surface = energy_density(left[-1]["Q"], finished)
        off = min(tip_depth / height, 1.0) * surface

    H = S = 0.0
    for i, part, inside in steps:
        flag = there[i]
        Q, a, b = flag["Q"], inside, inside + flag["ply"]
        energy = (
            Q[0][0] * (b**4 - a**4) / 4
            + 2 * Q[0][1] * hoop * (b**3 - a**3) / 3
            + Q[1][1] * hoop**2 * (b**2 - a**2) / 2
        )
        for over in there[i + 1 :]:
            rise = energy_density(over["Q"], over["r_out"])
            energy += flag["ply"] * (rise - energy_density(over["Q"], over["r_in"]))
        energy -= flag["ply"] * off
        second, first = arcs(flag["clock"], part, flag["pieces"])
        H += second * energy
        S += first * energy
    # as in a wall of even modulus: first moment, tension stiffness
    S /= finished
    EA = 4 * EI / (finished**2 + bore**2)
    return 2 * abs(H - S * S / (2 * EA)) / (EI - abs(S) ** 2 / (2 * EA))
