"""One shaft evaluated by plain loops over floats: slow, and easy to check by eye.

Nothing here shares code with the package. Stations, walls, section sums, beam and
strength follow the formulas one point and one ring at a time; the frequency comes from
a dense eigenvalue solve instead of an iteration.
"""

from bisect import bisect_right
from math import ceil, cos, inf, nan, pi, radians, sin, sqrt

import numpy as np
from scipy.linalg import eigvals

LOOK = 1e-9  # how far a copy of a doubled point looks to its own side [m]
SAME = 1e-7  # marks closer than this are one [m]
CELL = 0.025  # longest cell [m]


# --- ply -------------------------------------------------------------------------


def halpin_tsai(fibre, matrix, Vf, xi):
    ratio = fibre / matrix
    eta = (ratio - 1) / (ratio + xi)
    return matrix * (1 + xi * eta * Vf) / (1 - eta * Vf)


def cured_ply(prepreg, bleed):
    """Cured ply of a prepreg that loses `bleed` of its mass as resin."""
    fibre, resin = prepreg.fibre, prepreg.resin
    content = (prepreg.resin_content - bleed) / (1 - bleed)
    fibre_volume = prepreg.faw / fibre.density  # per area
    resin_mass = prepreg.faw * content / (1 - content)
    thickness = fibre_volume + resin_mass / resin.density
    if prepreg.thickness is not None:
        thickness = prepreg.thickness
    Vf = fibre_volume / thickness
    Em = resin.modulus
    Gm = Em / (2 * (1 + resin.poisson))
    ply = {
        "thickness": thickness,
        "areal_mass": prepreg.faw + resin_mass,
        "density": (prepreg.faw + resin_mass) / thickness,
        "Vf": Vf,
        "E1": fibre.E1 * Vf + Em * (1 - Vf),
        "nu12": fibre.nu12 * Vf + resin.poisson * (1 - Vf),
        "E2": halpin_tsai(fibre.E2, Em, Vf, 2.0),
        "G12": halpin_tsai(fibre.G12, Gm, Vf, 1.0),
    }
    for key in ("E1", "E2", "G12", "nu12"):
        measured = getattr(prepreg, key)
        if measured is not None:
            ply[key] = measured
    return ply


def strain_rotation(angle):
    """Rows turn (axial, hoop, shear) strain into (fibre, transverse, shear) strain."""
    c, s = cos(angle), sin(angle)
    return [
        [c * c, s * s, c * s],
        [s * s, c * c, -c * s],
        [-2 * c * s, 2 * c * s, c * c - s * s],
    ]


def ring_stiffness(ply, angle, is_pair):
    """Stiffness of a ring as 3 rows (axial, hoop, shear); a pair has no coupling.

    From equal strain energy in both axes: T' Q T, T the rotation of strains.
    """
    nu21 = ply["nu12"] * ply["E2"] / ply["E1"]
    d = 1 - ply["nu12"] * nu21
    Q = [
        [ply["E1"] / d, ply["nu12"] * ply["E2"] / d, 0.0],
        [ply["nu12"] * ply["E2"] / d, ply["E2"] / d, 0.0],
        [0.0, 0.0, ply["G12"]],
    ]
    T = strain_rotation(angle)
    out = [[0.0] * 3 for _ in range(3)]
    for i in range(3):
        for j in range(3):
            for k in range(3):
                for m in range(3):
                    out[i][j] += T[k][i] * Q[k][m] * T[m][j]
    if is_pair:
        out[0][2] = out[2][0] = out[1][2] = out[2][1] = 0.0
    return out


# --- points ----------------------------------------------------------------------


def blank_ends(design):
    shaft = design.shaft
    return -shaft.trim_tip, shaft.length + shaft.trim_butt


def rolled_ends(flag, design):
    """Return start and end of a flag on the blank, before the trims are cut off."""
    low, high = blank_ends(design)
    start = low if flag.start == 0 else flag.start
    end = high if flag.end == design.shaft.length else flag.end
    return start, end


def marks_of(design, mandrel):
    """Return sorted (x, is_jump) of every place the mesh must hit."""
    shaft, finish, bench = design.shaft, design.finish, design.bench
    L = shaft.length
    low, high = blank_ends(design)
    found = [(low, False), (high, False), (0.0, False), (L, False)]
    for flag in design.flags:
        start, end = rolled_ends(flag, design)
        found += [(start, True), (end, True)]
        if flag.run_out_tip > 0:
            found.append((start + flag.run_out_tip, False))
        if flag.run_out_butt > 0:
            found.append((end - flag.run_out_butt, False))
    for distance in mandrel.distance:
        found.append((distance - shaft.mandrel_set, False))
    if finish.tip_diameter is not None:
        found.append((finish.tip_parallel, True))
        found.append((min(finish.tip_parallel + finish.tip_blend, L), True))
    on_shaft = [
        bench.torque_grip,
        bench.tip_hold,
        bench.tip_support,
        bench.tip_load_at,
        bench.strength_tip_support,
        bench.strength_from,
        bench.strength_a,
        bench.strength_b,
    ]
    on_shaft += [
        L - distance
        for distance in (
            bench.frequency_clamp,
            bench.torque_clamp,
            bench.butt_hold,
            bench.butt_support,
            bench.butt_load_at,
            bench.strength_to,
            bench.strength_butt_support,
        )
    ]
    for x in on_shaft:
        if 0 <= x <= L:
            found.append((x, False))
    marks = []
    for x, is_jump in sorted(found):
        if x < low or x > high:
            continue
        if marks and x - marks[-1][0] < SAME:
            marks[-1] = (marks[-1][0], marks[-1][1] or is_jump)
        else:
            marks.append((x, is_jump))
    return marks


def points_of(design, mandrel, cell=CELL):
    """Points of the blank as (x, look): position and where it looks for its wall."""
    marks = marks_of(design, mandrel)
    last = len(marks) - 1
    points = []
    for i, (x, is_jump) in enumerate(marks):
        if i == 0:
            points.append((x, x + LOOK))
        elif i == last:
            points.append((x, x - LOOK))
        elif is_jump:
            points.append((x, x - LOOK))
            points.append((x, x + LOOK))
        else:
            points.append((x, x))
        if i < last:
            gap = marks[i + 1][0] - x
            n_cells = ceil(gap / cell - 1e-9)
            for j in range(1, n_cells):
                inner = x + gap * j / n_cells
                points.append((inner, inner))
    return points


def inside(points, a, b):
    """Indices of the points in [a, b], of doubled ones the copies that look inside."""
    tol = LOOK / 2
    return [i for i, (_, look) in enumerate(points) if a - tol <= look <= b + tol]


# --- wall ------------------------------------------------------------------------


def mandrel_diameter(mandrel, distance):
    d, dia = mandrel.distance, mandrel.diameter
    i = min(max(bisect_right(d, distance) - 1, 0), len(d) - 2)
    return dia[i] + (dia[i + 1] - dia[i]) * (distance - d[i]) / (d[i + 1] - d[i])


def wraps_at(flag, design, x, look):
    start, end = rolled_ends(flag, design)
    if not start < look < end:
        return 0.0
    share = 1.0
    if flag.run_out_tip > 0:
        share = min(share, (x - start) / flag.run_out_tip)
    if flag.run_out_butt > 0:
        share = min(share, (end - x) / flag.run_out_butt)
    return flag.wraps * max(share, 0.0)


def walls_of(design, mandrel, plies, points):
    """Return rings, bore, build and finished radius and grinding limit of each point.

    A ring is (inner, outer, wraps) as rolled; `cut` holds the same rings after
    grinding as (inner, outer).
    """
    finish, shaft = design.finish, design.shaft
    walls = []
    for x, look in points:
        bore = mandrel_diameter(mandrel, shaft.mandrel_set + x) / 2
        r = bore
        rings = []
        for flag in design.flags:
            n = wraps_at(flag, design, x, look)
            t = plies[flag.material]["thickness"] * (2 if flag.is_pair else 1)
            rings.append((r, r + n * t, n))
            r = r + n * t
        walls.append({"bore": bore, "build": r, "rings": rings, "limit": None})
    if finish.tip_diameter is not None:
        parallel_end = finish.tip_parallel
        blend_end = min(parallel_end + finish.tip_blend, shaft.length)
        at_parallel_end = (finish.tip_diameter + finish.tip_taper * parallel_end) / 2
        beyond = len(points) - 1
        for i, (_, look) in enumerate(points):
            if look > blend_end:
                beyond = i
                break
        x_beyond = points[beyond][0]
        at_beyond = walls[beyond]["build"] - finish.grind
        for wall, (x, look) in zip(walls, points, strict=True):
            if look < parallel_end:
                wall["limit"] = (finish.tip_diameter + finish.tip_taper * x) / 2
            elif look < blend_end:
                share = (x - parallel_end) / (x_beyond - parallel_end)
                wall["limit"] = at_parallel_end + share * (at_beyond - at_parallel_end)
    for wall in walls:
        radius = wall["build"] - finish.grind
        if wall["limit"] is not None:
            radius = min(radius, wall["limit"])
        wall["finished"] = radius
        wall["cut"] = [(min(a, radius), min(b, radius)) for a, b, _ in wall["rings"]]
    return walls


def section_of(cut, stiffnesses):
    """Return EI, GJ, EA, kGA and the (hoop, shear) strain for unit curvature."""
    A2 = [[0.0] * 3 for _ in range(3)]
    A3 = [[0.0] * 3 for _ in range(3)]
    A4 = [[0.0] * 3 for _ in range(3)]
    for (a, b), Q in zip(cut, stiffnesses, strict=True):
        for i in range(3):
            for j in range(3):
                A2[i][j] += Q[i][j] * (b**2 - a**2) / 2
                A3[i][j] += Q[i][j] * (b**3 - a**3) / 3
                A4[i][j] += Q[i][j] * (b**4 - a**4) / 4
    y, s = solve_2x2(A2[1][1], A2[1][2], A2[2][2], A3[0][1], A3[0][2])
    EI = pi * (A4[0][0] - A3[0][1] * y - A3[0][2] * s)
    p, q = solve_2x2(A2[0][0], A2[0][1], A2[1][1], A3[0][2], A3[1][2])
    GJ = 2 * pi * (A4[2][2] - A3[0][2] * p - A3[1][2] * q)
    EA = 2 * pi * (A2[0][0] - A2[0][1] ** 2 / A2[1][1])
    return EI, GJ, EA, pi * A2[2][2], (-y, -s)


def solve_2x2(a, b, d, u, v):
    """Solve [a b; b d] z = (u, v)."""
    det = a * d - b * b
    return (d * u - b * v) / det, (a * v - b * u) / det


# --- integrals and beam ----------------------------------------------------------


def trapezoid(x, y):
    total = 0.0
    for i in range(len(x) - 1):
        total += (x[i + 1] - x[i]) * (y[i] + y[i + 1]) / 2
    return total


def product_integral(x, a, b):
    """Integral of the product of two functions that are linear in every cell."""
    total = 0.0
    for i in range(len(x) - 1):
        h = x[i + 1] - x[i]
        total += (
            h
            / 6
            * (
                2 * a[i] * b[i]
                + a[i] * b[i + 1]
                + a[i + 1] * b[i]
                + 2 * a[i + 1] * b[i + 1]
            )
        )
    return total


def swing(x, EI, m, tip, y, slope):
    """Deflected shape under the inertia loads of the shape (y, slope at the tip).

    Loads and flexibilities are linear in each cell; clamped at the last point.
    """
    mass, offset, inertia = tip
    n = len(x)
    force = mass * (y[0] + offset * slope)
    shear = [force]
    moment = [force * offset + inertia * slope]
    for i in range(n - 1):
        h = x[i + 1] - x[i]
        qa, qb = m[i] * y[i], m[i + 1] * y[i + 1]
        moment.append(moment[i] + shear[i] * h + h * h * (2 * qa + qb) / 6)
        shear.append(shear[i] + h * (qa + qb) / 2)
    k = [moment[i] / EI[i] for i in range(n)]
    out = [0.0] * n
    theta = [0.0] * n
    for i in range(n - 2, -1, -1):
        h = x[i + 1] - x[i]
        theta[i] = theta[i + 1] + h * (k[i] + k[i + 1]) / 2
        out[i] = out[i + 1] + theta[i + 1] * h + h * h * (2 * k[i + 1] + k[i]) / 6
    return out, theta[0]


def first_frequency(x, EI, m, tip):
    """Lowest frequency from the eigenvalues of the dense flexibility operator."""
    n = len(x)
    A = np.zeros((n + 1, n + 1))
    for j in range(n + 1):
        unit = [0.0] * n
        slope = 0.0
        if j < n:
            unit[j] = 1.0
        else:
            slope = 1.0
        y, theta = swing(x, EI, m, tip, unit, slope)
        for i in range(n):
            A[i, j] = y[i]
        A[n, j] = theta
    return 1 / (2 * pi * sqrt(max(eigvals(A).real)))


def overhang_drop(x, EI, load_at, support, hold, load):
    """Drop under a load on the overhang beyond `support`, held down at `hold`."""
    arm = abs(support - load_at)
    moment = []
    for xi in x:
        # merged stations may stand a rounding error off the load or the support
        if min(load_at, support) - SAME <= xi <= max(load_at, support) + SAME:
            moment.append(abs(xi - load_at))
        else:
            moment.append(arm * abs(hold - xi) / abs(hold - support))
    k = [moment[i] / EI[i] for i in range(len(x))]
    return load * product_integral(x, moment, k)


# --- strength --------------------------------------------------------------------


def envelope_moment(bench, length, x):
    a, b = bench.strength_tip_support, bench.strength_from
    c, d = length - bench.strength_to, length - bench.strength_butt_support
    if x <= a or x >= d:
        return 0.0
    if x < b:
        return bench.strength_moment * (x - a) / (b - a)
    if x > c:
        return bench.strength_moment * (d - x) / (d - c)
    return bench.strength_moment


def ring_margins(curvature, cut, common, flag, prepreg):
    """Margins of one ring: (fibre, transverse, shear), infinite where unstrained."""
    _, outer = cut
    strain = [curvature * outer, curvature * common[0], curvature * common[1]]
    T = strain_rotation(flag.angle)
    e1, e2, g12 = (sum(T[i][j] * strain[j] for j in range(3)) for i in range(3))
    fibre = min(prepreg.strain_tension, prepreg.strain_compression)
    return (
        fibre / abs(e1) - 1 if e1 else inf,
        prepreg.strain_transverse / abs(e2) - 1 if e2 else inf,
        prepreg.strain_shear / abs(g12) - 1 if g12 else inf,
    )


def least_margins(design, library, walls, sections, i, moment):
    """Least fibre margin and least cracking margin at point i, each with its flag."""
    fibre, cracking = (inf, None, None), (inf, None, None)
    for flag, cut in zip(design.flags, walls[i]["cut"], strict=True):
        if not cut[1] > cut[0]:
            continue
        prepreg = library.prepregs[flag.material]
        f, t, s = ring_margins(
            moment / sections[i][0], cut, sections[i][4], flag, prepreg
        )
        if f < fibre[0]:
            weak = prepreg.strain_compression < prepreg.strain_tension
            fibre = (f, flag.name, "fibre compression" if weak else "fibre tension")
        if t < cracking[0]:
            cracking = (t, flag.name, "transverse tension")
        if s < cracking[0]:
            cracking = (s, flag.name, "shear")
    return fibre, cracking


def strength_points(design, library, points, walls, sections):
    L, bench = design.shaft.length, design.bench
    found = {}
    for name, station, span in (
        ("T", bench.strength_from, 0.150),
        ("A", bench.strength_a, 0.300),
        ("B", bench.strength_b, 0.300),
        ("C", L - bench.strength_to, 0.300),
    ):
        if station - span / 2 < -SAME or station + span / 2 > L + SAME:
            found[name] = {"station": station, "margin": nan, "flag": None}
            continue
        best, crack = (inf, None, None), (inf, None, None)
        for i, (x, _) in enumerate(points):
            if abs(x - station) < SAME:
                f, c = least_margins(
                    design, library, walls, sections, i, bench.strength_moment
                )
                best, crack = min(best, f, key=first), min(crack, c, key=first)
        found[name] = {
            "station": station,
            "margin": best[0],
            "flag": best[1],
            "mode": best[2],
            "cracking_margin": crack[0],
            "cracking_flag": crack[1],
            "cracking_mode": crack[2],
        }
    return found


def first(item):
    return item[0]


# --- flags on the roll -----------------------------------------------------------


def flag_areas(design, library, plies, points, walls, i_flag):
    """Areas, splices, cost and masses of one flag."""
    flag, cutting = design.flags[i_flag], design.cutting
    prepreg, ply = library.prepregs[flag.material], plies[flag.material]
    pieces = 2 if flag.is_pair else 1
    start, end = rolled_ends(flag, design)
    x, w = [], []
    for i in inside(points, start, end):
        r_in, _, n = walls[i]["rings"][i_flag]
        x.append(points[i][0])
        w.append(n * pi * (2 * r_in + pieces * n * ply["thickness"]))
    net = pieces * trapezoid(x, w)
    length = end - start
    b = net / (pieces * length) + cutting.gap
    angle = abs(flag.angle)
    usable = prepreg.roll_width - 2 * cutting.roll_edge
    if angle > 0:
        # cos(pi/2) is not exactly nothing in floats; a hoop piece has no slanted ends
        cosine = 0.0 if angle >= radians(90) - 1e-12 else cos(angle)
        span = length * sin(angle) + b * cosine
        share = prepreg.roll_width / (usable - b * cosine)
    else:
        span = b
        share = prepreg.roll_width / usable
    splices, overhang = 0, 0.0
    if span > usable:
        if angle >= cutting.splice_from:
            splices = ceil(span / usable) - 1
        else:
            overhang = span - usable
    gross = pieces * (length + cutting.gap) * b * share
    shaft_x, shaft_m = [], []
    for i in inside(points, 0.0, design.shaft.length):
        a, c = walls[i]["cut"][i_flag]
        shaft_x.append(points[i][0])
        shaft_m.append(ply["density"] * pi * (c * c - a * a))
    return {
        "cut_station": x,
        "cut_width": w,
        "cut_length": length,
        "pieces": pieces,
        "area_net": net,
        "area_gross": gross,
        "mass": trapezoid(shaft_x, shaft_m),
        "mass_cut": net * prepreg.faw / (1 - prepreg.resin_content),
        "cost": gross * prepreg.price,
        "splices": splices,
        "overhang": overhang,
    }


# --- shop ------------------------------------------------------------------------


def shop_measures(design, points, walls, on_shaft, step_length, flag_reports):
    finish = design.finish
    wall_min, step, bias = inf, 0.0, 0.0
    for i in on_shaft:
        wall = walls[i]
        wall_min = min(wall_min, wall["finished"] - wall["bore"])
        for flag, (a, b, _), (ca, cb) in zip(
            design.flags, wall["rings"], wall["cut"], strict=True
        ):
            if 1e-9 < abs(flag.angle) < radians(90) - 1e-9:
                bias = max(bias, (b - a) - (cb - ca))
        for j in on_shaft:
            if abs(points[i][0] - points[j][0]) <= step_length + LOOK:
                step = max(step, 2 * abs(wall["finished"] - walls[j]["finished"]))
    shortage, depth = 0.0, 0.0
    for i in on_shaft:
        limit = walls[i]["limit"]
        if limit is None:
            continue
        straight = walls[i]["build"] - finish.grind
        depth = max(depth, straight - limit)
        if points[i][1] < finish.tip_parallel:
            shortage = max(shortage, limit - straight)
    return {
        "wall_min": wall_min,
        "diameter_step": step,
        "tip_shortage": shortage,
        "tip_grind_depth": depth,
        "bias_ground": bias,
        "roll_overhang": max(f["overhang"] for f in flag_reports),
    }


# --- the whole -------------------------------------------------------------------


def evaluate(design, library, ei_stations=(), cell=CELL, step_length=0.010):
    """Everything the package reports on one design, in SI, as a dictionary."""
    shaft, finish, bench = design.shaft, design.finish, design.bench
    L = shaft.length
    mandrel = library.mandrels[shaft.mandrel]
    plies = {
        f.material: cured_ply(library.prepregs[f.material], finish.resin_bleed)
        for f in design.flags
    }
    stiffnesses = [
        ring_stiffness(plies[f.material], f.angle, f.is_pair) for f in design.flags
    ]
    points = points_of(design, mandrel, cell)
    walls = walls_of(design, mandrel, plies, points)
    sections = [section_of(wall["cut"], stiffnesses) for wall in walls]
    m = []
    for wall, (_, look) in zip(walls, points, strict=True):
        line = 0.0
        for flag, (a, b) in zip(design.flags, wall["cut"], strict=True):
            line += plies[flag.material]["density"] * pi * (b * b - a * a)
        if finish.tip_diameter is None or look > finish.tip_parallel:
            line += finish.coating * 2 * pi * wall["finished"]
        m.append(line)

    on_shaft = inside(points, 0.0, L)
    x = [points[i][0] for i in on_shaft]
    EI = [sections[i][0] for i in on_shaft]
    GJ = [sections[i][1] for i in on_shaft]
    line = [m[i] for i in on_shaft]
    reports = [
        flag_areas(design, library, plies, points, walls, i)
        for i in range(len(design.flags))
    ]

    weight = trapezoid(x, line)
    centre = product_integral(x, line, x) / weight

    def part(a, b):
        keep = inside(points, a, b)
        return [points[i][0] for i in keep], keep

    frequency = nan
    if 0 < L - bench.frequency_clamp <= L:
        xs, keep = part(0.0, L - bench.frequency_clamp)
        tip = (bench.tip_mass, bench.tip_mass_offset, bench.tip_mass_inertia)
        frequency = first_frequency(
            xs, [sections[i][0] for i in keep], [m[i] for i in keep], tip
        )
    twist = nan
    if 0 <= bench.torque_grip < L - bench.torque_clamp <= L:
        xs, keep = part(bench.torque_grip, L - bench.torque_clamp)
        twist = bench.torque_moment * trapezoid(xs, [1 / sections[i][1] for i in keep])
    butt = nan
    if 0 <= L - bench.butt_load_at < L - bench.butt_support < L - bench.butt_hold <= L:
        stations = [
            L - d for d in (bench.butt_load_at, bench.butt_support, bench.butt_hold)
        ]
        xs, keep = part(stations[0], stations[2])
        butt = overhang_drop(
            xs, [sections[i][0] for i in keep], *stations, bench.butt_load
        )
    tip_drop = nan
    if 0 <= bench.tip_hold < bench.tip_support < bench.tip_load_at <= L:
        xs, keep = part(bench.tip_hold, bench.tip_load_at)
        tip_drop = overhang_drop(
            xs,
            [sections[i][0] for i in keep],
            bench.tip_load_at,
            bench.tip_support,
            bench.tip_hold,
            bench.tip_load,
        )

    margins, where, crack = [], (inf, None, None, None), (inf, None, None, None)
    for i in on_shaft:
        moment = envelope_moment(bench, L, points[i][0])
        f, c = least_margins(design, library, walls, sections, i, moment)
        margins.append(f[0])
        where = min(where, (*f, points[i][0]), key=first)
        crack = min(crack, (*c, points[i][0]), key=first)

    EI_at = []
    for station in ei_stations:
        values = [
            sections[i][0]
            for i, (px, _) in enumerate(points)
            if abs(px - station) < SAME
        ]
        if not values:
            right = next(i for i, (px, _) in enumerate(points) if px > station)
            (a, _), (b, _) = points[right - 1], points[right]
            share = (station - a) / (b - a)
            near, far = sections[right - 1][0], sections[right][0]
            values = [near + share * (far - near)]
        EI_at.append(sum(values) / len(values))

    return {
        "metrics": {
            "weight": weight,
            "balance_point": L - centre,
            "frequency": frequency,
            "torque": twist,
            "tip_diameter": 2 * walls[on_shaft[0]]["finished"],
            "butt_diameter": 2 * walls[on_shaft[-1]]["finished"],
            "tip_deflection": tip_drop,
            "butt_deflection": butt,
            "flex_point_ratio": tip_drop / (tip_drop + butt),
            "material_cost": sum(r["cost"] for r in reports),
            # an envelope that is full nowhere on the shaft tests nothing
            "durability": nan
            if bench.strength_from > L - bench.strength_to
            else where[0],
        },
        "profile": {
            "station": x,
            "inner_diameter": [2 * walls[i]["bore"] for i in on_shaft],
            "outer_diameter": [2 * walls[i]["finished"] for i in on_shaft],
            "build_diameter": [2 * walls[i]["build"] for i in on_shaft],
            "EI": EI,
            "GJ": GJ,
            "mass_per_length": line,
            "margin": margins,
        },
        "flags": reports,
        "envelope": {
            "margin": where[0],
            "flag": where[1],
            "mode": where[2],
            "station": where[3],
            "cracking_margin": crack[0],
            "cracking_flag": crack[1],
            "cracking_mode": crack[2],
        },
        "strength": strength_points(design, library, points, walls, sections),
        "EI_at": EI_at,
        "shop": shop_measures(design, points, walls, on_shaft, step_length, reports),
    }
