"""Design files: TOML in and out, checked against a library.

`open_design` reports every fault of a file at once; `design_to_text` writes a file that
reads back to an equal design.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, cast

from pydantic import AfterValidator, ValidationInfo

from model.design import Bench, Costs, Cutting, Design, Finish, Flag, Shaft
from model.design_checks import (
    SAME,
    bare_stretches,
    check_bench,
    check_bleed,
    check_finish,
    mandrel_fault,
    read_bench,
)
from model.errors import Fault, InputError, nearest, suggestion
from model.fields import (
    AngleText,
    Quantity,
    Reader,
    Text,
    Whole,
    quoted,
    show_value,
)
from model.library import Library, read_library
from model.reading import (
    FORMAT,
    Document,
    open_document,
    parse_document,
)
from model.records import FORBID_EXTRA, readers
from model.units import FlagAngle, format_quantity, write_flag_angle, write_quantity


@dataclass(frozen=True, slots=True)
class _Context:
    """What the validators of a design's tables may look at."""

    library: Library
    length: float | None = None


def _context(info: ValidationInfo) -> _Context:
    return cast("_Context", info.context)


def _known_material(name: str, info: ValidationInfo) -> str:
    prepregs = _context(info).library.prepregs
    if name not in prepregs:
        raise ValueError(f"no such prepreg. {suggestion(name, prepregs)}")
    return name


def _on_shaft(station: float, info: ValidationInfo) -> float:
    """Hold a station against the butt end and the start read before it."""
    length = _context(info).length
    start = info.data.get("start")
    if length is not None and station > length + SAME:
        butt = format_quantity(length, "length")
        raise ValueError(f"past the butt end ({butt}). Give a value up to {butt}.")
    if info.field_name == "end" and start is not None and station <= start:
        begin = format_quantity(start, "length")
        raise ValueError(
            f"not beyond the start ({begin}). Stations count from the tip; give a "
            f"value above {begin}."
        )
    return station


@dataclass(frozen=True, slots=True)
class RunOuts:
    """Lengths over which a flag's wraps rise from none at its two ends."""

    tip: float  #: at the end nearer the tip [m]
    butt: float  #: at the end nearer the butt [m]


@dataclass(frozen=True, slots=True)
class RunOutText(Reader):
    """Run-out of a flag: one length for both ends or { tip = ..., butt = ... }."""

    def read(self, value: object) -> RunOuts:
        """Read run-outs (see `Reader.read`)."""
        length = Quantity("length", at_least=0.0)
        if not isinstance(value, dict):
            both = length.read(value)
            return RunOuts(both, both)
        ends = {"tip": 0.0, "butt": 0.0}
        problems = []
        for key, item in value.items():
            if key not in ends:
                problems.append(f"'{key}' is not known here. {self.hint()}")
                continue
            try:
                ends[key] = length.read(item)
            except ValueError as error:
                problems.append(f"{key} = {show_value(item)}: {error}")
        if problems:
            raise ValueError(" ".join(problems))
        return RunOuts(**ends)

    def hint(self) -> str:
        """Say what is allowed (see `Reader.hint`)."""
        return 'Write "60 mm" for both ends or { tip = "60 mm", butt = "0 mm" }.'


@dataclass(frozen=True, slots=True)
class Widths:
    """Widths of a straight-edged piece at its two ends, as cut."""

    tip: float  #: at the end nearer the tip [m]
    butt: float  #: at the end nearer the butt [m]


@dataclass(frozen=True, slots=True)
class WidthText(Reader):
    """Widths of a straight-edged piece: { tip = ..., butt = ... }."""

    def read(self, value: object) -> Widths:
        """Read widths (see `Reader.read`)."""
        if not isinstance(value, dict) or set(value) != {"tip", "butt"}:
            raise ValueError(f"not the widths of both ends. {self.hint()}")
        length = Quantity("length", above=0.0, at_most=2.0)
        ends = {}
        problems = []
        for key, item in value.items():
            try:
                ends[key] = length.read(item)
            except ValueError as error:
                problems.append(f"{key} = {show_value(item)}: {error}")
        if problems:
            raise ValueError(" ".join(problems))
        return Widths(**ends)

    def hint(self) -> str:
        """Say what is allowed (see `Reader.hint`)."""
        return 'Write { tip = "68 mm", butt = "97 mm" }.'


def _fits_flag(run_outs: RunOuts, info: ValidationInfo) -> RunOuts:
    start, end = info.data.get("start"), info.data.get("end")
    if start is None or end is None:
        return run_outs
    room = end - start
    if run_outs.tip + run_outs.butt > room + SAME:
        wanted = format_quantity(run_outs.tip + run_outs.butt, "length")
        raise ValueError(
            f"both ends together take {wanted} of a flag "
            f"{format_quantity(room, 'length')} long. Give less, or a longer flag."
        )
    return run_outs


@dataclass(frozen=True, slots=True, kw_only=True)
class _FlagTable:
    """A [[flag]] as it is written."""

    __pydantic_config__ = FORBID_EXTRA

    name: Annotated[str, Text()]
    material: Annotated[str, Text(), AfterValidator(_known_material)]
    angle: Annotated[FlagAngle, AngleText()]
    start: Annotated[float, Quantity("length", at_least=0.0), AfterValidator(_on_shaft)]
    end: Annotated[float, Quantity("length", at_least=0.0), AfterValidator(_on_shaft)]
    wraps: Annotated[float | None, Quantity("number", above=0.0, at_most=50.0)] = None
    width: Annotated[Widths | None, WidthText()] = None
    run_out: Annotated[RunOuts, RunOutText(), AfterValidator(_fits_flag)] = RunOuts(
        0.0, 0.0
    )
    clock: Annotated[
        float | None, Quantity("angle", at_least=-2 * math.pi, at_most=2 * math.pi)
    ] = None

    def flag(self) -> Flag:
        return Flag(
            name=self.name,
            material=self.material,
            angle=self.angle.angle,
            is_pair=self.angle.is_pair,
            start=self.start,
            end=self.end,
            wraps=self.wraps or 0.0,
            width_tip=self.width.tip if self.width else None,
            width_butt=self.width.butt if self.width else None,
            run_out_tip=self.run_out.tip,
            run_out_butt=self.run_out.butt,
            clock=self.clock,
        )


# ------------------------------------------------------------------------- reading


def read_design(path: Path, library: Library | None = None) -> Design:
    """Read a design file.

    Parameters
    ----------
    path : Path
        File to read. [-]
    library : Library or None
        Where its materials and mandrel are looked up; None for the library the file
        names, or the packaged one. [-]

    Returns
    -------
    design : Design
        Checked against the library. [SI]

    Raises
    ------
    InputError
        With every fault of the file.
    """
    return open_design(path, library)[0]


def open_design(path: Path, library: Library | None = None) -> tuple[Design, Library]:
    """Read a design file and the library it goes with.

    Parameters
    ----------
    path : Path
        File to read. [-]
    library : Library or None
        Library to use instead of the file's own. [-]

    Returns
    -------
    design : Design
        Checked against the library. [SI]
    library : Library
        The one given, else the one the file names, else the packaged one. [SI]

    Raises
    ------
    InputError
        With every fault of the file, or of its library.
    """
    return _design(open_document(path), library, path.parent)


def design_from_text(text: str, source: str, library: Library | None = None) -> Design:
    """Read a design from its text.

    Parameters
    ----------
    text : str
        What a design file holds. [-]
    source : str
        What to call it in messages. [-]
    library : Library or None
        As in `read_design`; a folder the text names is looked for from the working
        directory. [-]

    Returns
    -------
    design : Design
        Checked against the library. [SI]

    Raises
    ------
    InputError
        With every fault of the text.
    """
    return _design(parse_document(text, source), library, Path())[0]


def _design(
    document: Document, library: Library | None, folder: Path
) -> tuple[Design, Library]:
    name = document.value("name", Text())
    library_text = document.value("library", Text(), required=False)
    if library is None:
        library = _own_library(document.source, library_text, folder)
    context = _Context(library)
    shaft = document.table("shaft", Shaft, context=context)
    finish = document.table("finish", Finish, context=context)
    if shaft is not None:
        context = _Context(library, shaft.length)
        fault = mandrel_fault(library.mandrels[shaft.mandrel], shaft)
        if fault is not None:
            shown = show_value(document.raw("shaft", "mandrel_set"))
            document.fault("[shaft]", "mandrel_set", shown, fault)
    _check_amounts(document)
    tables = document.tables("flag", _FlagTable, context=context)
    bench = read_bench(document)
    cutting = document.table("cutting", Cutting)
    costs = document.table("costs", Costs)
    if finish is not None:
        check_finish(document, finish, shaft.length if shaft else None)
    if bench is not None:
        check_bench(document, bench)
    flags = tuple(table.flag() for table in tables)
    if finish is not None:
        check_bleed(document, finish, library, (flag.material for flag in flags))
    if shaft is not None and flags and not document.faults:
        for message in bare_stretches(shaft, flags):
            document.fault("[[flag]]", None, None, message)
    document.close()
    if (
        shaft is None
        or finish is None
        or bench is None
        or cutting is None
        or costs is None
    ):
        raise AssertionError("a table without faults is never None")
    design = Design(
        name=str(name),
        shaft=shaft,
        finish=finish,
        flags=flags,
        bench=bench,
        cutting=cutting,
        costs=costs,
        library=library_text,
    )
    return design, library


def _check_amounts(document: Document) -> None:
    """Each flag says how much of it there is: its wraps, or else its widths."""
    raw = document.peek("flag")
    for i, flag in enumerate(raw if isinstance(raw, list) else []):
        if not isinstance(flag, dict):
            continue
        where = document.numbered("flag", i, flag)
        amounts = {"wraps", "width"}
        if not amounts & flag.keys() and not any(
            nearest(str(key), amounts) for key in flag
        ):
            document.fault(
                where,
                "wraps",
                None,
                "missing. Give the wraps, or the widths of a straight-edged piece: "
                'width = { tip = "68 mm", butt = "97 mm" }.',
            )
        elif "width" in flag:
            for key in ("wraps", "run_out"):
                if key in flag:
                    document.fault(
                        where,
                        key,
                        show_value(flag[key]),
                        "stands beside width, which says how the piece is cut. "
                        "Leave one of them out.",
                    )


def _own_library(source: str, text: str | None, folder: Path) -> Library:
    """Library a design file names, from the folder the file is in."""
    if text is None:
        return read_library()
    if not (folder / text).is_dir():
        message = "no such folder. The path is taken from the folder of this file."
        raise InputError(source, [Fault("", "library", quoted(text), message)])
    return read_library(folder / text)


# ------------------------------------------------------------------------- writing


def design_to_text(design: Design) -> str:
    """Complete design file; read again it gives an equal design.

    Parameters
    ----------
    design : Design
        Any design. [SI]

    Returns
    -------
    text : str
        TOML; of [bench], [cutting] and [costs] only what differs from the defaults. [-]
    """
    lines = [f"format = {FORMAT}", f"name = {quoted(design.name)}"]
    if design.library is not None:
        lines.append(f"library = {quoted(design.library)}")
    lines += ["", "[shaft]", *_lines(design.shaft)]
    for title, table in (
        ("finish", design.finish),
        ("bench", design.bench),
        ("cutting", design.cutting),
        ("costs", design.costs),
    ):
        body = _lines(table)
        if body:
            lines += ["", f"[{title}]", *body]
    for flag in design.flags:
        angle = write_flag_angle(flag.angle, is_pair=flag.is_pair)
        lines += [
            "",
            "[[flag]]",
            f"name = {quoted(flag.name)}",
            f"material = {quoted(flag.material)}",
            f'angle = "{angle}"',
            f'start = "{write_quantity(flag.start, "length")}"',
            f'end = "{write_quantity(flag.end, "length")}"',
        ]
        if flag.width_tip is None or flag.width_butt is None:
            lines.append(f"wraps = {write_quantity(flag.wraps, 'number')}")
        else:
            tip = write_quantity(flag.width_tip, "length")
            butt = write_quantity(flag.width_butt, "length")
            lines.append(f'width = {{ tip = "{tip}", butt = "{butt}" }}')
        tip = write_quantity(flag.run_out_tip, "length")
        butt = write_quantity(flag.run_out_butt, "length")
        if flag.run_out_tip == flag.run_out_butt != 0.0:
            lines.append(f'run_out = "{tip}"')
        elif flag.run_out_tip or flag.run_out_butt:
            lines.append(f'run_out = {{ tip = "{tip}", butt = "{butt}" }}')
        if flag.clock is not None:
            lines.append(f'clock = "{write_quantity(flag.clock, "angle")}"')
    return "\n".join([*lines, ""])


def _lines(table: Shaft | Finish | Bench | Cutting | Costs) -> list[str]:
    """Lines of a table whose values differ from the defaults."""
    lines = []
    by_field = readers(type(table))
    for field in dataclasses.fields(table):
        value = getattr(table, field.name)
        if value == field.default:
            continue
        reader = by_field[field.name]
        if isinstance(reader, Quantity) and reader.dimension == "number":
            text = write_quantity(value, "number")
        elif isinstance(reader, Quantity):
            text = quoted(write_quantity(value, reader.dimension))
        elif isinstance(reader, Whole):
            text = str(value)
        else:
            text = quoted(value)
        lines.append(f"{field.name} = {text}")
    return lines
