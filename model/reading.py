"""The door for files that people write: text in, frozen dataclasses or all faults out.

A table of a TOML file becomes one frozen dataclass. Each of its fields says, beside its
type, how the text in the file is read (the readers of `fields`); cross checks are
pydantic ``AfterValidator``s that see the fields read before them (``info.data``) and
whatever the caller hands down (``info.context``), and raise ``ValueError`` with a
message for the user::

    @dataclass(frozen=True, slots=True, kw_only=True)
    class Shaft:
        __pydantic_config__ = FORBID_EXTRA
        length: Annotated[float, Quantity("length", above=0.0)]
        mandrel: Annotated[str, Text(), AfterValidator(known_mandrel)]
        trim_tip: Annotated[float, Quantity("length", at_least=0.0)] = 0.0
        sets: Annotated[tuple[float, ...], Choice(Quantity("length"))] = (0.0,)

    document = open_document(path)                     # InputError if unreadable
    name = document.value("name", Text())              # one top-level value
    shaft = document.table("shaft", Shaft, context=library)       # [shaft]
    flags = document.tables("flag", Flag, context=(library, shaft))  # [[flag]]
    targets = document.take("targets")                 # raw, for what is special
    for key, table in (targets or {}).items():
        document.read(table, Target, where=f"[targets] {key}")
    document.fault("[targets]", "weight", '"58 mm"', "why, and what is allowed.")
    document.close()         # unknown keys; InputError with all faults, if any

`table`, `value` and `read` give None where the part is faulty, so that the rest is
still checked; after `close` nothing is None but what is optional.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, TypeVar

from model.errors import Fault, InputError, nearest, suggestion
from model.fields import Reader, show_value
from model.files import read_text
from model.records import key_names, read_table

T = TypeVar("T")

#: version of the files this package reads and writes
FORMAT: Final = 1

_TOML_PLACE = re.compile(r"\s*\(at (line \d+, column \d+|end of document)\)")
#: a quantity or a name without quotes, or in those of a text processor
_UNQUOTED = re.compile(
    r"[=\[,]\s*(?!(?i:true|false)\b)(?:[-+]?[\d.]+\s*[^\W\d_eE]|[^\W\d]|[“”„’‘±])"
)
#: what the TOML reader says, where its words do not help
_SYNTAX_WORDS: Final = {
    "Cannot overwrite a value": "this key stands twice in its table",
    "Illegal character '\\n'": "a text is not closed by its quote",
    "Unterminated string": "a text is not closed by its quote",
    "Expected '=' after a key in a key/value pair": "expected '=' after the key",
}


class Document:
    """A TOML file being read; gathers its faults until `close`.

    Parameters
    ----------
    source : str
        File as its user named it. [-]
    data : mapping
        The file as read. [-]
    text : str
        The file as written. [-]
    """

    def __init__(self, source: str, data: Mapping[str, Any], text: str) -> None:
        self.source = source
        self.text = text
        self.faults: list[Fault] = []
        self._data = data
        self._known = {"format"}
        self._missing: list[tuple[str, Fault]] = []

    @property
    def keys(self) -> tuple[str, ...]:
        """Top-level keys of the file, in its order."""
        return tuple(self._data)

    def fault(
        self, where: str, key: str | None, value: str | None, message: str
    ) -> None:
        """Note a fault.

        Parameters
        ----------
        where : str
            Table, such as "[shaft]"; may be empty. [-]
        key : str or None
            Key inside it. [-]
        value : str or None
            Value as `show_value` gives it. [-]
        message : str
            What is wrong and what is allowed. [-]
        """
        self.faults.append(Fault(where, key, value, message))

    def take(self, key: str) -> Any:
        """Hand out a top-level value as it is and count its key as known.

        Parameters
        ----------
        key : str
            Top-level key. [-]

        Returns
        -------
        value : object
            The value, None if the file has none. [-]
        """
        self._known.add(key)
        return self._data.get(key)

    def raw(self, table: str, key: str) -> Any:
        """Hand out one value of a top-level table as it is written.

        Parameters
        ----------
        table, key : str
            Names of the table and of the key inside it. [-]

        Returns
        -------
        value : object
            The value, None if there is none. [-]
        """
        inside = self._data.get(table)
        return inside.get(key) if isinstance(inside, dict) else None

    def peek(self, key: str) -> Any:
        """Look at a top-level value as it is written, without reading it.

        Parameters
        ----------
        key : str
            Top-level key. [-]

        Returns
        -------
        value : object
            The value, None if there is none. [-]
        """
        return self._data.get(key)

    def take_from(self, table: str, key: str) -> Any:
        """Take one value out of a top-level table, which is then read without it.

        Parameters
        ----------
        table, key : str
            Names of the table and of the key inside it. [-]

        Returns
        -------
        value : object
            The value, None if there is none. [-]
        """
        inside = self._data.get(table)
        return inside.pop(key, None) if isinstance(inside, dict) else None

    def value(self, key: str, reader: Reader, *, required: bool = True) -> Any:
        """Read one top-level value.

        Parameters
        ----------
        key : str
            Top-level key. [-]
        reader : Reader
            How it is read. [-]
        required : bool
            Whether it must be there. [-]

        Returns
        -------
        value : object
            What the reader gives, None if absent or faulty. [SI]
        """
        raw = self.take(key)
        if raw is None:
            if required:
                fault = Fault("", key, None, f"missing. {reader.hint()}")
                self._missing.append((key, fault))
            return None
        try:
            return reader.read(raw)
        except ValueError as error:
            self.fault("", key, show_value(raw), str(error))
            return None

    def table(self, key: str, cls: type[T], *, context: object = None) -> T | None:
        """Read a top-level table.

        Parameters
        ----------
        key : str
            Name of the table. [-]
        cls : type
            Dataclass to make of it; with a default for every field the table is
            optional. [-]
        context : object
            Handed to the validators of its fields as ``info.context``. [-]

        Returns
        -------
        table : object or None
            None if it is missing or faulty. [SI]
        """
        raw = self.take(key)
        if raw is None:
            if not key_names(cls, required=True):
                return cls()
            fault = Fault("", None, None, f"no table [{key}].")
            self._missing.append((key, fault))
            return None
        return self.read(raw, cls, where=f"[{key}]", context=context)

    def tables(
        self, key: str, cls: type[T], *, context: object = None, required: bool = True
    ) -> tuple[T, ...]:
        """Read an array of tables.

        Parameters
        ----------
        key : str
            Name of the tables, written [[key]]. [-]
        cls : type
            Dataclass to make of each. [-]
        context : object
            Handed to the validators of its fields as ``info.context``. [-]
        required : bool
            Whether there must be one at least. [-]

        Returns
        -------
        tables : tuple
            Those without faults, in the order of the file. [SI]
        """
        raw = self.take(key)
        if raw is None or raw == []:
            if required:
                fault = Fault("", None, None, f"no [[{key}]]; give one at least.")
                self._missing.append((key, fault))
            return ()
        if not isinstance(raw, list):
            self.fault("", key, show_value(raw), f"write [[{key}]] above each of them.")
            return ()
        found = []
        for i, item in enumerate(raw):
            where = self.numbered(key, i, item)
            table = self.read(item, cls, where=where, context=context)
            if table is not None:
                found.append(table)
        return tuple(found)

    @staticmethod
    def numbered(key: str, index: int, raw: object) -> str:
        """Place of one table of an array as a message shows it.

        Parameters
        ----------
        key : str
            Name of the tables. [-]
        index : int
            Position in the file, from 0. [-]
        raw : object
            The table; its name is shown. [-]

        Returns
        -------
        where : str
            Such as 'flag 3 "tip"'; people count from one. [-]
        """
        name = raw.get("name") if isinstance(raw, dict) else None
        shown = f" {show_value(name)}" if isinstance(name, str) and name else ""
        return f"{key} {index + 1}{shown}"

    def read(
        self, raw: object, cls: type[T], *, where: str, context: object = None
    ) -> T | None:
        """Read one table that was taken before.

        Parameters
        ----------
        raw : object
            The table. [-]
        cls : type
            Dataclass to make of it. [-]
        where : str
            Its place as a message shows it. [-]
        context : object
            Handed to the validators of its fields as ``info.context``. [-]

        Returns
        -------
        table : object or None
            None if it is faulty. [SI]
        """
        if not isinstance(raw, dict):
            self.fault(where, None, show_value(raw), "not a table of keys and values.")
            return None
        return read_table(raw, cls, where=where, faults=self.faults, context=context)

    def close(self) -> None:
        """Finish: report what is unknown or missing and everything noted before.

        Raises
        ------
        InputError
            If there is any fault.
        """
        misspelt = set()
        unknown = []
        for key, value in self._data.items():
            if key not in self._known:
                misspelt.add(nearest(key, self._known - set(self._data)))
                hint = suggestion(key, self._known)
                if isinstance(value, dict):
                    fault = Fault(f"[{key}]", None, None, f"unknown table. {hint}")
                elif isinstance(value, list) and value and isinstance(value[0], dict):
                    fault = Fault(f"[[{key}]]", None, None, f"unknown table. {hint}")
                else:
                    fault = Fault("", key, show_value(value), f"unknown key. {hint}")
                unknown.append(fault)
        missing = [fault for key, fault in self._missing if key not in misspelt]
        faults = [*missing, *unknown, *self.faults]
        if faults:
            raise InputError(self.source, faults)


def open_document(path: Path) -> Document:
    """Open a TOML file.

    Parameters
    ----------
    path : Path
        File to read. [-]

    Returns
    -------
    document : Document
        Ready for its tables to be read. [-]

    Raises
    ------
    InputError
        If it cannot be read, is not TOML or is of a later format.
    """
    return parse_document(read_text(path), str(path))


def parse_document(text: str, source: str) -> Document:
    """Open TOML text.

    Parameters
    ----------
    text : str
        The file as written. [-]
    source : str
        What to call it in messages. [-]

    Returns
    -------
    document : Document
        Ready for its tables to be read. [-]

    Raises
    ------
    InputError
        If it is not TOML or is of a later format.
    """
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(source, [_syntax_fault(error, text)]) from None
    document = Document(source, data, text)
    version = data.get("format")
    if version is None:
        document.fault(
            "", "format", None, f"missing. Begin the file with format = {FORMAT}."
        )
    elif isinstance(version, bool) or not isinstance(version, int) or version < 1:
        document.fault(
            "", "format", show_value(version), f"not a format. Write format = {FORMAT}."
        )
    elif version > FORMAT:
        message = (
            f"written for format {show_value(version)}; this version reads format "
            f"{FORMAT}. A later version of the program is needed."
        )
        raise InputError(source, [Fault("", "format", show_value(version), message)])
    return document


def _syntax_fault(error: Exception, written: str) -> Fault:
    if isinstance(error, RecursionError):
        return Fault("", None, None, "not TOML: nested too deeply.")
    text = str(error)
    match = _TOML_PLACE.search(text)
    reason = _TOML_PLACE.sub("", text)
    reason = _SYNTAX_WORDS.get(reason, reason[:1].lower() + reason[1:])
    if match is None:
        return Fault("", None, None, f"not TOML: {reason}.")
    place = match.group(1).replace("end of document", "the end of the file")
    message = f"not TOML: {reason}."
    line = re.match(r"line (\d+)", place)
    if line and _UNQUOTED.search(written.splitlines()[int(line.group(1)) - 1]):
        message += ' Quantities and names stand in straight quotes, "10 mm".'
    return Fault(place, None, None, message)
