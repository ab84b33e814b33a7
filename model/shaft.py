"""One shaft, evaluated: the facade that people and programs call."""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from model.batch import evaluate_batch
from model.conditions import (
    C2,
    CELL,
    CS,
    PIECES,
    Conditions,
    Layups,
    layups_of,
)
from model.design import CRITERIA, Design, design_id
from model.direction import clock_of, clock_positions, harmonics_around, rolled_of
from model.edges import Suggestion, suggest_clocks
from model.errors import Fault, InputError
from model.exact_wall import ExactWall, exact_wall
from model.failure import MODES
from model.governing import (
    CRACK,
    FIBRE,
    QUADRATIC,
    Governing,
    Rings,
    crushing_plies,
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
    Breaking,
    Profile,
    Remark,
    Report,
    SectionCheck,
    StrengthPoint,
    angle_text,
)
from model.scratch import Work, point_at, workspace
from model.shell import D22, N_HOOP, add_hoop, close_hoop
from model.strength import envelope_moment
from model.units import amount_text
from model.wall import SAME_STATION

Array = NDArray[np.float64]

#: Radial depth of tip grinding above which is warned. [m]
DEEP_GRIND = 0.5e-3
#: Deflection over length above which small-deflection theory is warned about.
LARGE_DEFLECTION = 0.25
#: Twist of a pulled shaft above which is warned: coupling² over EA·GJ. [-]
COUPLED = 1e-6
#: Fibre margin at the breaking torque above which the resin has given way. [-]
_RESIN_FIRST = 1e-6
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
        rings = _rings(shared, layups, chosen)
        named = governing_plies(rings, chosen.bending[:, :n_all], load, free)
        n_flags = len(design.flags)
        return named._replace(ring=np.where(named.ring < 0, -1, named.ring % n_flags))

    n_x, tip, butt = (int(count) for count in work.counts[:3])
    n_all = n_x + int(work.counts[4])
    free = None if is_plain else np.ascontiguousarray(work.free[:, :n_all])
    envelope = _envelope(design, chosen) / chosen.EI[:n_all]
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
        margin=_at_points(found.margin[row], work)[finished],
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
        strength=_strength(design, chosen, row, governing, envelope, found),
        breaking=_breaking(
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


def _rings(shared: Conditions, layups: Layups, work: Work) -> Rings:
    """The rings of a shaft, for naming the one that fails.

    Every flag is there twice: at its points, and at the brinks behind all points.
    """
    numbers = shared.numbers
    sheet = np.tile(layups.sheet[0], 2)
    n_x, n_brinks = int(work.counts[0]), int(work.counts[4])
    n_all = n_x + n_brinks
    return Rings(
        limits=numbers.limits[sheet],
        angles=np.ascontiguousarray(numbers.sheets[sheet][:, C2 : CS + 1]),
        is_pair=numbers.sheets[sheet, PIECES] > 1.0,
        r_in=np.tile(work.r_in[:, :n_all], (2, 1)),
        r_out=np.tile(work.r_out[:, :n_all], (2, 1)),
        first=np.concatenate([work.first, np.full_like(work.first, n_x)]),
        last=np.concatenate([work.last, np.full_like(work.last, n_all - 1)]),
    )


def _at_points(margin: Array, work: Work) -> Array:
    """Margins at the points; that of a brink counts at the nearer end of its cell."""
    n_x, n_brinks = int(work.counts[0]), int(work.counts[4])
    near = work.brink_cell[:n_brinks] + (work.brink_share[:n_brinks] > 0.5)
    least = margin[:n_x].copy()
    np.minimum.at(least, near, margin[n_x:])
    return least


def _envelope(design: Design, work: Work) -> Array:
    """Bending moment that the shaft must bear at every point and brink."""
    bench, length = design.bench, design.shaft.length
    return np.array(
        [
            envelope_moment(
                x,
                bench.strength_moment,
                bench.strength_tip_support,
                bench.strength_from,
                length - bench.strength_to,
                length - bench.strength_butt_support,
            )
            for x in work.x[: work.counts[0] + work.counts[4]]
        ]
    )


def _strength(
    design: Design,
    work: Work,
    row: int,
    governing: Callable[[Array], Governing],
    envelope: Array,
    found: Governing,
) -> tuple[StrengthPoint, ...]:
    """Margins at the points of the strength test, and the worst of the envelope."""
    bench = design.bench
    length = design.shaft.length
    n_all = int(work.counts[0] + work.counts[4])
    x = work.x[:n_all]
    points = []
    for name, station, span in (
        ("T", bench.strength_from, 0.150),
        ("A", bench.strength_a, 0.300),
        ("B", bench.strength_b, 0.300),
        ("C", length - bench.strength_to, 0.300),
    ):
        if station - span / 2 < 0.0 or station + span / 2 > length:
            points.append(_no_point(name))
            continue
        here = np.abs(x - station) < SAME_STATION
        moment = np.where(here, bench.strength_moment, 0.0)
        borne = governing(moment / work.EI[:n_all])
        points.append(_point(name, design, x, moment, borne, row))
    if bench.strength_from > length - bench.strength_to:
        # full nowhere on this shaft, so there is no envelope to bear
        points.append(_no_point("envelope"))
    else:
        required = envelope * work.EI[:n_all]
        points.append(_point("envelope", design, x, required, found, row))
    return tuple(points)


def _point(
    name: str, design: Design, x: Array, moment: Array, found: Governing, row: int
) -> StrengthPoint:
    """The worst of some points; what cracks may stand at another than what breaks."""
    p = int(np.argmin(found.margin[row]))
    q = int(np.argmin(found.margin[CRACK]))
    mode = MODES[found.mode[row, p]]
    flags = design.flags
    cracks = bool(np.isfinite(found.margin[CRACK, q]))
    return StrengthPoint(
        name=name,
        station=float(x[p]),
        moment=float(moment[p]),
        margin=float(found.margin[row, p]),
        flag=flags[found.ring[row, p]].name,
        mode=f"quadratic, {mode}" if row == QUADRATIC else mode,
        cracking_margin=float(found.margin[CRACK, q]) if cracks else None,
        cracking_flag=flags[found.ring[CRACK, q]].name if cracks else None,
        cracking_mode=MODES[found.mode[CRACK, q]] if cracks else None,
    )


def _breaking(
    design: Design,
    shared: Conditions,
    layups: Layups,
    work: Work,
    metrics: dict[str, float | None],
    row: int,
    governing: Callable[[Array], Governing],
    shell: Array,
    free: Array | None,
) -> tuple[Breaking, ...]:
    """Name what breaks first in torsion, in crushing and in an impact."""
    bench, length, flags = design.bench, design.shaft.length, design.flags
    n_x, tip, butt = (int(count) for count in work.counts[:3])
    n_all = n_x + int(work.counts[4])
    x = work.x[:n_all]
    on_shaft = np.ones(n_all, dtype=np.bool_)
    on_shaft[:tip] = on_shaft[butt + 1 : n_x] = False
    rings = _rings(shared, layups, work)
    said = []
    torque = metrics["torsion_strength"]
    if torque is not None:
        grip = bench.torsion_grip
        free_length = on_shaft & (x >= grip) & (x <= length - grip)
        use = np.where(free_length, work.torsion_use[:n_all], 0.0)
        p = int(np.argmax(use))
        load = np.where(free_length, torque, 0.0)
        found = governing_plies(rings, work.torsion[:, :n_all], load, free)
        flag, mode = found.ring[row, p], MODES[found.mode[row, p]]
        if row == FIBRE and found.margin[FIBRE, p] > _RESIN_FIRST:
            flag, mode = found.ring[CRACK, p], "shear of every ply"
        name = flags[flag % len(flags)].name
        said.append(_broken("torsion", torque, "N·m", x[p], name, mode, None))
    crush = metrics["crush_load"]
    if crush is not None:
        rings_of_wall = crushing_plies(
            rings, shell, free=free, quadratic=row == QUADRATIC
        )
        p = int(np.argmin(np.where(on_shaft, rings_of_wall.load, np.inf)))
        margin = crush / bench.crush_load - 1.0 if bench.crush_load > 0.0 else None
        name = flags[rings_of_wall.ring[p] % len(flags)].name
        mode = MODES[rings_of_wall.mode[p]]
        said.append(_broken("crushing", crush, "N", x[p], name, mode, margin))
    impact = metrics["impact"]
    if impact is not None:
        peak = bench.impact_moment
        moment = np.interp(x, [0.0, bench.impact_at, bench.impact_to], [0.0, peak, 0.0])
        moment[~on_shaft] = 0.0
        found = governing(moment / work.EI[:n_all])
        p = int(np.argmin(found.margin[row]))
        name, mode = flags[found.ring[row, p]].name, MODES[found.mode[row, p]]
        borne = peak * (impact + 1.0)
        said.append(_broken("impact", borne, "N·m", x[p], name, mode, impact))
    return tuple(said)


def _broken(
    name: str,
    load: float,
    unit: str,
    station: float,
    flag: str,
    mode: str,
    margin: float | None,
) -> Breaking:
    return Breaking(
        name=name,
        load=load,
        unit=unit,
        station=float(station),
        flag=flag,
        mode=mode,
        margin=margin,
    )


def _no_point(name: str) -> StrengthPoint:
    return StrengthPoint(
        name=name,
        station=None,
        moment=None,
        margin=None,
        flag=None,
        mode=None,
        cracking_margin=None,
        cracking_flag=None,
        cracking_mode=None,
    )


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
