"""Target spec files: TOML in, checked against a library.

Every fault of a file is reported at once. Tables that a design has too ([shaft],
[finish], [bench], [cutting], [costs]) are read as in a design; in [shaft] and [[place]]
a value may be a list or {from, to, step} and is then a choice.
"""

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, cast

from pydantic import AfterValidator, ValidationInfo

from model import (
    FORBID_EXTRA,
    AngleText,
    Choice,
    Costs,
    Cutting,
    Document,
    Fault,
    Finish,
    FlagAngle,
    InputError,
    Library,
    Mandrel,
    Quantity,
    RunOuts,
    RunOutText,
    Shaft,
    Sheet,
    Text,
    YesNo,
    check_bench,
    check_bleed,
    check_finish,
    format_quantity,
    mandrel_fault,
    open_document,
    parse_document,
    read_bench,
    show_value,
    suggestion,
)
from optimiser.spec import Place, Rules, SearchOptions, Spec
from optimiser.spec_checks import (
    SAME,
    check_places,
    check_tests_fit,
    check_tip_band,
)
from optimiser.spec_targets import read_targets

_LENGTH = Quantity("length", at_least=0.0)


# ----------------------------------------------------------------- tables as written


@dataclass(frozen=True, slots=True)
class _Context:
    library: Library
    lengths: tuple[float, ...] | None = None
    rules: Rules | None = None


def _context(info: ValidationInfo) -> _Context:
    return cast("_Context", info.context)


def _known_mandrels(names: tuple[str, ...], info: ValidationInfo) -> tuple[str, ...]:
    mandrels = _context(info).library.mandrels
    problems = [
        f"{show_value(name)}: no such mandrel. {suggestion(name, mandrels)}"
        for name in names
        if name not in mandrels
    ]
    if problems:
        raise ValueError(" ".join(problems))
    return names


def _known_materials(names: tuple[str, ...], info: ValidationInfo) -> tuple[str, ...]:
    prepregs = _context(info).library.prepregs
    problems = [
        f"{show_value(name)}: no such prepreg. {suggestion(name, prepregs)}"
        for name in names
        if name not in prepregs
    ]
    if problems:
        raise ValueError(" ".join(problems))
    return names


def _rollable_angles(
    angles: tuple[FlagAngle, ...], info: ValidationInfo
) -> tuple[FlagAngle, ...]:
    rules = _context(info).rules
    if rules is None or rules.single_angle:
        return angles
    for angle in angles:
        straight = math.isclose(angle.angle % (math.pi / 2), 0.0, abs_tol=1e-9)
        if not angle.is_pair and not straight:
            degrees = f"{math.degrees(angle.angle):g}"
            raise ValueError(
                f'"{degrees}" is a single angle, which twists the shaft as it bends. '
                f'Give "±{abs(math.degrees(angle.angle)):g}", or set single_angle = '
                "true in [rules]."
            )
    return angles


def _on_shaft(stations: tuple[float, ...], info: ValidationInfo) -> tuple[float, ...]:
    lengths = _context(info).lengths
    if lengths is None:
        return stations
    longest = max(lengths)
    if max(stations) > longest + SAME:
        butt = format_quantity(longest, "length")
        raise ValueError(f"past the butt end ({butt}). Give values up to {butt}.")
    starts = info.data.get("start")
    if info.field_name == "end" and starts is not None:
        least = min(starts)
        rules = _context(info).rules
        shortest = rules.flag_length_min if rules else 0.0
        if max(stations) - least < max(shortest, SAME) - SAME:
            raise ValueError(
                "no choice of start and end is long enough: the longest flag is "
                f"{format_quantity(max(max(stations) - least, 0.0), 'length')}, the "
                f"shortest allowed {format_quantity(shortest, 'length')} "
                "(flag_length_min in [rules])."
            )
    return stations


def _not_too_many(wraps: tuple[float, ...], info: ValidationInfo) -> tuple[float, ...]:
    rules = _context(info).rules
    if rules is not None and max(wraps) > rules.turns_max + 1e-9:
        raise ValueError(
            f"{max(wraps):g} wraps are more than the {rules.turns_max:g} that "
            f"turns_max in [rules] allows. Give values up to {rules.turns_max:g}."
        )
    return wraps


@dataclass(frozen=True, slots=True, kw_only=True)
class _ShaftTable:
    __pydantic_config__ = FORBID_EXTRA

    length: Annotated[
        tuple[float, ...], Choice(Quantity("length", at_least=0.3, at_most=2.0))
    ]
    mandrel: Annotated[tuple[str, ...], Choice(Text()), AfterValidator(_known_mandrels)]
    mandrel_set: Annotated[tuple[float, ...], Choice(_LENGTH)]
    trim_tip: Annotated[float, _LENGTH] = 0.0
    trim_butt: Annotated[float, _LENGTH] = 0.0


def _run_out_fits(run_out: Any, info: ValidationInfo) -> Any:
    starts, ends = info.data.get("start"), info.data.get("end")
    if starts is None or ends is None:
        return run_out
    room = max(ends) - min(starts)
    both = run_out.tip + run_out.butt
    if both > room + SAME:
        raise ValueError(
            f"both ends together take {format_quantity(both, 'length')} of a flag "
            f"that is at most {format_quantity(room, 'length')} long."
        )
    return run_out


_NO_RUN_OUT = RunOuts(0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _PlaceTable:
    __pydantic_config__ = FORBID_EXTRA

    name: Annotated[str, Text()]
    material: Annotated[
        tuple[str, ...], Choice(Text()), AfterValidator(_known_materials)
    ]
    angle: Annotated[
        tuple[FlagAngle, ...], Choice(AngleText()), AfterValidator(_rollable_angles)
    ]
    start: Annotated[tuple[float, ...], Choice(_LENGTH), AfterValidator(_on_shaft)]
    end: Annotated[tuple[float, ...], Choice(_LENGTH), AfterValidator(_on_shaft)]
    wraps: Annotated[
        tuple[float, ...],
        Choice(Quantity("number", above=0.0, at_most=50.0)),
        AfterValidator(_not_too_many),
    ]
    run_out: Annotated[RunOuts, RunOutText(), AfterValidator(_run_out_fits)] = (
        _NO_RUN_OUT
    )
    optional: Annotated[bool, YesNo()] = False

    def place(self) -> Place:
        sheets = tuple(
            Sheet(material, angle.angle, angle.is_pair)
            for material in self.material
            for angle in self.angle
        )
        return Place(
            name=self.name,
            sheets=sheets,
            starts=self.start,
            ends=self.end,
            wraps=self.wraps,
            run_out_tip=self.run_out.tip,
            run_out_butt=self.run_out.butt,
            optional=self.optional,
        )


# -------------------------------------------------------------------------- reading


def read_spec(path: Path, library: Library) -> Spec:
    """Read a target spec.

    Parameters
    ----------
    path : Path
        File to read. [-]
    library : Library
        Where materials and mandrels are looked up. [-]

    Returns
    -------
    spec : Spec
        Checked. [SI]

    Raises
    ------
    InputError
        With every fault of the file.
    """
    return _spec(open_document(path), library)


def spec_from_text(text: str, source: str, library: Library) -> Spec:
    """Read a target spec from its text.

    Parameters
    ----------
    text : str
        What a spec file holds. [-]
    source : str
        What to call it in messages. [-]
    library : Library
        Where materials and mandrels are looked up. [-]

    Returns
    -------
    spec : Spec
        Checked. [SI]

    Raises
    ------
    InputError
        With every fault of the text.
    """
    return _spec(parse_document(text, source), library)


def named_library(path: Path) -> Path | None:
    """Folder of the library that a spec names.

    Parameters
    ----------
    path : Path
        Spec file. [-]

    Returns
    -------
    folder : Path or None
        None where it names none, so that the packaged library serves. [-]

    Raises
    ------
    InputError
        If the file cannot be read, or there is no such folder.
    """
    document = open_document(path)
    text = document.value("library", Text(), required=False)
    if text is None:
        return None
    folder = path.parent / str(text)
    if not folder.is_dir():
        message = "no such folder. The path is taken from the folder of this file."
        raise InputError(
            document.source, [Fault("", "library", show_value(text), message)]
        )
    return folder


def _spec(document: Document, library: Library) -> Spec:
    name = document.value("name", Text())
    library_path = document.value("library", Text(), required=False)
    context = _Context(library)
    shaft = document.table("shaft", _ShaftTable, context=context)
    finish = document.table("finish", Finish, context=context)
    rules = document.table("rules", Rules)
    bench = read_bench(document)
    cutting = document.table("cutting", Cutting)
    costs = document.table("costs", Costs)
    search = document.table("search", SearchOptions)
    unlimited = document.raw("search", "evaluations") is None
    if search is not None and search.time is not None and unlimited:
        # a time of one's own is not to be cut short by a default
        search = replace(search, evaluations=None)
    lengths = shaft.length if shaft is not None else None
    targets, ei_targets = read_targets(document, lengths)
    context = _Context(library, lengths, rules)
    tables = document.tables("place", _PlaceTable, context=context)
    places = tuple(table.place() for table in tables)
    if shaft is not None:
        _check_mandrels(document, shaft, library)
    if finish is not None:
        check_finish(document, finish, min(lengths) if lengths else None)
        materials = (sheet.material for place in places for sheet in place.sheets)
        check_bleed(document, finish, library, materials)
        check_tip_band(document, targets, finish)
    if bench is not None:
        check_bench(document, bench)
        if lengths is not None:
            check_tests_fit(document, bench, min(lengths))
    check_places(document, places, lengths, rules)
    document.close()
    if (
        shaft is None
        or finish is None
        or rules is None
        or bench is None
        or cutting is None
        or costs is None
        or search is None
    ):
        raise AssertionError("a table without faults is never None")
    return Spec(
        name=str(name),
        lengths=shaft.length,
        mandrels=shaft.mandrel,
        mandrel_sets=shaft.mandrel_set,
        trim_tip=shaft.trim_tip,
        trim_butt=shaft.trim_butt,
        finish=finish,
        bench=bench,
        cutting=cutting,
        costs=costs,
        targets=targets,
        ei_targets=ei_targets,
        places=places,
        rules=rules,
        search=search,
        text=document.text,
        library_path=library_path,
    )


# ------------------------------------------------------------------- what must fit


def _check_mandrels(document: Document, shaft: _ShaftTable, library: Library) -> None:
    """At least one set must fit on some mandrel, for every length."""
    # the longest mandrel allows most: where it fails at every set, so do the others
    longest = max((library.mandrels[name] for name in shaft.mandrel), key=_length_of)
    for length in shaft.length:
        messages = [
            mandrel_fault(
                longest,
                Shaft(
                    length=length,
                    mandrel=longest.name,
                    mandrel_set=offset,
                    trim_tip=shaft.trim_tip,
                    trim_butt=shaft.trim_butt,
                ),
            )
            for offset in shaft.mandrel_set
        ]
        if all(messages):
            document.fault(
                "[shaft]",
                "mandrel_set",
                show_value(document.raw("shaft", "mandrel_set")),
                str(messages[0]),
            )
            return


def _length_of(mandrel: Mandrel) -> float:
    return mandrel.length
