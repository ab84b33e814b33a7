"""Two specs beside each other: are their choices the same, and what else differs."""

from collections.abc import Iterator
from dataclasses import fields

from model import METRIC, Fault, suggestion, write_flag_angle
from optimiser.spec import EITarget, Place, Spec
from optimiser.spec_words import choice_text, describe_target, written_text

_RUN = "the run has"


def other_choices(old: Spec, new: Spec) -> list[Fault]:
    """Why designs of one spec are not designs of another.

    Parameters
    ----------
    old, new : Spec
        That of a run, and the one to go on with. [SI]

    Returns
    -------
    faults : list of Fault
        One a choice that is another; none where every design stays what it is. [-]
    """
    faults = []
    for key, (before, after) in (
        ("length", _mm(old.lengths, new.lengths)),
        ("mandrel", (", ".join(old.mandrels), ", ".join(new.mandrels))),
        ("mandrel_set", _mm(old.mandrel_sets, new.mandrel_sets)),
        ("trim_tip", _mm((old.trim_tip,), (new.trim_tip,))),
        ("trim_butt", _mm((old.trim_butt,), (new.trim_butt,))),
    ):
        if before != after:
            faults.append(Fault("[shaft]", key, after, f"{_RUN} {before}."))
    before, after = (str(spec.rules.reorder).lower() for spec in (old, new))
    if before != after:
        # without it ranks mean nothing, and designs would be rolled in another order
        faults.append(Fault("[rules]", "reorder", after, f"{_RUN} {before}."))
    before_places = {place.name: place for place in old.places}
    after_places = {place.name: place for place in new.places}
    for name in after_places.keys() - before_places.keys():
        message = f"no such place in the run. {suggestion(name, before_places)}"
        faults.append(Fault(f'place "{name}"', None, None, message))
    for name, place in before_places.items():
        if name not in after_places:
            message = f"is missing; {_RUN} it."
            faults.append(Fault(f'place "{name}"', None, None, message))
            continue
        faults += _other_place(place, after_places[name])
    if not faults and list(before_places) != list(after_places):
        order = ", ".join(before_places)
        message = f"another order of the places; {_RUN} {order}."
        faults.append(Fault("place", None, None, message))
    return faults


def _other_place(old: Place, new: Place) -> Iterator[Fault]:
    for key, (before, after) in (
        ("material", (_materials(old), _materials(new))),
        ("angle", (_angles(old), _angles(new))),
        ("start", _mm(old.starts, new.starts)),
        ("end", _mm(old.ends, new.ends)),
        ("wraps", _listed(old.wraps, new.wraps)),
        ("run_out", _mm(_run_outs(old), _run_outs(new))),
        ("optional", (str(old.optional).lower(), str(new.optional).lower())),
    ):
        if before != after:
            yield Fault(f'place "{old.name}"', key, after, f"{_RUN} {before}.")


def asked_otherwise(old: Spec, new: Spec) -> list[str]:
    """What a spec asks other than another.

    Parameters
    ----------
    old, new : Spec
        Of the same choices. [SI]

    Returns
    -------
    changes : list of str
        In words; none where they ask the same. [-]
    """
    said = []
    before = {target.metric: target for target in old.targets}
    after = {target.metric: target for target in new.targets}
    for key in [*before, *(key for key in after if key not in before)]:
        was = describe_target(before[key]) if key in before else "not asked for"
        now = describe_target(after[key]) if key in after else "not asked for"
        if was != now or before.get(key) != after.get(key):
            said.append(f"{METRIC[key].phrase}: {now}; it was: {was}")
    if list(before) != list(after) and not said:
        said.append("the targets stand in another order")
    points = {point.station: point for point in old.ei_targets}
    others = {point.station: point for point in new.ei_targets}
    for at in sorted(points.keys() | others.keys()):
        if points.get(at) != others.get(at):
            was, now = _point(points.get(at)), _point(others.get(at))
            said.append(f"EI at {at * 1e3:g} mm: {now}; it was: {was}")
    for table, a, b in (
        ("finish", old.finish, new.finish),
        ("rules", old.rules, new.rules),
        ("bench", old.bench, new.bench),
        ("cutting", old.cutting, new.cutting),
        ("costs", old.costs, new.costs),
    ):
        for field in fields(a):
            one, two = getattr(a, field.name), getattr(b, field.name)
            if one != two:
                was = written_text(type(a), field.name, one)
                now = written_text(type(a), field.name, two)
                said.append(f"{field.name} in [{table}]: {now}; it was: {was}")
    return said


def _point(point: EITarget | None) -> str:
    if point is None:
        return "not asked for"
    low, high = point.target - point.tolerance, point.target + point.tolerance
    return f"{low:.2f} to {high:.2f} N·m²"


def _listed(
    old: tuple[float, ...], new: tuple[float, ...], scale: float = 1.0
) -> tuple[str, str]:
    """Values of a choice in words, the same where all of them are the same."""
    before, after = choice_text(old, scale), choice_text(new, scale)
    if before == after:
        # a long list was told by its ends alone
        before, after = (
            ", ".join(f"{value * scale:.6g}" for value in values)
            for values in (old, new)
        )
    return before, after


def _mm(old: tuple[float, ...], new: tuple[float, ...]) -> tuple[str, str]:
    before, after = _listed(old, new, 1e3)
    return f"{before} mm", f"{after} mm"


def _materials(place: Place) -> str:
    return ", ".join(dict.fromkeys(sheet.material for sheet in place.sheets))


def _angles(place: Place) -> str:
    angles = dict.fromkeys((s.angle, s.is_pair) for s in place.sheets)
    return ", ".join(write_flag_angle(a, is_pair=pair) for a, pair in angles)


def _run_outs(place: Place) -> tuple[float, float]:
    return place.run_out_tip, place.run_out_butt
