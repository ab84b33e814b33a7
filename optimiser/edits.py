"""Edits of a design in a few words: set, add, remove and move flags, set the shaft.

An edit works on the design as its file would have it, so that what comes out passes the
same door as any file. Edits are done one after the other; all that cannot be done are
named at once, with what is wrong in the design that the others make::

    set     "torque pair: wraps = 3, end = 900 mm"    keys of a flag
            "#2: wraps += 0.5"                        of the second flag, half a wrap
            "shaft: mandrel_set = 75 mm"              shaft, finish, bench, ...
            "body: clock = none"                      as if the key were not written
    add     "tip inner: material = standard-125, angle = 0, start = 0 mm,
             end = 200 mm, wraps = 2, after = hoop"
    remove  "tip outer"
    move    "hoop: before cover", "hoop: 2", "hoop: last"
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import tomli_w

from model import (
    DIMENSIONS,
    Design,
    Fault,
    InputError,
    Library,
    QuantityError,
    design_from_text,
    design_id,
    design_to_text,
    quoted,
    read_quantity,
    show_value,
    suggestion,
    write_quantity,
)

#: Kinds of edits.
KINDS: Final = ("set", "add", "remove", "move")
#: Said of a design that is named by the id of the one it was made from.
CHANGED: Final = "changed"
#: Tables of a design that hold keys of the shaft and not of flags.
TABLES: Final = ("shaft", "finish", "bench", "cutting", "costs")
#: Keys of a flag, as its file has them.
FLAG_KEYS: Final = (
    "name",
    "material",
    "angle",
    "start",
    "end",
    "wraps",
    "width",
    "run_out",
    "clock",
)
_PLACES: Final = ("before", "after")
#: Parts that a key may have, in the order they are written.
_PARTS: Final = ("tip", "butt")
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")
_ASSIGNMENT = re.compile(r"\s*([A-Za-z_][\w.-]*)\s*(\+=|-=|=)\s*(.*)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Edit:
    """One edit as it was written."""

    kind: str  #: one of KINDS
    text: str


class _CannotError(ValueError):
    """An edit that cannot be done, in words for the user."""


def apply_edits(
    design: Design, edits: Sequence[Edit], library: Library, source: str
) -> Design:
    """Edit a design.

    Parameters
    ----------
    design : Design
        As it is. [SI]
    edits : sequence of Edit
        What is done to it, one after the other. [-]
    library : Library
        Its materials and mandrels. [-]
    source : str
        What to call the design in messages. [-]

    Returns
    -------
    design : Design
        Checked like a file. [SI]

    Raises
    ------
    InputError
        With every edit that cannot be done, and every fault of what comes out.
    """
    data = tomllib.loads(design_to_text(design))
    faults = []
    for edit in edits:
        try:
            _apply(data, edit)
        except _CannotError as error:
            faults.append(Fault("", f"--{edit.kind}", quoted(edit.text), str(error)))
    try:
        edited = design_from_data(data, library, source)
    except InputError as error:
        raise InputError(source, [*faults, *error.faults]) from None
    if faults:
        raise InputError(source, faults)
    return edited if edited == design else _told_apart(edited, design, library)


def _told_apart(edited: Design, design: Design, library: Library) -> Design:
    """Keep a changed design from going by the id of the one that it was made from."""
    is_named_so = edited.name.endswith(f" {design_id(design, library)}")
    return replace(edited, name=f"{edited.name} {CHANGED}") if is_named_so else edited


def design_from_data(data: dict[str, Any], library: Library, source: str) -> Design:
    """Read a design from what its file would hold.

    Parameters
    ----------
    data : dict
        Tables and keys. [-]
    library : Library
        Its materials and mandrels. [-]
    source : str
        What to call it in messages. [-]

    Returns
    -------
    design : Design
        Checked like a file. [SI]

    Raises
    ------
    InputError
        With every fault.
    """
    try:
        text = tomli_w.dumps(data)
    except (TypeError, ValueError, RecursionError) as error:
        message = "holds a value that no design file can hold."
        raise InputError(source, [Fault("", None, None, message)]) from error
    return design_from_text(text, source, library)


# ------------------------------------------------------------------------- one edit


def _apply(data: dict[str, Any], edit: Edit) -> None:
    flags: list[dict[str, Any]] = data["flag"]
    if edit.kind == "remove":
        flags.pop(_flag_index(flags, edit.text.strip()))
    elif edit.kind == "move":
        _move(flags, edit.text)
    elif edit.kind == "add":
        _add(flags, edit.text)
    else:
        _set(data, edit.text)


def _set(data: dict[str, Any], text: str) -> None:
    flags: list[dict[str, Any]] = data["flag"]
    head, rest = _headed(flags, text, TABLES)
    names = {str(flag["name"]) for flag in flags}
    if head in TABLES and head not in names:
        table = data.setdefault(head, {})
    else:
        table = flags[_flag_index(flags, head, TABLES)]
    for key, sign, value in _assignments(rest):
        _assign(table, key, sign, value)
    if head in TABLES and not table:
        data.pop(head, None)


def _add(flags: list[dict[str, Any]], text: str) -> None:
    name, rest = _headed(flags, text, ())
    flag: dict[str, Any] = {"name": name}
    place = len(flags)
    flags.append(flag)
    for key, sign, value in _assignments(rest):
        if sign != "=":
            raise _CannotError(f"{key} has nothing to add to yet. Write '{key} = ...'.")
        if key in _PLACES:
            # it stands last by now, so the places of the others are as they were
            other = _flag_index(flags[:-1], _bare(value))
            place = other if key == "before" else other + 1
        else:
            _assign(flag, key, sign, value)
    flags.insert(place, flags.pop())


def _move(flags: list[dict[str, Any]], text: str) -> None:
    name, rest = _headed(flags, text, ())
    index = _flag_index(flags, name)
    words = rest.strip()
    head, _, tail = words.partition(" ")
    if head in _PLACES:
        other = _flag_index(flags, _bare(tail))
        if other == index:
            raise _CannotError("a flag cannot lie before or after itself.")
        flag = flags.pop(index)
        at = other - (1 if other > index else 0)
        flags.insert(at if head == "before" else at + 1, flag)
        return
    n = len(flags)
    places = {"first": 1, "last": n}
    if not (words in places or (words.isdigit() and 1 <= int(words) <= n)):
        raise _CannotError(
            f"'{words}' is no place in the rolling order. Give a number from 1 to {n}, "
            "'first', 'last', 'before FLAG' or 'after FLAG'."
        )
    flag = flags.pop(index)
    flags.insert((places.get(words) or int(words)) - 1, flag)


def _headed(
    flags: list[dict[str, Any]], text: str, tables: Sequence[str]
) -> tuple[str, str]:
    """Part "FLAG: the rest"; a name that holds a colon itself is known by its name."""
    known = [str(flag["name"]) for flag in flags] + list(tables)
    for name in sorted(known, key=len, reverse=True):
        rest = text.strip().removeprefix(name).lstrip()
        if text.strip().startswith(name) and rest.startswith(":"):
            return name, rest[1:]
    head, colon, rest = text.partition(":")
    if not colon or not head.strip():
        raise _CannotError(
            "no flag is named. Write its name or its number, a colon, then what to do: "
            '"torque pair: ..." or "#2: ...".'
        )
    return head.strip(), rest


def _flag_index(
    flags: list[dict[str, Any]], name: str, also: Sequence[str] = ()
) -> int:
    n = len(flags)
    if name.startswith("#"):
        number = name[1:].strip()
        if number.isdigit() and 1 <= int(number) <= n:
            return int(number) - 1
        raise _CannotError(f"there is no flag {name}. Flags are #1 to #{n}.")
    found = [i for i, flag in enumerate(flags) if flag["name"] == name]
    if len(found) == 1:
        return found[0]
    if found:
        listed = ", ".join(f"#{i + 1}" for i in found)
        raise _CannotError(f"{len(found)} flags have that name. Say which: {listed}.")
    names = [*(str(flag["name"]) for flag in flags), *also]
    raise _CannotError(f"no flag '{name}'. {suggestion(name, names)}")


def _assignments(text: str) -> list[tuple[str, str, str]]:
    """Part "key = value, key = value", but not within braces or quotes."""
    parts = _parted(text)
    if not parts:
        raise _CannotError("nothing is set. Write 'key = value'.")
    found = []
    for part in parts:
        match = _ASSIGNMENT.fullmatch(part)
        if match is None or not match[3].strip():
            raise _CannotError(f"'{part.strip()}' is not 'key = value'.")
        found.append((match[1], match[2], match[3].strip()))
    return found


def _parted(text: str) -> list[str]:
    parts, depth, in_quotes = [""], 0, False
    for letter in text:
        if letter == '"':
            in_quotes = not in_quotes
        elif not in_quotes:
            depth += (letter in "{[") - (letter in "}]")
        if letter == "," and not in_quotes and depth == 0:
            parts.append("")
        else:
            parts[-1] += letter
    return [part for part in parts if part.strip()]


def _bare(text: str) -> str:
    """Text without the quotes round it."""
    text = text.strip()
    is_quoted = len(text) > 1 and text[0] == text[-1] == '"'
    return text[1:-1] if is_quoted else text


def _read(text: str) -> Any:
    """Value as a file has it: quotes may be left out where a line has room for one."""
    if text[0] in '{["' or _NUMBER.fullmatch(text) or text in ("true", "false"):
        try:
            return tomllib.loads(f"value = {text.removeprefix('+')}")["value"]
        except tomllib.TOMLDecodeError as error:
            raise _CannotError(f"'{text}' is no value of a design file.") from error
    return text


def _assign(table: dict[str, Any], key: str, sign: str, text: str) -> None:
    name, _, part = key.partition(".")
    inside = table
    if part:
        if part not in _PARTS:
            raise _CannotError(f"{name} has no part '{part}'. It has tip and butt.")
        old = table.get(name, {})
        if not isinstance(old, dict):
            old = dict.fromkeys(_PARTS, old)
        table[name] = inside = old
        name = part
    if text == "none" and sign == "=":
        inside.pop(name, None)
        return
    value = _read(text)
    if sign != "=":
        value = _changed(inside.get(name), value, 1.0 if sign == "+=" else -1.0, key)
    inside[name] = value


def _changed(old: Any, by: Any, sign: float, key: str) -> Any:
    """Value that is larger or smaller by a quantity of its own kind."""
    if old is None:
        raise _CannotError(f"{key} is not set, so nothing can be added to it.")
    for dimension in DIMENSIONS:
        try:
            before = read_quantity(old, dimension)
        except QuantityError:
            continue
        try:
            total = before + sign * read_quantity(by, dimension)
        except QuantityError as error:
            raise _CannotError(f"{key} is {show_value(old)}: {error}") from error
        text = write_quantity(total, dimension)
        return float(text) if dimension == "number" else text
    raise _CannotError(f"{key} is {show_value(old)}, to which nothing can be added.")
