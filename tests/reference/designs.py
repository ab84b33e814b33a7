"""Random designs that a shop could roll, with every feature a design can have."""

import math
from dataclasses import replace

import numpy as np

from model import (
    Bench,
    Costs,
    Cutting,
    Design,
    Finish,
    Flag,
    InputError,
    Shaft,
    evaluate,
)

#: Where the tests ask for EI. [m]
EI_STATIONS = (0.2, 0.4375, 0.8)


def stations_of(design):
    """Where to ask for EI: between the points, and on a jump of this design."""
    ends = [f.end for f in design.flags if f.end < design.shaft.length]
    return (*EI_STATIONS, ends[0])


def random_design(rng, library):
    """One design, its tip not ground."""
    mandrel = library.mandrels[str(rng.choice(list(library.mandrels)))]
    trim_tip, trim_butt = (0.010, 0.015) if rng.random() < 0.6 else (0.0, 0.0)
    offset = trim_tip + float(np.round(rng.uniform(0.0, 0.09), 3))
    longest = min(mandrel.distance[-1] - offset - trim_butt, 1.17)
    length = float(np.round(rng.uniform(0.98, longest), 3))
    materials = list(library.prepregs)

    def flag(name, angle, start, end, wraps, *, is_pair=False, tip=0.0, butt=0.0):
        thin = [m for m in materials if library.prepregs[m].faw <= 0.05]
        wide = [m for m in materials if library.prepregs[m].roll_width >= 1.0]
        return Flag(
            name=name,
            material=str(rng.choice(thin if angle == 90 else wide)),
            angle=math.radians(angle),
            is_pair=is_pair,
            start=float(np.round(start, 4)),
            end=float(np.round(end, 4)),
            wraps=wraps,
            run_out_tip=tip,
            run_out_butt=butt,
        )

    def station(low, high):
        return float(np.round(rng.uniform(low, high), 3))

    def half(low, high):
        return float(rng.integers(2 * low, 2 * high + 1)) / 2.0

    def any_number(low, high):
        return float(np.round(rng.uniform(low, high), 2))

    flags = [
        flag(
            "pair", int(rng.choice([30, 40, 45])), 0.0, length, half(1, 3), is_pair=True
        )
    ]
    if rng.random() < 0.5:
        end = station(0.5, length - 0.01)
        flags.append(flag("short pair", 45, 0.0, end, half(1, 2), is_pair=True))
    if rng.random() < 0.5:
        flags.append(flag("hoop", 90, 0.0, length, float(rng.integers(1, 3))))
    run_out = float(rng.choice([0.0, 0.06, 0.08]))
    turns = half(2, 6) if rng.random() < 0.7 else any_number(2, 6)
    flags.append(flag("tip", 0, 0.0, station(0.15, 0.45), turns, butt=run_out))
    if rng.random() < 0.5:
        ends = (station(0.2, 0.5), station(0.6, 0.9))
        flags.append(flag("middle", 0, *ends, half(1, 2), tip=run_out, butt=run_out))
    if rng.random() < 0.5:
        flags.append(
            flag("butt", 0, station(0.6, 0.85), length, half(1, 3), tip=run_out)
        )
    if rng.random() < 0.3:
        # thins out towards the ends of the blank, which the trims cut off
        thinned = flag("thinned", 0, 0.0, length, any_number(1, 2))
        flags.append(replace(thinned, run_out_tip=0.05, run_out_butt=0.035))
    if rng.random() < 0.3:
        angle = int(rng.choice([-30, 20, 45]))
        flags.append(flag("single", angle, 0.0, length, half(1, 2)))
    flags = [flags[i] for i in rng.permutation(len(flags))]
    flags.append(flag("outer", 0, 0.0, length, half(2, 5)))
    finish = Finish(
        grind=float(rng.choice([0.0, 0.05e-3])),
        coating=float(rng.choice([0.0, 0.05])),
        resin_bleed=float(rng.choice([0.0, 0.01])),
    )
    bench = Bench()
    if rng.random() < 0.5:
        bench = Bench(
            tip_mass=0.196,
            tip_mass_offset=0.035,
            tip_mass_inertia=2.0e-4,
            butt_load_at=0.93,
            torque_clamp=0.150,
        )
    costs = Costs()
    if len(flags) % 2 == 0:
        costs = Costs(
            labour_per_flag=1.25,
            labour_per_shaft=6.0,
            consumables_per_shaft=2.5,
            scrap=0.04,
        )
    return Design(
        name="random",
        shaft=Shaft(
            length=length,
            mandrel=mandrel.name,
            mandrel_set=offset,
            trim_tip=trim_tip,
            trim_butt=trim_butt,
        ),
        finish=finish,
        flags=tuple(flags),
        bench=bench,
        cutting=Cutting(splice_from=math.radians(15.0)),
        costs=costs,
    )


def with_more(design, rng, library):
    """The design with straight-edged pieces, stated edges, or other bench tests."""

    def often():
        return rng.random() < 0.6

    mandrel, shaft = library.mandrels[design.shaft.mandrel], design.shaft

    def straight_edged(flag):
        """As wide as the flag's turns ask for on the bare mandrel, a little off."""
        prepreg = library.prepregs[flag.material]
        turn = prepreg.cured(design.finish.resin_bleed).thickness
        turn *= 2 if flag.is_pair else 1
        widths = []
        for x in (flag.start, flag.end):
            at = np.interp(x + shaft.mandrel_set, mandrel.distance, mandrel.diameter)
            width = flag.wraps * math.pi * (at + 1.5e-3 + flag.wraps * turn)
            widths.append(round(float(width * rng.uniform(0.95, 1.1)), 4))
        return replace(
            flag,
            wraps=0.0,
            run_out_tip=0.0,
            run_out_butt=0.0,
            width_tip=widths[0],
            width_butt=widths[1],
        )

    flags = []
    for flag in design.flags:
        if flag.angle != math.pi / 2 and rng.random() < 0.3:
            flag = straight_edged(flag)
        if rng.random() < 0.5:
            clock = math.radians(round(rng.uniform(0.0, 360.0), 1))
            flag = replace(flag, clock=clock)
        flags.append(flag)
    changes = {}
    if often():
        changes["strength_criterion"] = str(rng.choice(["quadratic", "maximum strain"]))
        changes["temperature_drop"] = float(rng.choice([0.0, 60.0, 100.0]))
    if often():
        changes["impact_moment"] = 25.0
        changes["impact_at"] = float(rng.choice([0.035, 0.050]))
    if often():
        changes["frequency_clamp_compliance"] = 4e-4
    if often():
        changes["torque_clamp_at"] = 0.900
    if often():
        changes["cantilever_load_at"] = 0.012
        changes["cantilever_clamp"] = 0.140
        changes["torsion_grip"] = 0.047
    return replace(design, flags=tuple(flags), bench=replace(design.bench, **changes))


def with_ground_tip(design, tip_diameter, rng):
    """The design with its tip ground to a diameter."""
    finish = replace(
        design.finish,
        tip_diameter=tip_diameter,
        tip_parallel=0.076,
        tip_blend=float(rng.choice([0.0, 0.080])),
        tip_taper=float(rng.choice([0.0, 0.002])),
    )
    return replace(design, finish=finish)


def tip_as_rolled(design, library):
    return evaluate(design, library).metrics["tip_diameter"]


def random_designs(n, seed, library):
    """n designs; every third has its tip ground, every other one more features."""
    rng, more = np.random.default_rng(seed), np.random.default_rng([seed, 1])
    designs = []
    while len(designs) < n:
        design = random_design(rng, library)
        if len(designs) % 2 == 1:
            design = with_more(design, more, library)
        if len(designs) % 3 == 0:
            tip = round(tip_as_rolled(design, library) - 0.3e-3, 6)
            design = with_ground_tip(design, tip, rng)
            try:
                evaluate(design, library)
            except InputError:  # ground through the wall: draw another one
                continue
        designs.append(design)
    return designs


def unmakeable_designs(n, seed, library):
    """n designs with too thin a tip (even ones) or too wide a piece (odd ones)."""
    rng = np.random.default_rng(seed)
    designs = []
    while len(designs) < n:
        design = random_design(rng, library)
        if len(designs) % 2 == 0:
            tip = round(tip_as_rolled(design, library) + 0.2e-3, 6)
            design = with_ground_tip(design, tip, rng)
        else:
            whole = replace(design.flags[-1], material="pitch-100", is_pair=True)
            wide = replace(whole, name="wide", angle=math.radians(60.0))
            cutting = Cutting(splice_from=math.radians(80.0))
            design = replace(design, flags=(wide, *design.flags), cutting=cutting)
        designs.append(design)
    return designs
