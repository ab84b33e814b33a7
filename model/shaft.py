"""One shaft, evaluated: the facade that people and programs call."""

import math

import numpy as np
from numpy.typing import NDArray

from model.batch import evaluate_batch
from model.breaking import (
    breaking_points,
    curvature_of,
    envelope_of,
    margin_at_points,
    rings_of,
    strength_points,
)
from model.conditions import (
    CELL,
    Conditions,
    Layups,
    layups_of,
)
from model.design import CRITERIA, Design, design_id
from model.direction import clock_of, clock_positions, harmonics_around, rolled_of
from model.edges import Suggestion, suggest_clocks
from model.errors import Fault, InputError
from model.exact_wall import ExactWall, exact_wall
from model.governing import (
    FIBRE,
    QUADRATIC,
    Governing,
    governing_plies,
)
from model.laminate import Q22
from model.layers import flag_report, layers_of
from model.library import Library
from model.metrics import (
    BIAS_GROUND,
    METRICS,
    ROLL_OVERHANG,
    TIP_GRIND_DEPTH,
    TIP_SHORTAGE,
    WALL_MIN,
)
from model.report import (
    Amount,
    Profile,
    Remark,
    Report,
    SectionCheck,
    angle_text,
)
from model.scratch import Work, point_at, workspace
from model.shell import D22, N_HOOP, add_hoop, close_hoop
from model.units import amount_text

Array = NDArray[np.float64]

#: Radial depth of tip grinding above which is warned. [m]
DEEP_GRIND = 0.5e-3
#: Deflection over length above which small-deflection theory is warned about.
LARGE_DEFLECTION = 0.25
#: Twist of a pulled shaft above which is warned: coupling² over EA·GJ. [-]
COUPLED = 1e-6
#: Difference of the fast and the exact section above which is warned.
SECTION_DIFFERENCE = 0.01


def evaluate(
    design: Design,
    library: Library,
    *,
    cell: float = CELL,
    exact: bool = False,
    must_build: bool = True,
) -> Report:
    """Evaluate one design.

    Parameters
    ----------
    design : Design
        The shaft. [SI]
    library : Library
        Its materials and mandrel. [-]
    cell : float
        Longest cell between two points. [m]
    exact : bool
        Predict with the section of three-dimensional elasticity, and say how far the
        fast one is from it. [-]
    must_build : bool
        Whether a design that cannot be built is refused; else it is evaluated as its
        wall would come out, with its `obstacles`, as long as there is a wall. [-]

    Returns
    -------
    report : Report
        Metrics, profile, flags, strength, warnings. [SI]

    Raises
    ------
    InputError
        If the wall is ground through; where it must be built, also if it is too thin
        for the tip diameter, or a piece lies wider than the roll.
    """
    shared, layups = _alone(design, library, cell)
    size = (shared, len(design.flags), design.shaft.length)
    work, exact_work = workspace(*size), workspace(*size)
    fast = evaluate_batch(layups, shared, work=work)
    obstacles = _obstacles(design, fast.shop[0], work)
    if obstacles and (must_build or fast.shop[0, WALL_MIN] <= 0.0):
        raise InputError(design.name, obstacles)
    plies = dict(zip(shared.sheets, shared.plies, strict=True))
    layers = layers_of(design, plies, work)
    wall = exact_wall(design, plies, layers, work)
    given = np.array([wall.section.EI, wall.section.GJ, wall.use])
    slow = evaluate_batch(layups, shared, work=exact_work, given=given)
    section = _section_check(work, wall, _named(slow.metrics[0]))
    chosen = exact_work if exact else work
    batch = slow if exact else fast
    metrics = _named(batch.metrics[0])
    is_plain = design.bench.temperature_drop == 0.0
    is_plain = is_plain and design.bench.strength_criterion == CRITERIA[0]

    def governing(load: Array) -> Governing:
        if exact and is_plain:
            return wall.governing(load)
        rings = rings_of(shared, layups, chosen)
        named = governing_plies(rings, chosen.bending[:, :n_all], load, free)
        n_flags = len(design.flags)
        return named._replace(ring=np.where(named.ring < 0, -1, named.ring % n_flags))

    n_x, tip, butt = (int(count) for count in work.counts[:3])
    n_all = n_x + int(work.counts[4])
    free = None if is_plain else np.ascontiguousarray(work.free[:, :n_all])
    envelope = curvature_of(envelope_of(design, chosen), chosen)
    envelope[:tip] = envelope[butt + 1 : n_x] = 0.0
    row = QUADRATIC if design.bench.strength_criterion != CRITERIA[0] else FIBRE
    found = governing(envelope)
    finished = slice(tip, butt + 1)
    shell = np.zeros((N_HOOP, n_all))
    for k, index in enumerate(layups.sheet[0]):
        q22 = float(shared.numbers.sheets[index, Q22])
        for first, last in ((work.first[k], work.last[k]), (n_x, n_all - 1)):
            add_hoop(q22, work.r_in[k], work.r_out[k], first, last, shell)
    close_hoop(n_all, design.bench.crush_width, shell)
    rolled = rolled_of(shared, layups, 0, chosen)
    positions = clock_positions(rolled.clock)
    bench = design.bench
    clamp_at = design.shaft.length - bench.frequency_clamp
    fits = 0.0 < clamp_at <= design.shaft.length
    profile = Profile(
        station=work.x[finished].copy(),
        inner_diameter=2.0 * work.mandrel[finished],
        outer_diameter=2.0 * work.finished[finished],
        build_diameter=2.0 * work.build[finished],
        EI=chosen.EI[finished].copy(),
        GJ=chosen.GJ[finished].copy(),
        mass_per_length=work.m[finished].copy(),
        kGA=wall.section.kGA[finished],
        EA=wall.section.EA[finished],
        coupling=wall.section.coupling[finished],
        D22=shell[D22, finished].copy(),
        margin=margin_at_points(found.margin[row], work)[finished],
    )
    return Report(
        design=design,
        design_id=design_id(design, library),
        metrics=metrics,
        profile=profile,
        flags=tuple(
            flag_report(k, layer, design, library, plies, work)
            for k, layer in enumerate(layers)
        ),
        strength=strength_points(design, chosen, row, governing, envelope, found),
        breaking=breaking_points(
            design, shared, layups, chosen, metrics, row, governing, shell, free
        ),
        clock=clock_of(
            rolled,
            positions,
            harmonics_around(rolled, positions),
            work.m[:n_x],
            int(point_at(work.x, n_x, clamp_at, False)) if fits else None,
            tip_mass=bench.tip_mass,
            tip_mass_offset=bench.tip_mass_offset,
            tip_mass_inertia=bench.tip_mass_inertia,
            clamp_compliance=bench.frequency_clamp_compliance,
        ),
        section=section,
        remarks=tuple(_remarks(design, batch.shop[0], metrics, profile, section)),
        obstacles=obstacles,
        currency=library.currency,
    )


def suggest_clock_positions(design: Design, library: Library) -> Suggestion:
    """Where the cut edges should lie, so that a shaft bends alike in all directions.

    Parameters
    ----------
    design : Design
        The shaft; flags with a stated position keep it. [SI]
    library : Library
        Its materials and mandrel. [-]

    Returns
    -------
    suggestion : Suggestion
        Positions in rolling order, worst spread before and after. [rad, -]

    Raises
    ------
    InputError
        If the shaft cannot be built.
    """
    # where flags run out it is the stations that tell one part of a turn from another
    shared, layups = _alone(design, library, CELL / 10.0)
    work = workspace(shared, len(design.flags), design.shaft.length)
    batch = evaluate_batch(layups, shared, work=work)
    if obstacles := _obstacles(design, batch.shop[0], work):
        raise InputError(design.name, obstacles)
    free = np.array([flag.clock is None for flag in design.flags])
    return suggest_clocks(rolled_of(shared, layups, 0, work), free)


def _alone(design: Design, library: Library, cell: float) -> tuple[Conditions, Layups]:
    """Conditions of one design, and the design as a batch of one."""
    shared = Conditions.for_designs(library, [design], cell=cell)
    return shared, layups_of([design], shared)


def _named(metrics: Array) -> dict[str, float | None]:
    return {
        metric.key: None if math.isnan(value) else float(value)
        for metric, value in zip(METRICS, metrics, strict=True)
    }


def _section_check(
    work: Work, wall: ExactWall, metrics: dict[str, float | None]
) -> SectionCheck:
    """Compare the fast section with the exact one along the finished shaft."""
    tip, butt = work.counts[1], work.counts[2]
    finished = slice(tip, butt + 1)
    EI = work.EI[finished] / wall.section.EI[finished] - 1.0
    GJ = work.GJ[finished] / wall.section.GJ[finished] - 1.0
    i, j = int(np.argmax(np.abs(EI))), int(np.argmax(np.abs(GJ)))
    return SectionCheck(
        EI_difference=float(EI[i]),
        EI_station=float(work.x[tip + i]),
        GJ_difference=float(GJ[j]),
        GJ_station=float(work.x[tip + j]),
        metrics=metrics,
    )


def _obstacles(design: Design, shop: Array, work: Work) -> tuple[Fault, ...]:
    """Why a design cannot be built."""
    faults = []
    finish = design.finish
    if shop[WALL_MIN] <= 0.0:
        tip, butt = work.counts[1:3]
        wall = work.finished[tip : butt + 1] - work.mandrel[tip : butt + 1]
        at = int(np.argmin(wall))
        build = work.build[tip + at] - work.mandrel[tip + at]
        faults.append(
            Fault(
                "[finish]",
                "grind" if finish.grind >= build else "tip_diameter",
                f"{1e3 * (work.build - work.finished)[tip + at]:.3f} mm off the radius",
                f"ground through the wall at {1e3 * work.x[tip + at]:.1f} mm, where "
                f"the build is {1e3 * build:.3f} mm thick. Grind less or add a flag "
                "there.",
            )
        )
    if shop[TIP_SHORTAGE] > 1e-9 and finish.tip_diameter is not None:
        short = amount_text(2e3 * shop[TIP_SHORTAGE], 3)
        faults.append(
            Fault(
                "[finish]",
                "tip_diameter",
                f"{1e3 * finish.tip_diameter:.3f} mm",
                f"the build is too thin for it: {short} mm of diameter are missing "
                "within the tip parallel. Add wraps at the tip, or set the mandrel so "
                "that the tip lies further up it.",
            )
        )
    if shop[ROLL_OVERHANG] > 0.0:
        faults.append(
            Fault(
                "[cutting]",
                None,
                None,
                f"a piece lies {amount_text(1e3 * shop[ROLL_OVERHANG], 1)} mm wider "
                "than its roll, "
                "and its angle is below splice_from. Shorten the flag, choose another "
                "angle, or lower splice_from.",
            )
        )
    return tuple(faults)


def _remarks(
    design: Design,
    shop: Array,
    metrics: dict[str, float | None],
    profile: Profile,
    section: SectionCheck,
) -> list[Remark]:
    said: list[Remark] = []
    singles = [
        flag
        for flag in design.flags
        if not flag.is_pair
        and not math.isclose(flag.angle % (math.pi / 2), 0.0, abs_tol=1e-9)
    ]
    said += [
        (
            f'flag "{flag.name}" has fibres at one angle only '
            f"({angle_text(flag.angle, is_pair=False)} deg): the shaft twists as it is "
            "pulled and shears as it bends",
        )
        for flag in singles
    ]
    if singles:
        share = profile.coupling**2 / (profile.EA * profile.GJ)
        at = int(np.argmax(share))
        balance: Remark = ("together they balance",)
        if share[at] > COUPLED:
            balance = (
                "what is left over couples stretch and twist most at ",
                Amount(float(profile.station[at]), "length"),
                ", ",
                Amount(float(profile.coupling[at]), "coupling"),
                " of twist",
            )
        rules = (
            ". The Equipment Rules (2019), part 2, 2b, ask that a shaft bend alike "
            "however it is turned about its axis, and twist by the same amount in "
            "both directions"
        )
        said.append((*balance, rules))
    for label, difference, station in (
        ("EI", section.EI_difference, section.EI_station),
        ("GJ", section.GJ_difference, section.GJ_station),
    ):
        if abs(difference) > SECTION_DIFFERENCE:
            off = f"the fast section is {100.0 * difference:+.1f} % off in {label} at "
            where = Amount(station, "length")
            said.append((off, where, "; evaluate it with the exact section"))
    if shop[BIAS_GROUND] > 1e-9:
        depth = Amount(float(shop[BIAS_GROUND]), "depth")
        said.append(("grinding takes ", depth, " of radius off a bias flag"))
    if shop[TIP_GRIND_DEPTH] > DEEP_GRIND:
        depth = Amount(float(shop[TIP_GRIND_DEPTH]), "depth")
        why = (
            " of radius beyond the whole-length grind: plies are rolled on to be "
            "ground away"
        )
        said.append(("grinding the tip takes ", depth, why))
    bench = design.bench
    tests: tuple[tuple[str, str, float], ...] = (
        ("tip_deflection", "Tip deflection", bench.tip_load_at - bench.tip_support),
        ("butt_deflection", "Butt deflection", bench.butt_load_at - bench.butt_support),
    )
    for key, label, reach in tests:
        value = metrics[key]
        if value is not None and value / reach > LARGE_DEFLECTION:
            share_of = f"{label.lower()} is {value / reach:.2f} of its length: "
            said.append((f"{share_of}small-deflection theory no longer holds well",))
    missing = [
        metric.phrase
        for metric in METRICS
        if metrics[metric.key] is None
        and (not metric.needs or getattr(bench, metric.needs) > 0.0)
    ]
    if missing:
        unfit = "these tests do not fit the length of the shaft: "
        said.append((unfit + ", ".join(missing),))
    return said
