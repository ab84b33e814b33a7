"""One table that people write as one frozen dataclass, or the faults of its keys."""

from __future__ import annotations

import dataclasses
import typing
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Final, TypeVar

from pydantic import ConfigDict, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from model.errors import Fault, nearest, suggestion
from model.fields import Reader, show_value

T = TypeVar("T")

#: pydantic setting of a dataclass read from a table: keys without a field are faults
FORBID_EXTRA: Final = ConfigDict(extra="forbid")


@cache
def _adapter(cls: type) -> TypeAdapter[Any]:
    return TypeAdapter(cls)


@dataclass(frozen=True, slots=True)
class _Key:
    """What is known of one key of a table before any file is read."""

    field: str
    name: str  # as written in the file
    reader: Reader | None
    required: bool


@cache
def _keys(cls: Any) -> tuple[_Key, ...]:
    hints = typing.get_type_hints(cls, include_extras=True)
    found = []
    for field in dataclasses.fields(cls):
        extras = getattr(hints[field.name], "__metadata__", ())
        found_readers = [extra for extra in extras if isinstance(extra, Reader)]
        aliases = [extra.alias for extra in extras if isinstance(extra, FieldInfo)]
        required = (
            field.default is dataclasses.MISSING
            and field.default_factory is dataclasses.MISSING
        )
        name = aliases[0] if aliases and aliases[0] else field.name
        reader = found_readers[0] if found_readers else None
        found.append(_Key(field.name, name, reader, required))
    return tuple(found)


def key_names(cls: type, *, required: bool = False) -> tuple[str, ...]:
    """Keys of the table a dataclass is read from: its fields or their aliases.

    Parameters
    ----------
    cls : type
        A dataclass. [-]
    required : bool
        Only those without a default. [-]

    Returns
    -------
    names : tuple of str
        In the order of the fields. [-]
    """
    return tuple(key.name for key in _keys(cls) if key.required or not required)


def _fault(error: ErrorDetails, cls: type, where: str) -> Fault:
    """Our own words for one error of pydantic."""
    location = [str(part) for part in error["loc"]]
    kind = error["type"]
    shown = show_value(error["input"])
    if not location:
        if kind == "value_error":
            return Fault(where, None, None, str(error["ctx"]["error"]))
        return Fault(where, None, shown, "not a table of keys and values.")
    key = location[-1]
    if kind == "unexpected_keyword_argument":
        return Fault(
            where, key, shown, f"unknown key. {suggestion(key, key_names(cls))}"
        )
    if kind in {"missing", "missing_keyword_only_argument", "missing_argument"}:
        reader = next(known.reader for known in _keys(cls) if known.name == key)
        hint = f" {reader.hint()}" if reader else ""
        return Fault(where, key, None, f"missing.{hint}")
    if kind == "value_error":
        return Fault(where, key, shown, str(error["ctx"]["error"]))
    return Fault(where, key, shown, f"not usable here: {error['msg'].lower()}.")


def readers(cls: type) -> dict[str, Reader]:
    """Readers of the fields of a dataclass that have one.

    Parameters
    ----------
    cls : type
        A dataclass. [-]

    Returns
    -------
    readers : dict
        By field name. [-]
    """
    return {key.field: key.reader for key in _keys(cls) if key.reader is not None}


def read_table(
    raw: Mapping[str, object],
    cls: type[T],
    *,
    where: str,
    faults: list[Fault],
    context: object = None,
) -> T | None:
    """Make a dataclass of a table, or note its faults.

    Parameters
    ----------
    raw : mapping
        Keys and values as read. [-]
    cls : type
        Dataclass to make. [-]
    where : str
        Place of the table as a message shows it. [-]
    faults : list of Fault
        Faults are added here in the order of the file, missing keys last; a key that
        is missing because it is misspelt is reported once. [-]
    context : object
        Handed to the validators of the fields as ``info.context``. [-]

    Returns
    -------
    table : object or None
        None if the table is faulty. [SI]
    """
    try:
        kind: type = cls
        table: T = _adapter(kind).validate_python(raw, context=context)
    except ValidationError as error:
        found = [_fault(item, cls, where) for item in error.errors(include_url=False)]
    else:
        return table
    order = list(raw)
    names = key_names(cls)
    misspelt = {nearest(key, names) for key in order if key not in names}
    found = [fault for fault in found if fault.key in raw or fault.key not in misspelt]
    place = {key: i for i, key in enumerate(order)}
    found.sort(key=lambda fault: place.get(fault.key or "", len(order)))
    faults.extend(found)
    return None
