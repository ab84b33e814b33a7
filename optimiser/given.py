"""Designs that an engineer has, read and laid on a spec's places to start a search."""

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from model import (
    Design,
    Fault,
    InputError,
    Library,
    read_design,
    suggestion,
)
from optimiser.decoding import END, GENES, HEAD, PRESENT, SHEET, START, WRAPS
from optimiser.encoding import Encoding, encode
from optimiser.inputs import load_design
from optimiser.mapping import Choices, start_of
from optimiser.run_folder import ABOUT, DESIGNS, FRONT
from optimiser.spec import Spec
from optimiser.starts import Held, Start, Starts, with_held
from optimiser.store import open_run

#: Of so many designs that do not fit exactly it is said in what they differ.
_TOLD_MOST = 3


def prepare(
    spec: Spec, library: Library, paths: Sequence[Path], hold: Sequence[str]
) -> tuple[Spec, Starts]:
    """Lay designs on a spec's places, and hold some of the first one's flags.

    Parameters
    ----------
    spec : Spec
        A checked spec. [SI]
    library : Library
        Its library. [SI]
    paths : sequence of Path
        Design files, run folders, or their front.csv. [-]
    hold : sequence of str
        Places whose flag stays as in the first design. [-]

    Returns
    -------
    spec, starts : Spec, Starts
        The spec with the held places narrowed to that flag, and the designs. [SI]

    Raises
    ------
    InputError
        With what is wrong with the files, or with the names of places.
    """
    given = _read(paths)
    held: tuple[Held, ...] = ()
    if hold:
        if not given:
            message = "a flag is held as in a start design. Give one with --start-from."
            raise InputError("--hold", [Fault("", None, None, message)])
        encoding = encode(spec, library)
        first = given[0]
        choices = Choices(encoding, library, first.library)
        held = _held(start_of(first.design, choices, first.source), encoding, hold)
        spec = with_held(spec, held)
    if not given:
        return spec, Starts()
    encoding = encode(spec, library)
    by_library: dict[int, Choices] = {}
    designs: list[Start] = []
    inexact = 0
    for one in given:
        key = id(one.library)
        choices = by_library.setdefault(key, Choices(encoding, library, one.library))
        is_measured = inexact < _TOLD_MOST
        start = start_of(one.design, choices, one.source, is_measured=is_measured)
        inexact += not start.is_exact
        designs.append(start)
    return spec, Starts(designs=tuple(designs), held=held)


def _held(start: Start, encoding: Encoding, hold: Sequence[str]) -> tuple[Held, ...]:
    """Flags of a start at some places."""
    names = [place.name for place in encoding.spec.places]
    t, genome = encoding.tables, start.genome
    faults, held = [], []
    for name in dict.fromkeys(hold):
        if name not in names:
            message = f"no such place. {suggestion(name, names)}"
            faults.append(Fault("", None, f'"{name}"', message))
            continue
        place = names.index(name)
        base = HEAD + GENES * place
        if genome is None or (t.optional[place] and genome[base + PRESENT] == 0):
            message = (
                f"no flag of {start.source} lies there. Leave the place out instead."
            )
            if genome is None:
                message = (
                    f"{start.source} gives no flag to hold; it is {start.said[0]}."
                )
            faults.append(Fault("", None, f'"{name}"', message))
            continue
        sheet = encoding.conditions.sheets[t.sheet[place, genome[base + SHEET]]]
        held.append(
            Held(
                place=name,
                material=sheet.material,
                angle=sheet.angle,
                is_pair=sheet.is_pair,
                start=float(t.start[place, genome[base + START]]),
                end=float(t.end[place, genome[base + END]]),
                wraps=float(t.wraps[place, genome[base + WRAPS]]),
            )
        )
    if faults:
        raise InputError("--hold", faults)
    return tuple(held)


class _Given(NamedTuple):
    """A design at hand."""

    design: Design
    source: str  #: file it was read from
    library: Library  #: its own


def _read(paths: Sequence[Path]) -> list[_Given]:
    """Designs of some files and folders."""
    given: list[_Given] = []
    faults: list[Fault] = []
    for path in paths:
        try:
            given += _read_one(path)
        except InputError as error:
            faults += [
                Fault(error.source, None, None, str(fault)) for fault in error.faults
            ]
    if faults:
        raise InputError("--start-from", faults)
    return given


def _read_one(path: Path) -> list[_Given]:
    if path.suffix == ".csv":
        if path.name != FRONT or not (path.parent / ABOUT).exists():
            message = (
                "a table alone holds no whole designs. Give a run folder, its "
                f"{FRONT}, or a design file."
            )
            raise InputError(str(path), [Fault("", None, None, message)])
        path = path.parent
    if not path.is_dir():
        design, library = load_design(path, None)
        return [_Given(design, str(path), library)]
    run = open_run(path)
    known = run.designs
    names = [name for name in run.front["id"] if name in known]
    if not names:
        message = f"this run has no designs in {DESIGNS}/ yet."
        raise InputError(str(path), [Fault("", None, None, message)])
    return [
        _Given(read_design(known[name], run.library), str(known[name]), run.library)
        for name in names
    ]


def starts_text(starts: Starts) -> str:
    """What a search is started from, in words.

    Parameters
    ----------
    starts : Starts
        Designs as they were laid on the places. [-]

    Returns
    -------
    text : str
        A line or some for each design that does not fit exactly, a few at most. [-]
    """
    n = len(starts.designs)
    exact = sum(start.is_exact for start in starts.designs)
    out = sum(start.genome is None for start in starts.designs)
    head = f"started from {n} design{'' if n == 1 else 's'}: {exact} as given"
    if n - exact - out:
        head += f", {n - exact - out} as near as the places allow"
    if out:
        head += f", {out} left out"
    lines = [head]
    told = 0
    for start in starts.designs:
        if not start.said or told >= _TOLD_MOST:
            continue
        told += 1
        lines.append(f"  {start.source}")
        lines += [f"    {words}" for words in start.said]
    more = sum(bool(start.said) for start in starts.designs) - told
    if more > 0:
        lines.append(f"  {more} more differ likewise; all are in start.json of the run")
    if starts.held:
        lines.append(f"  held as the places take it from {starts.designs[0].source}")
        lines += [f"    {one.place}: {one}" for one in starts.held]
    return "\n".join(lines)
