"""Designs at hand as genomes of a spec: the nearest that its choices give.

Flags are dealt to places so that, all together, angle, ends, wraps, material and order
differ least. What then breaks a rule is settled as children of the search are. What a
genome says other than its design is told in words.
"""

import math
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from model import (
    METRIC,
    BatchReport,
    Design,
    Flag,
    InputError,
    Library,
    ModelRangeError,
    Sheet,
    angle_text,
    design_id,
    evaluate,
    evaluate_batch,
)
from optimiser.decoding import (
    END,
    GENES,
    HEAD,
    LENGTH,
    MANDREL,
    PRESENT,
    RANK,
    SAME,
    SET,
    SHEET,
    START,
    WRAPS,
)
from optimiser.encoding import Encoding
from optimiser.misses import misses
from optimiser.problem import Demand
from optimiser.settling import settled
from optimiser.spec import Place
from optimiser.starts import Start

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: What counts as one unit of difference between a flag and a choice.
_ANGLE, _END, _WRAPS, _RUN_OUT = math.radians(10.0), 0.100, 1.0, 0.100
#: A pair where the place has none, or the other way; a flag left without a place; a
#: place that must be filled without a flag.
_OTHER_KIND, _LEFT, _FILLED = 12.0, 6.0, 3.0
#: Of equals the one of the same name, then the one nearest in order.
_SAME_NAME, _ORDER = 1e-3, 1e-4
#: Draws by which a design is brought to its end diameters; the nearest is taken.
_DRAWS = 40
#: Bands that a design is settled into, where it can be.
_ENDS = ("tip_diameter", "butt_diameter")


class Nearest(NamedTuple):
    """Genes of a flag's nearest choice at a place."""

    difference: float
    sheet: int
    start: int
    end: int
    wraps: int


@dataclass(frozen=True)
class Choices:
    """Choices of a spec, for designs that come with a library of their own."""

    encoding: Encoding
    library: Library  #: the spec's
    own: Library  #: the designs'
    #: nearest choices by flag, place and lengths, since designs of a front share them
    known: dict[tuple[Flag, int, float, float], Nearest] = field(default_factory=dict)


def start_of(
    design: Design, choices: Choices, source: str, *, is_measured: bool = True
) -> Start:
    """The nearest genome of a design, and in what it differs.

    Parameters
    ----------
    design : Design
        Design at hand. [SI]
    choices : Choices
        What the spec gives. [-]
    source : str
        File the design was read from. [-]
    is_measured : bool
        Whether to say too how the two differ on the bench. [-]

    Returns
    -------
    start : Start
        Settled to the rules; without a genome where that fails. [-]
    """
    encoding, library, own = choices.encoding, choices.library, choices.own
    raw, place_of = _nearest_genome(design, choices)
    rng = np.random.default_rng(0)
    genomes, kept = settled(raw[None, :], encoding.tables, rng)
    if not kept[0]:
        draws = np.repeat(raw[None, :], _DRAWS, axis=0)
        genomes, kept = settled(draws, encoding.tables, rng, to_size=True)
        genomes = genomes[kept]
    if len(genomes) == 0:
        why = "nothing near it keeps the rules and the bands on the end diameters"
        said = [f"left out: {why}", *_obstacles(raw, encoding)]
        return Start(source=source, genome=None, is_exact=False, said=tuple(said))
    genome = genomes[np.argmin(_changes(genomes, raw))]
    taken = encoding.design(genome, design.name)
    is_exact = _layup_id(taken, library, encoding) == _layup_id(design, own, encoding)
    said = []
    if not is_exact:
        said += _differences(design, taken, place_of, choices)
        said += _measured(design, taken, choices) if is_measured else []
    said += _other_terms(design, encoding)
    return Start(
        source=source,
        genome=tuple(int(gene) for gene in genome),
        is_exact=is_exact,
        said=tuple(said),
    )


def _obstacles(genome: IntArray, encoding: Encoding) -> list[str]:
    """What a genome misses of the rules and of the bands on the end diameters."""
    spec = encoding.spec
    targets = tuple(
        target
        if target.metric in _ENDS
        else replace(target, low=-math.inf, high=math.inf)
        for target in spec.targets
        if target.metric in _ENDS or target.trade is not None
    )
    asked = replace(spec, targets=targets, ei_targets=())
    layups, _ = encoding.decode(genome[None, :])
    try:
        report = evaluate_batch(layups, encoding.conditions)
    except ModelRangeError as error:
        return [f"as given: {error}"]
    report = BatchReport(report.metrics, report.EI[:, :0], report.shop)
    return [f"as given: {one}" for one in misses(report, Demand.of(asked), asked)]


def _changes(genomes: IntArray, raw: IntArray) -> Array:
    """How much was settled: genes by the steps they moved, but a sheet once."""
    steps = np.abs(genomes - raw).astype(np.float64)
    steps[:, HEAD + SHEET :: GENES] = 5.0 * (steps[:, HEAD + SHEET :: GENES] > 0)
    steps[:, HEAD + PRESENT :: GENES] *= 20.0
    total: Array = steps.sum(axis=1)
    return total


def _layup_id(design: Design, library: Library, encoding: Encoding) -> str:
    """Id of a design as if it were finished, tested and cut as the spec says."""
    spec = encoding.spec
    like = Design(
        name=design.name,
        shaft=design.shaft,
        finish=spec.finish,
        flags=design.flags,
        bench=spec.bench,
        cutting=spec.cutting,
        costs=spec.costs,
    )
    return design_id(like, library)


# ------------------------------------------------------------------------- nearest


def _nearest_genome(
    design: Design, choices: Choices
) -> tuple[IntArray, dict[int, int]]:
    """Genome before it is settled, and the place of each flag that has one."""
    encoding = choices.encoding
    spec, t = encoding.spec, encoding.tables
    genome = np.zeros(encoding.n_genes, dtype=np.int64)
    shaft = design.shaft
    genome[LENGTH] = np.argmin(np.abs(t.length - shaft.length))
    genome[MANDREL] = _nearest_mandrel(design, choices)
    genome[SET] = np.argmin(np.abs(t.mandrel_set - shaft.mandrel_set))
    flags, places = design.flags, spec.places
    n, m = len(flags), len(places)
    length = float(t.length[genome[LENGTH]])
    nearest = [
        [_nearest_choice(f, p, design, choices, length) for p in range(m)]
        for f in flags
    ]
    cost = np.zeros((n + m, m + n))
    cost[:n, m:] = _LEFT
    cost[n:, :m] = [0.0 if place.optional else _FILLED for place in places]
    for i, flag in enumerate(flags):
        for j, place in enumerate(places):
            in_order = abs(i / max(n - 1, 1) - j / max(m - 1, 1))
            tie = _ORDER * in_order + _SAME_NAME * (flag.name != place.name)
            cost[i, j] = nearest[i][j].difference + tie
    dealt = {
        int(i): int(j)
        for i, j in zip(*linear_sum_assignment(cost), strict=True)
        if i < n and j < m
    }
    rank = 0
    for i in sorted(dealt):
        _write(genome, dealt[i], nearest[i][dealt[i]], encoding, rank)
        rank += 1
    for j in range(m):
        if j not in dealt.values():
            _fill(genome, j, encoding, rank)
            rank += 1
    return genome, dealt


def _write(
    genome: IntArray, place: int, choice: Nearest, encoding: Encoding, rank: int
) -> None:
    base = HEAD + GENES * place
    genome[base + SHEET], genome[base + START] = choice.sheet, choice.start
    genome[base + END], genome[base + WRAPS] = choice.end, choice.wraps
    genome[base + RANK] = rank
    genome[base + PRESENT] = encoding.n_choices[base + PRESENT] - 1


def _fill(genome: IntArray, place: int, encoding: Encoding, rank: int) -> None:
    """The least that a place can hold, and nothing where it may be empty."""
    t = encoding.tables
    base = HEAD + GENES * place
    turns = t.turn[t.sheet[place, : t.n_sheet[place]]]
    genome[base + SHEET] = np.argmin(turns)
    genome[base + START] = t.n_start[place] - 1
    genome[base + RANK] = rank
    genome[base + PRESENT] = 0


def _nearest_mandrel(design: Design, choices: Choices) -> int:
    names = list(choices.encoding.spec.mandrels)
    if design.shaft.mandrel in names:
        return names.index(design.shaft.mandrel)
    x = design.shaft.mandrel_set + np.linspace(0.0, design.shaft.length, 9)
    given = choices.own.mandrels[design.shaft.mandrel]
    its = np.interp(x, given.distance, given.diameter)
    off = []
    for name in names:
        mandrel = choices.library.mandrels[name]
        off.append(np.abs(np.interp(x, mandrel.distance, mandrel.diameter) - its).sum())
    return int(np.argmin(off))


def _nearest_choice(
    flag: Flag, place: int, design: Design, choices: Choices, length: float
) -> Nearest:
    """The choice of a place that is nearest to a flag."""
    key = (flag, place, design.shaft.length, length)
    if flag.width_tip is None and key in choices.known:
        return choices.known[key]
    encoding = choices.encoding
    t, chosen = encoding.tables, encoding.spec.places[place]
    sheets = t.sheet[place, : t.n_sheet[place]]
    by_sheet = [_sheet_off(flag, choices, int(sheet)) for sheet in sheets]
    sheet = int(np.argmin(by_sheet))
    starts = t.start[place, : t.n_start[place]]
    ends = np.minimum(t.end[place, : t.n_end[place]], length)
    # what reaches the butt still does on a shaft of another length
    to_butt = flag.end >= design.shaft.length - SAME
    end_at = length if to_butt else flag.end
    start, end = _nearest_to(starts, flag.start), _nearest_to(ends, end_at)
    wraps_of = t.wraps[place, : t.n_wraps[place]]
    turns = flag.wraps
    if flag.width_tip is not None:
        turns = _turns_of_width(flag, design, choices.own)
    wraps = _nearest_to(wraps_of, turns)
    run_outs = abs(flag.run_out_tip - chosen.run_out_tip) + abs(
        flag.run_out_butt - chosen.run_out_butt
    )
    difference = (
        by_sheet[sheet]
        + (abs(starts[start] - flag.start) + abs(ends[end] - end_at)) / _END
        + abs(wraps_of[wraps] - turns) / _WRAPS
        + run_outs / _RUN_OUT
    )
    found = Nearest(float(difference), sheet, start, end, wraps)
    choices.known[key] = found
    return found


def _nearest_to(values: Array, wanted: float) -> int:
    return int(np.argmin(np.abs(values - wanted)))


def _turns_of_width(flag: Flag, design: Design, own: Library) -> float:
    """Turns in the middle of a piece with straight edges, by the mandrel under it."""
    width = ((flag.width_tip or 0.0) + (flag.width_butt or 0.0)) / 2.0
    middle = design.shaft.mandrel_set + (flag.start + flag.end) / 2.0
    mandrel = own.mandrels[design.shaft.mandrel]
    return width / (math.pi * mandrel.diameter_at(middle))


def _sheet_off(flag: Flag, choices: Choices, sheet: int) -> float:
    """How far a sheet is from what a flag is made of."""
    other: Sheet = choices.encoding.conditions.sheets[sheet]
    off = abs(other.angle - flag.angle) / _ANGLE
    if other.is_pair != flag.is_pair:
        off += _OTHER_KIND
    if other.material != flag.material:
        its = choices.own.prepregs[flag.material]
        one = choices.library.prepregs[other.material]
        off += 0.2 + abs(math.log(one.fibre.E1 / its.fibre.E1))
        off += abs(math.log(one.faw / its.faw))
    return off


# ------------------------------------------------------------------------ in words


def _differences(
    design: Design, taken: Design, dealt: dict[int, int], choices: Choices
) -> list[str]:
    """In what a layup differs from the design it was taken from."""
    said = []
    own, library = choices.own, choices.library
    shared = {flag.material for flag in design.flags} & library.prepregs.keys()
    said += [
        f"{name} is not the same in the design's library"
        for name in sorted(shared)
        if library.prepregs[name] != own.prepregs[name]
    ]
    name = design.shaft.mandrel
    if name in library.mandrels and library.mandrels[name] != own.mandrels[name]:
        said.append(f"{name} is not the same in the design's library")
    old, new = design.shaft, taken.shaft
    if abs(old.length - new.length) > SAME:
        said.append(f"length {_mm(new.length)} for {_mm(old.length)}")
    if old.mandrel != new.mandrel:
        said.append(f"mandrel {new.mandrel} for {old.mandrel}")
    if abs(old.mandrel_set - new.mandrel_set) > SAME:
        said.append(f"mandrel set {_mm(new.mandrel_set)} for {_mm(old.mandrel_set)}")
    for name, a, b in (
        ("tip trim", old.trim_tip, new.trim_tip),
        ("butt trim", old.trim_butt, new.trim_butt),
    ):
        if abs(a - b) > SAME:
            said.append(f"{name} {_mm(b)} for {_mm(a)}")
    places: tuple[Place, ...] = choices.encoding.spec.places
    by_name = {flag.name: flag for flag in taken.flags}
    order = []
    for i, flag in enumerate(design.flags):
        if i not in dealt:
            said.append(f'flag "{flag.name}" has no place: {_flag_text(flag)}')
            continue
        name = places[dealt[i]].name
        its = by_name.pop(name, None)
        if its is None:
            said.append(f'flag "{flag.name}" is left out, so that the rest can be')
            continue
        order.append(taken.flags.index(its))
        changes = _flag_changes(flag, its)
        if changes:
            where = name if name == flag.name else f'{name}" for flag "{flag.name}'
            said.append(f'"{where}": {"; ".join(changes)}')
    said += [
        f'"{name}" is filled without a flag: {_flag_text(flag)}'
        for name, flag in by_name.items()
    ]
    if order != sorted(order):
        said.append("rolled in another order")
    return said


def _flag_changes(old: Flag, new: Flag) -> list[str]:
    changes = []
    a, b = _sheet_text(old), _sheet_text(new)
    if a != b:
        changes.append(f"{b} for {a}")
    for name, was, now in (
        ("start", old.start, new.start),
        ("end", old.end, new.end),
        ("run-out at the tip end", old.run_out_tip, new.run_out_tip),
        ("run-out at the butt end", old.run_out_butt, new.run_out_butt),
    ):
        if abs(was - now) > SAME:
            changes.append(f"{name} {_mm(now)} for {_mm(was)}")
    if old.width_tip is not None:
        changes.append(f"{new.wraps:g} wraps for a piece of given width")
    elif abs(old.wraps - new.wraps) > 1e-9:
        changes.append(f"{new.wraps:g} wraps for {old.wraps:g}")
    if old.clock is not None:
        changes.append("no clock position")
    return changes


def _measured(design: Design, taken: Design, choices: Choices) -> list[str]:
    """How far the two lie from each other on the bench."""
    spec = choices.encoding.spec
    like = Design(
        name=design.name,
        shaft=design.shaft,
        finish=design.finish,
        flags=design.flags,
        bench=spec.bench,
        cutting=spec.cutting,
        costs=spec.costs,
    )
    try:
        before = evaluate(like, choices.own).metrics
        after = evaluate(taken, choices.library).metrics
    except InputError:
        return []
    pairs = []
    for target in spec.targets:
        metric = METRIC[target.metric]
        a, b = metric.shown(before[metric.key]), metric.shown(after[metric.key])
        if a != b:
            pairs.append(f"{metric.phrase} {b} for {a}")
    return [", ".join(pairs)] if pairs else []


def _other_terms(design: Design, encoding: Encoding) -> list[str]:
    spec = encoding.spec
    other = [
        name
        for name, its, asked in (
            ("[finish]", design.finish, spec.finish),
            ("[bench]", design.bench, spec.bench),
            ("[cutting]", design.cutting, spec.cutting),
            ("[costs]", design.costs, spec.costs),
        )
        if its != asked
    ]
    if not other:
        return []
    return [f"{' and '.join(other)} as in the spec, not as in the design"]


def _sheet_text(flag: Flag) -> str:
    return f"{flag.material} {angle_text(flag.angle, is_pair=flag.is_pair)}"


def _flag_text(flag: Flag) -> str:
    turns = f", {flag.wraps:g} wraps" if flag.wraps else ""
    return f"{_sheet_text(flag)}, {_mm(flag.start)} to {_mm(flag.end)}{turns}"


def _mm(value: float) -> str:
    return f"{value * 1e3:g} mm"
