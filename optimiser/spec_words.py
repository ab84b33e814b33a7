"""A spec in words: its keys with their defaults, and what it holds."""

import math
from dataclasses import dataclass, fields
from typing import cast, get_type_hints

from model import METRIC, METRICS, Bench, Cutting, Quantity, format_quantity
from optimiser.spec import Meaning, Rules, SearchOptions, Spec, Target


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a spec's optional tables, for people."""

    table: str
    name: str
    default: str
    meaning: str


def known_keys() -> tuple[Key, ...]:
    """Every key of [rules], [bench], [cutting] and [search].

    Returns
    -------
    keys : tuple of Key
        With defaults as they are written, and meanings. [-]
    """
    return tuple(
        Key(
            table=table,
            name=name,
            default=_written(cls, name, getattr(cls(), name)),
            meaning=_meaning(cls, name),
        )
        for table, cls in (
            ("rules", Rules),
            ("bench", Bench),
            ("cutting", Cutting),
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
    "torque_clamp": "length of the butt clamped in the torque test",
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
    "strength_moment": "bending moment that the wall must bear",
    "strength_tip_support": "the moment rises from nought here, from the tip",
    "strength_from": "the moment is full from here (point T), from the tip",
    "strength_a": "point A, from the tip",
    "strength_b": "point B, from the tip",
    "strength_to": "the moment is full up to here (point C), from the butt",
    "strength_butt_support": "the moment has fallen to nought here, from the butt",
    "gap": "cutting gap between pieces on the roll",
    "roll_edge": "edge of the roll that is not used",
    "splice_from": "pieces at this fibre angle or above may be spliced",
}


def _meaning(cls: type, name: str) -> str:
    hints = get_type_hints(cls, include_extras=True)
    for extra in getattr(hints[name], "__metadata__", ()):
        if isinstance(extra, Meaning):
            return extra.text
    return _BENCH_MEANING[name]


def _written(cls: type, name: str, value: object) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "true" if value else "false"
    hints = get_type_hints(cls, include_extras=True)
    for extra in getattr(hints[name], "__metadata__", ()):
        if isinstance(extra, Quantity) and extra.dimension != "number":
            return format_quantity(cast("float", value), extra.dimension)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _span(values: tuple[float, ...], dimension: str) -> str:
    if len(values) == 1:
        return format_quantity(values[0], dimension)
    low, high = (
        format_quantity(min(values), dimension),
        format_quantity(max(values), dimension),
    )
    return f"{low} to {high} ({len(values)})"


def describe_target(target: Target) -> str:
    """Say in words what a target asks for.

    Parameters
    ----------
    target : Target
        Any target. [SI]

    Returns
    -------
    text : str
        Such as "between 250.0 cpm and 254.0 cpm". [-]
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
    lines = [
        f"target spec {spec.name}",
        "",
        f"  length       {_span(spec.lengths, 'length')}",
        f"  mandrel      {', '.join(spec.mandrels)}",
        f"  mandrel set  {_span(spec.mandrel_sets, 'length')}",
        "",
        "targets",
    ]
    order = {metric.key: i for i, metric in enumerate(METRICS)}
    lines += [
        f"  {METRIC[target.metric].label:<26} {describe_target(target)}"
        for target in sorted(spec.targets, key=lambda t: order[t.metric])
    ]
    for point in spec.ei_targets:
        low, high = point.target - point.tolerance, point.target + point.tolerance
        label = f"EI at {format_quantity(point.station, 'length')}"
        lines.append(f"  {label:<26} {low:.2f} to {high:.2f} N·m²")
    lines += ["", f"places ({len(spec.places)})"]
    width = max(len(place.name) for place in spec.places)
    for place in spec.places:
        materials = {sheet.material for sheet in place.sheets}
        angles = {(sheet.angle, sheet.is_pair) for sheet in place.sheets}
        lines.append(
            f"  {place.name:<{width}}  {len(materials)} material(s) x {len(angles)} "
            f"angle(s), start {_span(place.starts, 'length')}, "
            f"end {_span(place.ends, 'length')}, "
            f"wraps {_span(place.wraps, 'number')}"
            f"{', may be left out' if place.optional else ''}"
        )
    lines.append(f"  about 10^{spec.size:.0f} designs, times the rolling orders")
    for table, value in (
        ("rules", spec.rules),
        ("bench", spec.bench),
        ("cutting", spec.cutting),
        ("search", spec.search),
    ):
        lines += ["", f"{table} (* set in the file, others by default)"]
        cls = type(value)
        for key in known_keys():
            if key.table != table:
                continue
            text = _written(cls, key.name, getattr(value, key.name))
            mark = " " if text == key.default else "*"
            lines.append(f" {mark}{key.name:<22} {text:<12} {key.meaning}")
    return "\n".join(lines)
