"""Strength by plain loops: one ply, one sign of the load, one station at a time.

A *factor* is what a load may grow by until a ply fails; strains that are there without
the load count. Shares no code with the package.
"""

from math import inf, nan, pi, sqrt

import numpy as np

from tests.reference.plain_plies import own_stiffness, strain_rotation


def law_of(prepreg, ply, drop):
    """What a ply bears: allowable strains, quadratic criterion, free shrinkage."""

    def given(name, default):
        value = getattr(prepreg, name)
        return default if value is None else value

    pressed = given("strain_transverse_compression", 4 * prepreg.strain_transverse)
    along = (ply["E1"] * prepreg.strain_tension, ply["E1"] * prepreg.strain_compression)
    across = (ply["E2"] * prepreg.strain_transverse, ply["E2"] * pressed)
    shear = ply["G12"] * prepreg.strain_shear
    F11, F22 = 1 / along[0] / along[1], 1 / across[0] / across[1]
    F12 = -sqrt(F11 * F22) / 2
    return {
        "fibre": (prepreg.strain_tension, prepreg.strain_compression),
        "transverse": (prepreg.strain_transverse, pressed),
        "shear": (prepreg.strain_shear, prepreg.strain_shear),
        "stiffness": np.array(own_stiffness(ply)),
        "linear": np.array(
            [1 / along[0] - 1 / along[1], 1 / across[0] - 1 / across[1], 0.0]
        ),
        "square": np.array(
            [[F11, F12, 0.0], [F12, F22, 0.0], [0.0, 0.0, 1 / shear**2]]
        ),
        "shrink": drop
        * np.array(
            [
                given("expansion_along", 0.0),
                given("expansion_across", 30e-6),
                0.0,
            ]
        ),
    }


def residual_strain(rings, stiffnesses):
    """Axial, hoop and shear strain of a wall that has cooled, free of load."""
    A, held = np.zeros((3, 3)), np.zeros(3)
    for ring, Q in zip(rings, stiffnesses, strict=True):
        law, angle, is_pair, a, b = ring
        area = (b * b - a * a) / 2
        A += np.array(Q) * area
        T = np.array(strain_rotation(angle))
        stress = T.T @ law["stiffness"] @ law["shrink"]
        if is_pair:
            stress[2] = 0.0
        held += stress * area
    return -np.linalg.solve(A, held)


def strain_factor(bounds, load, there):
    tension, compression = bounds
    if there >= tension or there <= -compression:
        return 0.0
    if load > 0:
        return (tension - there) / load
    if load < 0:
        return (compression + there) / -load
    return inf


def quadratic_factor(law, load, there):
    """Return the factor, and the mode whose term is largest there."""
    s, t = law["stiffness"] @ load, law["stiffness"] @ there
    F, G = law["linear"], law["square"]
    left = max(1 - F @ t - t @ G @ t, 0.0)
    a, b = s @ G @ s, F @ s + 2 * s @ G @ t
    if a == 0:
        return inf if left else 0.0, None
    factor = 2 * left / (b + sqrt(b * b + 4 * a * left)) if left else 0.0
    s = t + factor * s
    terms = [F[i] * s[i] + G[i, i] * s[i] * s[i] for i in range(3)]
    i = terms.index(max(terms))
    name = ("fibre", "transverse", "shear")[i]
    sign = (" tension" if s[i] > 0 else " compression") if i < 2 else ""
    return factor, name + sign


def ply_factor(kind, law, load, there):
    """Factor on one load, and the mode of failure."""
    if kind == "quadratic":
        return quadratic_factor(law, load, there)
    if kind == "crack":
        either = (ply_factor(k, law, load, there) for k in ("transverse", "shear"))
        return min(either, key=first)
    i = ("fibre", "transverse", "shear").index(kind)
    factor = strain_factor(law[kind], load[i], there[i])
    stretched = load[i] > 0 if factor else there[i] > 0
    sign = (" tension" if stretched else " compression") if i < 2 else ""
    return factor, kind + sign


def first(item):
    return item[0]


def plies_of(ring, free):
    """Angle and strains without load of each ply of a ring; two plies of a pair."""
    law, angle, is_pair, _, _ = ring
    for side in (angle, -angle) if is_pair else (angle,):
        there = np.array(strain_rotation(side)) @ free + law["shrink"]
        yield np.array(strain_rotation(side)), there


def ring_factor(kind, ring, strain, free, signs=(1, -1)):
    """Least factor of a ring under a wall strain of either sign, and the mode."""
    found = (inf, None)
    for T, there in plies_of(ring, free):
        load = T @ strain
        for sign in signs:
            found = min(found, ply_factor(kind, ring[0], sign * load, there), key=first)
    return found


def station_factor(rings, strain_at, free, kind):
    """Least factor of a section whose wall strains are a function of the radius."""
    least = inf
    for ring in rings:
        _, _, _, a, b = ring
        if b > a:
            found = ring_factor(kind, ring, np.array(strain_at(b)), free)
            least = min(least, found[0])
    return least


def torsion_factor(rings, strain_at, free, quadratic, radius):
    """Torque that a section bears, its strains given per torque."""
    if quadratic:
        return station_factor(rings, strain_at, free, "quadratic")
    # the matrix holds the wall together until the last ply has sheared
    last = 0.0
    for ring in rings:
        law, angle, is_pair, a, b = ring
        if not b > a:
            continue
        for side in (angle, -angle) if is_pair else (angle,):
            strain = np.array(strain_rotation(side)) @ np.array(strain_at(radius))
            sheared = abs(strain[2])
            last = max(last, law["shear"][0] / sheared if sheared else inf)
    return min(last, station_factor(rings, strain_at, free, "fibre"))


def hoop_bending(rings, stiffnesses):
    """Neutral radius, hoop bending stiffness about it, hoop stretch of the wall."""
    stretch = moment = bending = 0.0
    for (_, _, _, a, b), Q in zip(rings, stiffnesses, strict=True):
        stretch += Q[1][1] * (b - a)
        moment += Q[1][1] * (b * b - a * a) / 2
    neutral = moment / stretch
    for (_, _, _, a, b), Q in zip(rings, stiffnesses, strict=True):
        bending += Q[1][1] * ((b - neutral) ** 3 - (a - neutral) ** 3) / 3
    return neutral, bending, stretch


def flattening_moment(EI, neutral, bending):
    """Brazier: the share z of the radius by which the round is flattened.

    Energy per length EI k² (1 - 3 z/2) / 2 + 9 π D z² / (2 r) is least at z = EI k² r /
    (12 π D); the moment EI k (1 - 3 z/2) is then largest at z = 2/9.
    """
    z = 2 / 9
    k = sqrt(12 * pi * bending * z / (EI * neutral))
    return EI * k * (1 - 3 * z / 2)


def crushed_ring(rings, stiffnesses, width):
    """Neutral radius; hoop strain per radius under the load and beside, and push."""
    neutral, bending, stretch = hoop_bending(rings, stiffnesses)
    under = neutral / pi  # moment per load, tension inside
    beside = neutral * (1 / 2 - 1 / pi)  # tension outside
    stiff = bending * width
    return neutral, under / stiff, beside / stiff, 1 / (2 * stretch * width)


def crush_load(rings, crushed, free, quadratic):
    """Load on the diameter of a cut ring that fails its first ply."""
    neutral, under, beside, push = crushed
    least = inf
    for ring in rings:
        _, _, _, a, b = ring
        if not b > a:
            continue
        for r in (a, b):
            arm = r - neutral
            for hoop in (-under * arm, beside * arm - push):
                strain = np.array([0.0, hoop, 0.0])
                for kind in ("quadratic",) if quadratic else ("fibre", "crack"):
                    least = min(least, ring_factor(kind, ring, strain, free, (1,))[0])
    return least


def trapeze(x, moment, a, b, c, d):
    """Moment that rises from a to b and falls from c to d."""
    if x <= a or x >= d:
        return 0.0
    if x < b:
        return moment * (x - a) / (b - a)
    if x > c:
        return moment * (d - x) / (d - c)
    return moment


def moment_margin(x, borne, required):
    """Least margin over the stations at which a moment is required; NaN if none."""
    margins = [
        b / required(xi) - 1 for xi, b in zip(x, borne, strict=True) if required(xi) > 0
    ]
    return min(margins) if margins else nan


def twist_between(x, GJ, a, b):
    """Twist per torque from a to b, 1/GJ linear in each cell."""
    total = 0.0
    for i in range(len(x) - 1):
        low, high = max(x[i], a), min(x[i + 1], b)
        if high <= low:
            continue
        ends = []
        for station in (low, high):
            share = (station - x[i]) / (x[i + 1] - x[i])
            ends.append((1 - share) / GJ[i] + share / GJ[i + 1])
        total += (high - low) * (ends[0] + ends[1]) / 2
    return total
