"""Small changes of one design, each by itself: what an engineer may do to a flag."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from model import Design, Flag, Library, Report, angle_text
from optimiser.alike import neighbours
from optimiser.words import mm, plain

#: What is done to a flag or to the shaft: a short name and how it is said.
MOVES: Final = {
    "more": "wraps more",
    "less": "wraps less",
    "start_tip": "start towards the tip",
    "start_butt": "start towards the butt",
    "end_tip": "end towards the tip",
    "end_butt": "end towards the butt",
    "stiffer": "next stiffer material",
    "softer": "next softer material",
    "without": "left out",
    "set_tip": "mandrel set less",
    "set_butt": "mandrel set more",
}
#: Two stations are the same if they are closer than this. [m]
_SAME = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """A design with one small change."""

    order: int  #: place of the flag in rolling order, from 1; 0 for the shaft
    move: str  #: key of MOVES
    to: str  #: what is then written, with its unit
    design: Design | None  #: None where it cannot be done
    obstacle: str = ""  #: why not


def variants(
    report: Report, library: Library, *, turn: float = 0.5, by: float = 0.010
) -> list[Variant]:
    """List the small changes of a design.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    library : Library
        Its materials and mandrels. [-]
    turn : float
        Wraps more or less. [-]
    by : float
        How far ends and the mandrel set are moved. [m]

    Returns
    -------
    variants : list of Variant
        Flag by flag in rolling order, the mandrel set last; what cannot be done is
        among them with the reason, but for ends that lie at an end of the shaft. [SI]
    """
    found: list[Variant] = []
    for k in range(len(report.design.flags)):
        found += _wrapped(report, k, turn)
        found += _ended(report.design, k, by)
        found += _of_neighbours(report.design, k, library)
        found.append(_left_out(report.design, k))
    found += _set(report.design, library, by)
    return found


def with_flag(design: Design, k: int, flag: Flag) -> Design:
    """Put a flag in the place of another.

    Parameters
    ----------
    design : Design
        Any design. [SI]
    k : int
        Which flag. [-]
    flag : Flag
        What takes its place. [SI]

    Returns
    -------
    design : Design
        The changed design. [SI]
    """
    flags = (*design.flags[:k], flag, *design.flags[k + 1 :])
    return replace(design, flags=flags)


# --------------------------------------------------------------------------- moves


def _wrapped(report: Report, k: int, turn: float) -> Iterator[Variant]:
    flag, rolled = report.design.flags[k], report.flags[k]
    for move, side in (("more", 1.0), ("less", -1.0)):
        wraps = rolled.wraps + side * turn
        if wraps < 1e-6:
            why = f"it has {_wraps(rolled.wraps)}"
            yield Variant(order=k + 1, move=move, to="", design=None, obstacle=why)
            continue
        if flag.width_tip is None or flag.width_butt is None:
            changed, to = replace(flag, wraps=wraps), _wraps(wraps)
        else:
            # both widths grow alike, by the share its mean turns grow
            ratio = wraps / rolled.wraps
            widths = flag.width_tip * ratio, flag.width_butt * ratio
            changed = replace(flag, width_tip=widths[0], width_butt=widths[1])
            to = f"{mm(widths[0])} and {mm(widths[1])} mm wide"
        design = with_flag(report.design, k, changed)
        yield Variant(order=k + 1, move=move, to=to, design=design)


def _wraps(count: float) -> str:
    text = plain(count)
    return f"{text} wrap{'' if text == '1' else 's'}"


def _ended(design: Design, k: int, by: float) -> Iterator[Variant]:
    flag, length = design.flags[k], design.shaft.length
    for name in ("start", "end"):
        for side, step in (("tip", -by), ("butt", by)):
            at = getattr(flag, name)
            station = min(max(at + step, 0.0), length)
            if abs(station - at) < _SAME:
                continue  # there is no shaft beyond
            ends = {"start": flag.start, "end": flag.end, name: station}
            room = ends["end"] - ends["start"]
            move = f"{name}_{side}"
            if room < max(flag.run_out_tip + flag.run_out_butt, _SAME):
                why = "its run-outs would not fit" if room > _SAME else "nothing left"
                yield Variant(order=k + 1, move=move, to="", design=None, obstacle=why)
                continue
            changed = replace(flag, start=ends["start"], end=ends["end"])
            yield Variant(
                order=k + 1,
                move=move,
                to=f"{mm(station)} mm",
                design=with_flag(design, k, changed),
            )


def _of_neighbours(design: Design, k: int, library: Library) -> Iterator[Variant]:
    flag = design.flags[k]
    found = neighbours(flag.material, library, design.finish.resin_bleed)
    for move, name in found.items():
        if name is None:
            why = f"the library has no {move} one of like thickness"
            yield Variant(order=k + 1, move=move, to="", design=None, obstacle=why)
        else:
            changed = with_flag(design, k, replace(flag, material=name))
            yield Variant(order=k + 1, move=move, to=name, design=changed)


def _left_out(design: Design, k: int) -> Variant:
    if len(design.flags) == 1:
        why = "it is the only flag"
        return Variant(order=k + 1, move="without", to="", design=None, obstacle=why)
    left = replace(design, flags=(*design.flags[:k], *design.flags[k + 1 :]))
    return Variant(order=k + 1, move="without", to="-", design=left)


def _set(design: Design, library: Library, by: float) -> Iterator[Variant]:
    shaft = design.shaft
    reach = library.mandrels[shaft.mandrel].length
    most = reach - shaft.length - shaft.trim_butt
    for move, step in (("set_tip", -by), ("set_butt", by)):
        there = min(max(shaft.mandrel_set + step, shaft.trim_tip), most)
        if abs(there - shaft.mandrel_set) < _SAME:
            why = "the mandrel ends there"
            yield Variant(order=0, move=move, to="", design=None, obstacle=why)
            continue
        moved = replace(design, shaft=replace(shaft, mandrel_set=there))
        yield Variant(order=0, move=move, to=f"{mm(there)} mm", design=moved)


def flag_title(flag: Flag) -> str:
    """Name a flag with its material and angle.

    Parameters
    ----------
    flag : Flag
        Any flag. [SI]

    Returns
    -------
    text : str
        One line. [-]
    """
    angle = angle_text(flag.angle, is_pair=flag.is_pair)
    return f"{flag.name}, {flag.material}, {angle}°"
