"""What has to fit together in a target spec beyond the range of each single value."""

import math
from collections.abc import Iterator

from model import METRIC, Bench, Document, Finish, format_quantity, show_value
from optimiser.spec import Place, Rules, Target

#: stations closer than this are one [m]
SAME = 1e-7

#: Metrics of a bench test, with the fields of Bench that reach farthest.
_REACH = {
    "frequency": ("frequency_clamp",),
    "impact": ("impact_to",),
    "tip_deflection": ("tip_load_at",),
    "butt_deflection": ("butt_load_at",),
    "flex_point_ratio": ("tip_load_at", "butt_load_at"),
}
#: Metrics of a test that works at both ends, with what it takes of each.
_BOTH_ENDS = {
    "torque": ("torque_clamp", "torque_grip"),
    "cantilever_deflection": ("cantilever_clamp", "cantilever_load_at"),
    "torsion_strength": ("torsion_grip", "torsion_grip"),
    "torsion_product": ("torsion_grip", "torsion_grip"),
    "durability": ("strength_from", "strength_to"),
    "flattening": ("strength_from", "strength_to"),
}


def check_tests_fit(document: Document, bench: Bench, length: float) -> None:
    """Note targets whose bench test is longer than the shaft.

    Parameters
    ----------
    document : Document
        The spec; faults are noted there. [-]
    bench : Bench
        Distances of the tests. [SI]
    length : float
        Shortest shaft. [m]
    """
    targets = document.take("targets")
    if not isinstance(targets, dict):
        return
    shaft = format_quantity(length, "length")
    for metric, raw in targets.items():
        message = None
        reach = {name: float(getattr(bench, name)) for name in _REACH.get(metric, ())}
        farthest = max(reach, key=lambda name: reach[name], default="")
        if farthest and reach[farthest] > length - SAME:
            shown = format_quantity(reach[farthest], "length")
            message = (
                f"{farthest} is {shown}, the shaft {shaft} long. Set {farthest} in "
                "[bench], or leave the target out."
            )
        ends = [
            (name, float(getattr(bench, name))) for name in _BOTH_ENDS.get(metric, ())
        ]
        if metric == "torque" and bench.torque_clamp_at is not None:
            ends[0] = ("torque_clamp_at", max(0.0, length - bench.torque_clamp_at))
            if bench.torque_clamp_at > length + SAME:
                ends.append(("torque_clamp_at", bench.torque_clamp_at))
        if ends and sum(end for _, end in ends) > length - SAME:
            words = " and ".join(
                f"{name} ({format_quantity(end, 'length')})" for name, end in ends
            )
            message = (
                f"{words} leave nothing of a shaft {shaft} long. Give less in [bench], "
                "or leave the target out."
            )
        needs = METRIC[metric].needs if metric in METRIC else ""
        if needs and getattr(bench, needs) == 0.0:
            message = f"there is none without {needs}. Set it in [bench]."
        if message is not None:
            document.fault(
                "[targets]",
                metric,
                show_value(raw),
                f"its test does not fit: {message}",
            )


def check_tip_band(
    document: Document, targets: tuple[Target, ...], finish: Finish
) -> None:
    """Note a band on the tip diameter that the tip grinding misses.

    Parameters
    ----------
    document : Document
        The spec; faults are noted there. [-]
    targets : tuple of Target
        What is asked. [SI]
    finish : Finish
        What is done to the blank. [SI]
    """
    ground = finish.tip_diameter
    if ground is None:
        return
    for target in targets:
        if target.metric != "tip_diameter":
            continue
        if target.low - SAME <= ground <= target.high + SAME:
            continue
        low = format_quantity(target.low, "length")
        high = format_quantity(target.high, "length")
        if math.isinf(target.high):
            band = f"at least {low}"
        elif math.isinf(target.low):
            band = f"at most {high}"
        else:
            band = f"{low} to {high}"
        document.fault(
            "[targets]",
            "tip_diameter",
            show_value(document.raw("targets", "tip_diameter")),
            f"the tip is ground to {format_quantity(ground, 'length')} (tip_diameter "
            f"in [finish]), which is not in this band ({band}). Change one of them.",
        )


def check_places(
    document: Document,
    places: tuple[Place, ...],
    lengths: tuple[float, ...] | None,
    rules: Rules | None,
) -> None:
    """Note names that stand twice, and shafts that no choice can complete.

    Parameters
    ----------
    document : Document
        The spec; faults are noted there. [-]
    places : tuple of Place
        Those without faults. [SI]
    lengths : tuple of float or None
        Lengths of the shaft; None where they are faulty. [m]
    rules : Rules or None
        None where they are faulty. [SI]
    """
    raw = document.take("place")
    tables = raw if isinstance(raw, list) else []
    _check_names(document, tables)
    if not places or len(places) < len(tables):
        return  # a place that could not be read might have been the one
    if lengths is not None:
        for message in _gaps(places, max(lengths)):
            document.fault("", "place", None, message)
    if rules is None:
        return
    if lengths is not None and rules.outer_straight:
        covers = (
            any(not s.is_pair and abs(s.angle) < 1e-9 for s in place.sheets)
            for place in places
            if min(place.starts) <= SAME and max(place.ends) >= max(lengths) - SAME
        )
        if not any(covers):
            document.fault(
                "",
                "place",
                None,
                'no full-length place at angle "0", which outer_straight in [rules] '
                "asks for. Give one, or set outer_straight = false.",
            )
    fixed = set()
    for place in places:
        materials = {sheet.material for sheet in place.sheets}
        if not place.optional and len(materials) == 1:
            fixed |= materials
    if len(fixed) > rules.materials_max:
        given = document.raw("rules", "materials_max")
        document.fault(
            "[rules]",
            "materials_max",
            str(rules.materials_max) if given is None else show_value(given),
            f"the places that must be there need {len(fixed)} materials: "
            f"{', '.join(sorted(fixed))}. Allow as many, or give the places a choice.",
        )


def _check_names(document: Document, tables: list[object]) -> None:
    first: dict[str, int] = {}
    for i, table in enumerate(tables):
        name = table.get("name") if isinstance(table, dict) else None
        if not isinstance(name, str) or not name.strip():
            continue
        before = first.setdefault(name.strip(), i)
        if before < i:
            document.fault(
                document.numbered("place", i, table),
                "name",
                show_value(name),
                f"stands twice, first in place {before + 1}. Give each place a name "
                "of its own.",
            )


def _gaps(places: tuple[Place, ...], length: float) -> Iterator[str]:
    """Say where no choice of any place covers the shaft."""
    covered = 0.0
    for place in sorted(places, key=lambda place: min(place.starts)):
        start = min(place.starts)
        if start > covered + SAME:
            if covered == 0.0:
                yield "no place reaches the tip. Give one a start of 0 mm."
            else:
                yield (
                    "no place covers the shaft from "
                    f"{format_quantity(covered, 'length')} to "
                    f"{format_quantity(start, 'length')}. Lengthen one, or add one."
                )
        covered = max(covered, max(place.ends))
    if covered < length - SAME:
        butt = format_quantity(length, "length")
        yield f"no place reaches the butt. Give one an end of {butt}."
