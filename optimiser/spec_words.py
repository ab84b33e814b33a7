"""A spec in words: its keys with their defaults, and what it holds."""

import math
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from itertools import pairwise
from typing import cast, get_type_hints

from model import (
    METRIC,
    METRICS,
    SETUPS,
    Bench,
    Costs,
    Cutting,
    Finish,
    Quantity,
    format_quantity,
    write_flag_angle,
)
from optimiser.spec import Meaning, Place, Rules, SearchOptions, Spec, Target

#: columns that the text keeps within
_WIDTH = 96
#: choices up to this many are listed one by one
_LISTED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a spec's optional tables, for people."""

    table: str
    name: str
    default: str
    meaning: str


def known_keys() -> tuple[Key, ...]:
    """Every key of [rules], [bench], [cutting], [costs] and [search].

    Returns
    -------
    keys : tuple of Key
        With defaults as they are written, and meanings. [-]
    """
    return tuple(
        Key(
            table=table,
            name=name,
            default=written_text(cls, name, getattr(cls(), name)),
            meaning=_meaning(cls, name),
        )
        for table, cls in (
            ("rules", Rules),
            ("bench", Bench),
            ("cutting", Cutting),
            ("costs", Costs),
            ("search", SearchOptions),
        )
        for name in (field.name for field in fields(cls))
    )


#: Meanings of the keys that a design has too.
_BENCH_MEANING = {
    "frequency_clamp": "length of the butt clamped in the frequency test",
    "tip_mass": "mass on the tip in the frequency test",
    "tip_mass_offset": "its centre beyond the tip",
    "tip_mass_inertia": "its moment of inertia about its own centre",
    "frequency_clamp_compliance": "how much the clamp turns under the moment on it",
    "torque_clamp": "length of the butt clamped in the torque test",
    "torque_clamp_at": "where that clamp begins, from the tip, if given",
    "torque_grip": "length of the tip gripped in the torque test",
    "torque_moment": "couple of the torque test",
    "butt_hold": "butt deflection: holding down, from the butt",
    "butt_support": "butt deflection: support from below, from the butt",
    "butt_load": "butt deflection: load",
    "butt_load_at": "butt deflection: station of the load, from the butt",
    "tip_hold": "tip deflection: holding down, from the tip",
    "tip_support": "tip deflection: support from below, from the tip",
    "tip_load": "tip deflection: load",
    "tip_load_at": "tip deflection: station of the load, from the tip",
    "cantilever_clamp": "length of the butt clamped in the cantilever deflection",
    "cantilever_load": "cantilever deflection: load",
    "cantilever_load_at": "cantilever deflection: station of the load, from the tip",
    "strength_moment": "bending moment that the wall must bear",
    "strength_tip_support": "the moment rises from nought here, from the tip",
    "strength_from": "the moment is full from here (point T), from the tip",
    "strength_a": "point A, from the tip",
    "strength_b": "point B, from the tip",
    "strength_to": "the moment is full up to here (point C), from the butt",
    "strength_butt_support": "the moment has fallen to nought here, from the butt",
    "strength_criterion": "what fails a ply: maximum strain or quadratic (cracks too)",
    "temperature_drop": "cure to use; its residual strains count where given",
    "impact_moment": "largest moment of an impact at the head; no such case if 0",
    "impact_at": "where that moment acts, from the tip",
    "impact_to": "where it has fallen to nought, from the tip",
    "torsion_grip": "length of either end gripped in the torsion strength test",
    "crush_width": "width of a ring that is crushed",
    "crush_load": "load such a ring must bear; not asked for if 0",
    "profile_span": "span of the machine that reads the EI profile",
    "profile_load": "its load in mid-span",
    "profile_first": "its first site, from the tip",
    "profile_step": "distance of its sites",
    "gap": "cutting gap between pieces on the roll",
    "roll_edge": "edge of the roll that is not used",
    "splice_from": "pieces at this fibre angle or above may be spliced",
    "labour_per_flag": "to cut and roll a flag, in the library's currency",
    "labour_per_shaft": "all other work on a shaft",
    "consumables_per_shaft": "tape, release agent, coating, abrasives",
    "scrap": "share of the shafts made that is not sold; the others bear its cost",
    "batch": "shafts cut together, which share what is left at the ends of rows",
}


def _meaning(cls: type, name: str) -> str:
    hints = get_type_hints(cls, include_extras=True)
    for extra in getattr(hints[name], "__metadata__", ()):
        if isinstance(extra, Meaning):
            return extra.text
    return _BENCH_MEANING[name]


def written_text(cls: type, name: str, value: object) -> str:
    """A value of a table as a spec would state it.

    Parameters
    ----------
    cls : type
        Class of the table. [-]
    name : str
        Its field. [-]
    value : object
        What it is set to. [SI]

    Returns
    -------
    text : str
        With its unit. [-]
    """
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "true" if value else "false"
    hints = get_type_hints(cls, include_extras=True)
    for extra in getattr(hints[name], "__metadata__", ()):
        if isinstance(extra, Quantity) and extra.dimension == "time":
            return _time(cast("float", value))
        if isinstance(extra, Quantity) and extra.dimension != "number":
            return format_quantity(cast("float", value), extra.dimension)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _time(seconds: float) -> str:
    if seconds >= 3600.0:
        return f"{seconds / 3600.0:g} h"
    if seconds >= 60.0:
        return f"{seconds / 60.0:g} min"
    return f"{seconds:g} s"


def choice_text(values: tuple[float, ...], scale: float = 1.0) -> str:
    """Values of a choice: listed where they are few, else as a range.

    Parameters
    ----------
    values : tuple of float
        In the order of the file. [SI]
    scale : float
        Shown value over the value. [-]

    Returns
    -------
    text : str
        Such as "40 to 120 by 5 (17)". [-]
    """
    shown = [f"{value * scale:.6g}" for value in values]
    if len(values) <= _LISTED:
        return ", ".join(shown)
    step = values[1] - values[0]
    # the last step of a range may be a short one
    even = all(
        math.isclose(after - before, step, rel_tol=1e-6)
        for before, after in pairwise(values[:-1])
    )
    last = values[-1] - values[-2]
    if even and step > 0.0 and 0.0 < last <= step * (1.0 + 1e-6):
        return f"{shown[0]} to {shown[-1]} by {step * scale:.6g} ({len(values)})"
    low, high = f"{min(values) * scale:.6g}", f"{max(values) * scale:.6g}"
    return f"{low} to {high} ({len(values)} listed)"


def describe_target(target: Target) -> str:
    """Say in words what a target asks for.

    Parameters
    ----------
    target : Target
        Any target. [SI]

    Returns
    -------
    text : str
        Such as "250.0 cpm to 254.0 cpm". [-]
    """
    metric = METRIC[target.metric]
    parts = []
    low, high = math.isfinite(target.low), math.isfinite(target.high)
    if low and high:
        parts.append(f"{metric.shown(target.low)} to {metric.shown(target.high)}")
    elif low:
        parts.append(f"at least {metric.shown(target.low)}")
    elif high:
        parts.append(f"at most {metric.shown(target.high)}")
    if target.trade:
        parts.append(f"traded, {target.trade} is better")
    return "; ".join(parts)


def describe_spec(spec: Spec) -> str:
    """Say what a spec holds.

    Parameters
    ----------
    spec : Spec
        A checked spec. [SI]

    Returns
    -------
    text : str
        Lines for the terminal. [-]
    """
    return "\n".join(
        [
            f"target spec {spec.name}: good",
            "",
            *_shaft_lines(spec),
            "",
            *_target_lines(spec),
            "",
            *_place_lines(spec.places),
            "",
            *_size_lines(spec),
            *_setting_lines(spec),
        ]
    )


def _shaft_lines(spec: Spec) -> Iterator[str]:
    yield "shaft"
    yield f"  length, mm       {choice_text(spec.lengths, 1e3)}"
    yield f"  mandrel          {', '.join(spec.mandrels)}"
    yield f"  mandrel set, mm  {choice_text(spec.mandrel_sets, 1e3)}"
    if spec.trim_tip or spec.trim_butt:
        tip = format_quantity(spec.trim_tip, "length")
        butt = format_quantity(spec.trim_butt, "length")
        yield f"  trim             {tip} at the tip, {butt} at the butt"
    done = [
        f"{name.replace('_', ' ')} {written_text(Finish, name, value)}"
        for name in (field.name for field in fields(Finish))
        if (value := getattr(spec.finish, name))
    ]
    yield from textwrap.wrap(
        ", ".join(done) or "as cured",
        _WIDTH,
        initial_indent="  finish           ",
        subsequent_indent=" " * 19,
    )


def _target_lines(spec: Spec) -> Iterator[str]:
    yield "targets"
    order = {metric.key: i for i, metric in enumerate(METRICS)}
    rows = [
        (METRIC[target.metric].label, describe_target(target))
        for target in sorted(spec.targets, key=lambda target: order[target.metric])
    ]
    for point in spec.ei_targets:
        low, high = point.target - point.tolerance, point.target + point.tolerance
        station = format_quantity(point.station, "length")
        rows.append((f"EI at {station}", f"{low:.2f} to {high:.2f} N·m²"))
    yield from _table(rows)


def _place_lines(places: tuple[Place, ...]) -> Iterator[str]:
    """A row for each place, its materials below."""
    note = " (? may be left out)" if any(place.optional for place in places) else ""
    yield f"places{note}"
    rows = [("place", "angle", "start, mm", "end, mm", "wraps", "ways")]
    for place in places:
        angles = dict.fromkeys((s.angle, s.is_pair) for s in place.sheets)
        rows.append(
            (
                f"{place.name} ?" if place.optional else place.name,
                ", ".join(write_flag_angle(a, is_pair=pair) for a, pair in angles),
                choice_text(place.starts, 1e3),
                choice_text(place.ends, 1e3),
                choice_text(place.wraps),
                f"{place.n_choices:,}",
            )
        )
    title, *lines = _table(rows)
    yield title
    for place, line in zip(places, lines, strict=True):
        yield line
        materials = dict.fromkeys(sheet.material for sheet in place.sheets)
        ends = []
        if place.run_out_tip:
            ends.append(f"tip {format_quantity(place.run_out_tip, 'length')}")
        if place.run_out_butt:
            ends.append(f"butt {format_quantity(place.run_out_butt, 'length')}")
        run_out = f"; run-out {', '.join(ends)}" if ends else ""
        yield from textwrap.wrap(
            f"{', '.join(materials)}{run_out}",
            _WIDTH,
            initial_indent="      ",
            subsequent_indent="      ",
            break_on_hyphens=False,
        )


def _size_lines(spec: Spec) -> Iterator[str]:
    size = f"10^{spec.size:.0f}" if spec.size >= 6.0 else f"{10.0**spec.size:,.0f}"
    n = len(spec.places)
    if spec.rules.reorder and n > 1:
        rolled = f"each in up to {math.factorial(n):,} rolling orders"
    else:
        rolled = "rolled in the order of the places"
    yield f"about {size} layups, {rolled}"


def _setting_lines(spec: Spec) -> Iterator[str]:
    """The optional tables, key by key."""
    of_table = {
        "rules": spec.rules,
        "bench": spec.bench,
        "cutting": spec.cutting,
        "costs": spec.costs,
        "search": spec.search,
    }
    keys = known_keys()
    name_width = max(len(key.name) for key in keys)
    texts = {
        key: written_text(type(of_table[key.table]), key.name, value)
        for key in keys
        for value in (getattr(of_table[key.table], key.name),)
    }
    text_width = max(len(text) for text in texts.values())
    for table in of_table:
        yield ""
        yield f"{table} (* not the default)"
        for key, text in texts.items():
            if key.table != table:
                continue
            mark = " " if text == key.default else "*"
            lead = f"{mark} {key.name:<{name_width}}  {text:<{text_width}}  "
            yield from textwrap.wrap(
                key.meaning,
                _WIDTH,
                initial_indent=lead,
                subsequent_indent=" " * len(lead),
            )
        if table == "bench":
            yield from textwrap.wrap(
                f'setup = ["name", ...] sets what is usual, any of {", ".join(SETUPS)}',
                _WIDTH,
                initial_indent="  ",
                subsequent_indent="    ",
            )


def _table(rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    """Rows with their columns in line."""
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = (f"{cell:<{w}}" for cell, w in zip(row, widths, strict=True))
        yield f"  {'  '.join(cells)}".rstrip()
