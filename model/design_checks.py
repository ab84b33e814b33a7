"""What has to fit together in a design beyond the range of each single value."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, Final

from model.design import Bench, Finish, Flag, Shaft
from model.fields import show_value
from model.library import VF_RANGE, Library, Mandrel
from model.reading import Document
from model.setups import setup_overrides
from model.units import format_quantity

#: stations closer than this are one [m]
SAME: Final = 1e-7


def mandrel_fault(mandrel: Mandrel, shaft: Shaft) -> str | None:
    """Say why a shaft does not fit on a mandrel.

    Parameters
    ----------
    mandrel : Mandrel
        The mandrel. [SI]
    shaft : Shaft
        The shaft, its set and its trims. [SI]

    Returns
    -------
    message : str or None
        What is short by how many millimetres, and which sets would do; None if it
        fits. [-]
    """
    least = shaft.trim_tip
    most = mandrel.length - shaft.length - shaft.trim_butt
    if least - SAME <= shaft.mandrel_set <= most + SAME:
        return None
    long = f"mandrel '{mandrel.name}' is {format_quantity(mandrel.length, 'length')}"
    if most < least - SAME:
        short = format_quantity(least - most, "length")
        return (
            f"{long} long, {short} too short for this shaft and its trims at any set. "
            "Choose a longer mandrel."
        )
    allowed = (
        f"Give a value between {format_quantity(least, 'length')} and "
        f"{format_quantity(most, 'length')}."
    )
    if shaft.mandrel_set < least:
        short = format_quantity(least - shaft.mandrel_set, "length")
        return (
            f"trim_tip reaches {short} beyond the small end of the mandrel. {allowed}"
        )
    short = format_quantity(shaft.mandrel_set - most, "length")
    return f"{long} long, {short} too short for this set. {allowed}"


def check_finish(document: Document, finish: Finish, length: float | None) -> None:
    """Note what does not go together in a finish.

    Parameters
    ----------
    document : Document
        Faults are noted here. [-]
    finish : Finish
        As read. [SI]
    length : float or None
        Shortest length of the shaft, None if not known. [m]
    """

    def fault(key: str, message: str) -> None:
        shown = show_value(document.raw("finish", key))
        document.fault("[finish]", key, shown, message)

    if finish.tip_diameter is None:
        for key in ("tip_parallel", "tip_blend", "tip_taper"):
            if getattr(finish, key) > 0.0:
                fault(key, "needs tip_diameter, the diameter the tip is ground to.")
    elif finish.tip_parallel == 0.0:
        fault("tip_diameter", "needs tip_parallel, the length that is ground to it.")
    ground = finish.tip_parallel + finish.tip_blend
    if length is not None and ground > length + SAME:
        key = "tip_parallel" if finish.tip_parallel > length else "tip_blend"
        butt = format_quantity(length, "length")
        fault(key, f"the tip grinding reaches past the butt end ({butt}).")


def read_bench(document: Document) -> Bench | None:
    """Read [bench]: named set-ups, and the values beside them, which win.

    Parameters
    ----------
    document : Document
        Faults are noted here. [-]

    Returns
    -------
    bench : Bench or None
        None if it is faulty. [SI]
    """
    names = document.take_from("bench", "setup")
    bench = document.table("bench", Bench)
    if names is None:
        return bench
    shown = show_value(names)
    listed = [names] if isinstance(names, str) else names
    if not isinstance(listed, list) or not all(isinstance(n, str) for n in listed):
        message = 'not names of set-ups. Write setup = ["name", "name"].'
        document.fault("[bench]", "setup", shown, message)
        return None
    try:
        given = setup_overrides(listed)
    except ValueError as error:
        document.fault("[bench]", "setup", shown, str(error))
        return None
    if bench is None:
        return None
    # what is written beside the set-ups wins, in either way of saying it
    own = {key for key in given if document.raw("bench", key) is not None}
    if document.raw("bench", "torque_clamp") is not None:
        own.add("torque_clamp_at")
    changes: dict[str, Any] = {k: v for k, v in given.items() if k not in own}
    return replace(bench, **changes)


def check_bench(document: Document, bench: Bench) -> None:
    """Note bench supports that stand in the wrong order.

    Parameters
    ----------
    document : Document
        Faults are noted here. [-]
    bench : Bench
        As read. [SI]
    """
    if bench.torque_clamp_at is not None:
        raw = document.raw("bench", "torque_clamp")
        if raw is not None and document.raw("bench", "torque_clamp_at") is not None:
            message = "stands beside torque_clamp_at, which says it too. Leave one out."
            document.fault("[bench]", "torque_clamp", show_value(raw), message)
    for near, far in (
        ("butt_hold", "butt_support"),
        ("butt_support", "butt_load_at"),
        ("tip_hold", "tip_support"),
        ("tip_support", "tip_load_at"),
        ("strength_tip_support", "strength_from"),
        ("strength_butt_support", "strength_to"),
        ("impact_at", "impact_to"),
    ):
        if getattr(bench, far) <= getattr(bench, near):
            given = far if document.raw("bench", far) is not None else near
            shown = show_value(document.raw("bench", given))
            document.fault(
                "[bench]",
                given,
                shown,
                f"{far} ({format_quantity(getattr(bench, far), 'length')}) is to lie "
                f"beyond {near} ({format_quantity(getattr(bench, near), 'length')}).",
            )


def check_bleed(
    document: Document, finish: Finish, library: Library, materials: Iterable[str]
) -> None:
    """Note a bleed that leaves too little resin in a ply that is used.

    Parameters
    ----------
    document : Document
        Faults are noted here. [-]
    finish : Finish
        As read. [SI]
    library : Library
        Where the materials are. [SI]
    materials : iterable of str
        Those that are used. [-]
    """
    if finish.resin_bleed == 0.0:
        return
    for material in dict.fromkeys(materials):
        Vf = library.prepregs[material].cured(finish.resin_bleed).Vf
        if Vf > VF_RANGE[1]:
            document.fault(
                "[finish]",
                "resin_bleed",
                show_value(document.raw("finish", "resin_bleed")),
                f"leaves '{material}' with a fibre volume fraction of {Vf:.2f}. A ply "
                f"has up to {VF_RANGE[1]:g}; give less.",
            )


def bare_stretches(shaft: Shaft, flags: Sequence[Flag]) -> Iterator[str]:
    """Say where the finished shaft would have no wall.

    Parameters
    ----------
    shaft : Shaft
        Its length and trims. [SI]
    flags : sequence of Flag
        As designed. [SI]

    Yields
    ------
    message : str
        One for each stretch without a flag. [-]
    """
    length = shaft.length
    spans = []
    for flag in flags:
        # as rolled: a flag that ends with the shaft is cut longer by the trim
        start = flag.start - (shaft.trim_tip if flag.start <= SAME else 0.0)
        end = flag.end + (shaft.trim_butt if flag.end >= length - SAME else 0.0)
        spans.append((start, end, flag))
    covered = 0.0
    for start, end, _ in sorted(spans, key=lambda span: span[0]):
        if start > covered + SAME:
            yield (
                f"no flag covers the shaft from {format_quantity(covered, 'length')} "
                f"to {format_quantity(start, 'length')}."
            )
        covered = max(covered, end)
    if covered < length - SAME:
        yield (
            f"no flag covers the shaft from {format_quantity(covered, 'length')} to "
            f"the butt end ({format_quantity(length, 'length')})."
        )
    # wraps are linear between the ends, so they can vanish at an end only
    for x in sorted({x for start, end, _ in spans for x in (start, end)}):
        if not -SAME <= x <= length + SAME:
            continue
        for side in (-1.0, 1.0):
            look = x + side * SAME
            if not 0.0 <= look <= length:
                continue
            inside = [span for span in spans if span[0] < look < span[1]]
            if inside and all(
                (flag.run_out_tip > 0.0 and abs(x - start) < SAME)
                or (flag.run_out_butt > 0.0 and abs(x - end) < SAME)
                for start, end, flag in inside
            ):
                yield (
                    f"the wall runs out to nothing at {format_quantity(x, 'length')}. "
                    "Lay a flag without run-out there."
                )
                break
