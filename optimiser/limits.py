"""Limits of a spec that designs sit at: where its places and rules end.

Each can be let go a little, so that it can be tried whether it is what stands in the
way.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model import (
    METRIC,
    SHOP_MEASURES,
    BatchReport,
    Layups,
    Library,
    Sheet,
    angle_text,
)
from optimiser.alike import neighbours
from optimiser.decoding import (
    END,
    GENES,
    HEAD,
    PRESENT,
    RANK,
    SAME,
    SET,
    SHEET,
    START,
    WRAPS,
)
from optimiser.encoding import Encoding
from optimiser.spec import Place, Rules, Spec

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: How near a measure must come to its rule to sit at it. [m]
_NEAR = 5e-5
#: A spread this close to its rule sits at it, as a share of it. [-]
_NEAR_SHARE = 0.05
#: How far choices are carried on: wraps by steps, ends and mandrel set by a length. [m]
_MORE_WRAPS, _MORE_END, _MORE_SET = 2, 0.100, 0.040
#: Mandrels are tried this much slimmer or thicker. [-]
_SLIMMER = 0.10
#: A step where a choice has one value alone. [-, m]
_ONE_WRAP, _ONE_STEP = 0.5, 0.010
#: Angles that are usual in a shaft (common practice). Beyond those of a place comes the
#: next of them that is at least so much further. [deg]
_USUAL, _FURTHER = (0.0, 30.0, 45.0, 60.0, 90.0), 10.0


@dataclass(frozen=True)
class Limit:
    """An end of what a spec allows."""

    what: str  #: in words, such as 'place "tip": wraps at 6, the most allowed'
    tried: str  #: how it is let go, such as "up to 7 wraps"
    spec: Spec  #: with it let go
    library: Library
    is_at: BoolArray = field(repr=False)  #: (n,) which designs sit at it

    @property
    def share(self) -> float:
        """Share of the designs that sit at it [-]."""
        return float(self.is_at.mean()) if len(self.is_at) else 0.0


def limits_of(
    encoding: Encoding,
    library: Library,
    genomes: IntArray,
    layups: Layups,
    place: IntArray,
    report: BatchReport,
) -> list[Limit]:
    """All limits, with the designs that sit at each.

    Parameters
    ----------
    encoding : Encoding
        Choices of the spec. [-]
    library : Library
        Its library. [-]
    genomes : ndarray, shape (n, n_genes)
        Designs. [-]
    layups : Layups
        The same as arrays. [SI]
    place : ndarray, shape (n, n_flag)
        Place of each of their flags. [-]
    report : BatchReport
        The same, evaluated. [SI]

    Returns
    -------
    limits : list of Limit
        Those of the places, of the mandrel, of the rules. [-]
    """
    there = np.stack(
        [(place == j).any(axis=1) for j in range(len(encoding.spec.places))], axis=1
    )
    found = [*_of_places(encoding, library, genomes, there)]
    found += _of_mandrel(encoding, library, genomes, layups)
    found += _of_rules(encoding, library, layups, report)
    return found


def moved(genomes: IntArray, old: Encoding, new: Encoding) -> IntArray:
    """Genomes of a spec as genomes of one that lists more choices, or fewer.

    Parameters
    ----------
    genomes : ndarray, shape (n, n_genes)
        Integers. [-]
    old, new : Encoding
        Choices before and after, of the same places. [-]

    Returns
    -------
    genomes : ndarray, shape (n, n_genes)
        The same designs where all their choices are still there, else with the nearest
        that are. [-]
    """
    out = genomes.copy()
    before, after = old.tables, new.tables

    def carry(gene: int, was: Array, now: Array) -> None:
        index = np.abs(now[None, :] - was[:, None]).argmin(axis=1)
        out[:, gene] = index[genomes[:, gene]]

    carry(SET, before.mandrel_set, after.mandrel_set)
    for j, place in enumerate(old.spec.places):
        base = HEAD + GENES * j
        for gene, n, was, m, now in (
            (START, before.n_start, before.start, after.n_start, after.start),
            (END, before.n_end, before.end, after.n_end, after.end),
            (WRAPS, before.n_wraps, before.wraps, after.n_wraps, after.wraps),
        ):
            carry(base + gene, was[j, : n[j]], now[j, : m[j]])
        if new.spec.places[j].sheets != place.sheets:
            index = _nearest_sheets(j, old, new)
            out[:, base + SHEET] = index[genomes[:, base + SHEET]]
        if before.optional[j] != after.optional[j]:
            # there by being told so, or by having to be
            out[:, base + PRESENT] = 1 if after.optional[j] else 0
        if not before.reorder:
            out[:, base + RANK] = j
    return out


def _nearest_sheets(j: int, old: Encoding, new: Encoding) -> IntArray:
    """Which sheet of a place each of its former ones is, or comes nearest to."""
    # angle, modulus and thickness; a tenth of these counts as much as six degrees
    what: dict[Sheet, Array] = {}
    for encoding in (old, new):
        conditions = encoding.conditions
        for sheet, ply in zip(conditions.sheets, conditions.plies, strict=True):
            size = np.log([ply.E1, ply.thickness])
            what[sheet] = np.array([abs(sheet.angle), *size])
    now = new.spec.places[j].sheets
    index = [
        now.index(sheet)
        if sheet in now
        else int(np.argmin([np.abs(what[one] - what[sheet]).sum() for one in now]))
        for sheet in old.spec.places[j].sheets
    ]
    return np.array(index, dtype=np.int64)


def _with_place(spec: Spec, j: int, place: Place) -> Spec:
    places = (*spec.places[:j], place, *spec.places[j + 1 :])
    return replace(spec, places=places)


def _of_places(
    encoding: Encoding, library: Library, genomes: IntArray, there: BoolArray
) -> Iterator[Limit]:
    spec, t = encoding.spec, encoding.tables
    longest = max(spec.lengths)
    # straight plies and hoops are meant to be such, where something lies at an angle
    all_straight = not any(s.is_pair for place in spec.places for s in place.sheets)
    for j, place in enumerate(spec.places):
        base = HEAD + GENES * j
        where = f'place "{place.name}"'
        sheets = np.array(place.sheets, dtype=object)[genomes[:, base + SHEET]]
        wider_ones = [*_of_materials(place, library, spec.finish.resin_bleed)]
        if all_straight or any(sheet.is_pair for sheet in place.sheets):
            wider_ones += _of_angles(place)
        for wider in wider_ones:
            at = np.array([sheet in wider.at for sheet in sheets], dtype=np.bool_)
            yield Limit(
                f"{where}: {wider.what}",
                wider.tried,
                _with_place(spec, j, wider.place),
                library,
                at & there[:, j],
            )
        if not place.optional:
            yield Limit(
                f"{where}: it must be there",
                "it may be left out",
                _with_place(spec, j, replace(place, optional=True)),
                library,
                np.ones(len(genomes), dtype=np.bool_),
            )
        for gene, key, values, step, reach in (
            (WRAPS, "wraps", t.wraps[j, : t.n_wraps[j]], _ONE_WRAP, 0.0),
            (START, "starts", t.start[j, : t.n_start[j]], _ONE_STEP, _MORE_END),
            (END, "ends", t.end[j, : t.n_end[j]], _ONE_STEP, _MORE_END),
        ):
            steps = np.diff(values)
            for is_top in (True, False):
                by = step
                if len(steps):
                    by = float(steps[-1] if is_top else steps[0])
                n_more = _MORE_WRAPS if key == "wraps" else max(1, round(reach / by))
                edge = float(values[-1] if is_top else values[0])
                sign = 1.0 if is_top else -1.0
                more = edge + sign * by * np.arange(1, n_more + 1)
                if key == "wraps":
                    more = more[more > 1e-9]
                else:
                    # what ends at the shaft's own end is not limited by its place
                    more = more[(more > -SAME) & (more < longest + SAME)]
                    if edge <= SAME or edge >= longest - SAME:
                        continue
                if len(more) == 0:
                    continue
                at = genomes[:, base + gene] == (len(values) - 1 if is_top else 0)
                carried = tuple(sorted({*getattr(place, key), *map(float, more)}))
                changed = _carried(place, key, carried)
                last = float(more[-1])
                tried = _further(key, last, is_top=is_top)
                if key == "wraps" and last > spec.rules.turns_max + 1e-9:
                    tried += ", and turns_max in [rules] as many"
                yield Limit(
                    f"{where}: {_edge(key, edge, is_top=is_top)}",
                    tried,
                    _with_place(spec, j, changed),
                    library,
                    at & there[:, j],
                )


class _Wider(NamedTuple):
    """A limit of the sheets of a place."""

    what: str
    tried: str
    place: Place  #: with more sheets
    at: frozenset[Sheet]  #: those of its own that sit at the limit


def _of_materials(place: Place, library: Library, bleed: float) -> Iterator[_Wider]:
    """Next stiffer and next softer prepregs of like thickness.

    A sheet is at the limit if none that is listed is stiffer (or softer); another
    thickness is left to the wraps.
    """
    names = dict.fromkeys(sheet.material for sheet in place.sheets)
    angles = dict.fromkeys((sheet.angle, sheet.is_pair) for sheet in place.sheets)
    listed = replace(library, prepregs={name: library.prepregs[name] for name in names})
    for way, most in (("stiffer", "stiffest"), ("softer", "softest")):
        beyond = {
            name: other
            for name in names
            if neighbours(name, listed, bleed)[way] is None
            and (other := neighbours(name, library, bleed)[way]) is not None
        }
        if not beyond:
            continue
        others = dict.fromkeys(beyond.values())
        more = tuple(Sheet(name, *angle) for name in others for angle in angles)
        yield _Wider(
            f"material {_only(' or '.join(beyond), most, len(names))}",
            f"also {' or '.join(others)}, the next {way}",
            replace(place, sheets=(*place.sheets, *more)),
            frozenset(sheet for sheet in place.sheets if sheet.material in beyond),
        )


def _of_angles(place: Place) -> Iterator[_Wider]:
    """The next steeper and the next shallower of the usual angles."""
    sizes = {sheet: abs(math.degrees(sheet.angle)) for sheet in place.sheets}
    names = dict.fromkeys(sheet.material for sheet in place.sheets)
    n_angles = len({(sheet.angle, sheet.is_pair) for sheet in place.sheets})
    for most, edge, beyond in (
        ("steepest", max(sizes.values()), _USUAL),
        ("shallowest", min(sizes.values()), _USUAL[::-1]),
    ):
        sign = 1.0 if most == "steepest" else -1.0
        usual = (size for size in beyond if sign * (size - edge) > _FURTHER - 1e-6)
        size = next(usual, None)
        if size is None:
            continue
        angle, is_pair = math.radians(size), size not in (0.0, 90.0)
        at = [sheet for sheet in place.sheets if abs(sizes[sheet] - edge) < 1e-6]
        own = angle_text(at[0].angle, is_pair=at[0].is_pair)
        yield _Wider(
            f"angle {_only(own, most, n_angles)}",
            f"also {angle_text(angle, is_pair=is_pair)}",
            replace(
                place,
                sheets=(
                    *place.sheets,
                    *(Sheet(name, angle, is_pair) for name in names),
                ),
            ),
            frozenset(at),
        )


def _only(what: str, most: str, n: int) -> str:
    return f"{what}, the {'only one' if n == 1 else most} that it may have"


def _carried(place: Place, key: str, values: tuple[float, ...]) -> Place:
    if key == "wraps":
        return replace(place, wraps=values)
    return (
        replace(place, ends=values) if key == "ends" else replace(place, starts=values)
    )


def _edge(key: str, value: float, *, is_top: bool) -> str:
    most = "the most" if is_top else "the least"
    if key == "wraps":
        return f"{value:g} wraps, {most} that it may have"
    name = "end" if key == "ends" else "start"
    return f"{name} at {value * 1e3:g} mm, {most} that it may have"


def _further(key: str, value: float, *, is_top: bool) -> str:
    word = "up" if is_top else "down"
    if key == "wraps":
        return f"{word} to {value:g} wraps"
    return f"{word} to {value * 1e3:g} mm"


def _of_mandrel(
    encoding: Encoding, library: Library, genomes: IntArray, layups: Layups
) -> Iterator[Limit]:
    spec, t = encoding.spec, encoding.tables
    sets = t.mandrel_set
    step = float(np.diff(sets).min()) if len(sets) > 1 else _ONE_STEP
    steps = step * np.arange(1, max(1, round(_MORE_SET / step)) + 1)
    low = t.set_low[genomes[:, 0], genomes[:, 1]]
    high = t.set_high[genomes[:, 0], genomes[:, 1]]
    for is_top in (True, False):
        edge = sets[-1] if is_top else sets[0]
        more = edge + steps if is_top else edge - steps
        more = more[more > -SAME]
        if len(more):
            carried = tuple(sorted({*spec.mandrel_sets, *map(float, more)}))
            most = "the most" if is_top else "the least"
            yield Limit(
                f"mandrel set: {edge * 1e3:g} mm, {most} that is given",
                _further("set", float(more[-1]), is_top=is_top),
                replace(spec, mandrel_sets=carried),
                library,
                genomes[:, SET] == (high if is_top else low),
            )
    middle = float(np.mean(sets)) + 0.5 * float(max(spec.lengths))
    size = np.array([library.mandrels[m].diameter_at(middle) for m in spec.mandrels])
    for is_slim in (True, False):
        share = -_SLIMMER if is_slim else _SLIMMER
        mandrels = dict(library.mandrels)
        for name in spec.mandrels:
            mandrel = mandrels[name]
            wide = tuple(d * (1.0 + share) for d in mandrel.diameter)
            mandrels[name] = replace(mandrel, diameter=wide)
        extreme = int(np.argmin(size) if is_slim else np.argmax(size))
        word = "slimmest" if is_slim else "thickest"
        yield Limit(
            f"mandrel: {spec.mandrels[extreme]}, the {word} that is given",
            f"{'slimmer' if is_slim else 'thicker'} by {_SLIMMER:.0%}",
            spec,
            replace(library, mandrels=mandrels),
            layups.mandrel == extreme,
        )


#: Rules that a measure is held to: how they are let go, so far that the nearest design
#: keeps them too.
_MEASURED: dict[str, tuple[str, Callable[[Rules, float], Rules]]] = {
    "wall_min": (
        "wall_min",
        lambda r, found: replace(r, wall_min=min(0.7 * r.wall_min, 0.95 * found)),
    ),
    "diameter_step": (
        "diameter_step_max",
        lambda r, found: replace(
            r, diameter_step_max=max(1.5 * r.diameter_step_max, 1.1 * found)
        ),
    ),
    "tip_grind_depth": (
        "tip_grind_max",
        lambda r, found: replace(
            r, tip_grind_max=max(2.0 * r.tip_grind_max + 1e-4, 1.1 * found)
        ),
    ),
}


def _of_rules(
    encoding: Encoding, library: Library, layups: Layups, report: BatchReport
) -> Iterator[Limit]:
    spec, rules = encoding.spec, encoding.spec.rules

    def limit(key: str, now: str, changed: Rules, is_at: BoolArray) -> Limit:
        tried = _rule_text(key, changed)
        return Limit(
            f"rule {key}: {now}", tried, replace(spec, rules=changed), library, is_at
        )

    for i, name in enumerate(SHOP_MEASURES):
        if name not in _MEASURED:
            continue
        key, let_go = _MEASURED[name]
        sign = -1.0 if name == "wall_min" else 1.0
        rule = float(getattr(rules, key))
        found = report.shop[0, i] if len(report.shop) else rule
        # a wall that is ground through says nothing
        found = float(found) if np.isfinite(found) and found > 0.0 else rule
        is_at = sign * (report.shop[:, i] - rule) > -_NEAR
        yield limit(key, _rule_text(key, rules), let_go(rules, found), is_at)
    spread = report.metrics[:, list(METRIC).index("direction_spread")]
    most = rules.direction_spread_max
    yield limit(
        "direction_spread_max",
        _rule_text("direction_spread_max", rules),
        replace(rules, direction_spread_max=1.5 * most + 0.01),
        spread > most * (1.0 - _NEAR_SHARE),
    )
    if not rules.grind_into_bias:
        ground = report.shop[:, list(SHOP_MEASURES).index("bias_ground")]
        changed = replace(rules, grind_into_bias=True)
        yield limit("grind_into_bias", "false", changed, ground > -_NEAR)
    there = layups.sheet >= 0
    long = np.where(there, layups.end - layups.start, np.inf)
    yield limit(
        "flag_length_min",
        _rule_text("flag_length_min", rules),
        replace(rules, flag_length_min=0.5 * rules.flag_length_min),
        np.min(long, axis=1) < rules.flag_length_min + 2.0 * _ONE_STEP,
    )
    material = np.where(there, encoding.tables.material[layups.sheet], -1)
    kinds = np.array([len(set(row[row >= 0])) for row in material])
    yield limit(
        "materials_max",
        f"{rules.materials_max}",
        replace(rules, materials_max=rules.materials_max + 1),
        kinds >= rules.materials_max,
    )
    yield limit(
        "end_spacing_min",
        _rule_text("end_spacing_min", rules),
        replace(rules, end_spacing_min=0.0),
        _closest(layups, there) < rules.end_spacing_min + 0.5 * _ONE_STEP,
    )
    if not rules.reorder:
        yield limit(
            "reorder",
            "false",
            replace(rules, reorder=True),
            np.ones(len(there), dtype=np.bool_),
        )
    if rules.outer_straight:
        yield limit(
            "outer_straight",
            "true",
            replace(rules, outer_straight=False),
            np.ones(len(there), dtype=np.bool_),
        )


def _closest(layups: Layups, there: BoolArray) -> Array:
    """Least distance of two inner ends of each design."""
    closest = np.full(len(there), np.inf)
    for i, row in enumerate(there):
        ends = np.concatenate([layups.start[i, row], layups.end[i, row]])
        inner = ends[(ends > SAME) & (ends < layups.length[i] - SAME)]
        if len(inner) > 1:
            closest[i] = np.diff(np.sort(inner)).min()
    return closest


def _rule_text(key: str, rules: Rules) -> str:
    value = getattr(rules, key)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return str(value)
    if key == "direction_spread_max":
        return f"{value * 1e2:.3g} %"
    return f"{value * 1e3:.3g} mm"
