"""CSV tables of a library: rows of named columns into frozen dataclasses.

Column names carry their unit; they may stand in any order, and a row is called by the
number a spreadsheet shows beside it.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from model.errors import Fault, nearest, suggestion
from model.fields import quoted
from model.records import key_names, read_table

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Row(Generic[T]):
    """One row that could be read, and its place as a message shows it."""

    where: str  #: such as 'prepregs.csv, row 5 "standard-125"'
    item: T  #: what was made of it


@dataclass(frozen=True, slots=True)
class Rows(Generic[T]):
    """What a table holds."""

    rows: tuple[Row[T], ...]  #: rows without faults
    names: tuple[str, ...]  #: names of all rows, also of faulty ones


def read_rows(
    text: str,
    file_name: str,
    cls: type[T],
    *,
    key_column: str,
    faults: list[Fault],
    context: object = None,
) -> Rows[T]:
    """Read a CSV table whose first row names the columns, in any order.

    Parameters
    ----------
    text : str
        The file as written. [-]
    file_name : str
        What to call it in messages. [-]
    cls : type
        Dataclass of a row; its fields, or their aliases, are the columns. [-]
    key_column : str
        Column whose text names a row. [-]
    faults : list of Fault
        Faults of all rows are added here. [-]
    context : object
        Handed to the validators of the fields as ``info.context``. [-]

    Returns
    -------
    rows : Rows
        The rows that could be read, and the names of all. [SI]
    """
    try:
        lines = list(csv.reader(io.StringIO(text), strict=True))
    except csv.Error as error:
        faults.append(Fault(file_name, None, None, f"not a CSV table: {error}."))
        return Rows((), ())
    header = [name.strip() for name in lines[0]]
    while header and not header[-1]:
        header.pop()  # spreadsheets leave empty columns behind the last
    if not _header_fits(header, cls, file_name, faults):
        return Rows((), ())
    rows = []
    names = []
    for number, cells in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        where = f"{file_name}, row {number}"
        while len(cells) > len(header) and not cells[-1].strip():
            cells.pop()
        if len(cells) != len(header):
            message = f"{len(cells)} cells under {len(header)} column names."
            faults.append(Fault(where, None, None, message))
            continue
        raw = dict(zip(header, cells, strict=True))
        name = raw[key_column].strip()
        names.append(name)
        where = f"{where} {quoted(name)}" if name else where
        item = read_table(raw, cls, where=where, faults=faults, context=context)
        if item is not None:
            rows.append(Row(where, item))
    if not any(cell.strip() for cells in lines[1:] for cell in cells):
        message = "no row below the column names."
        faults.append(Fault(file_name, None, None, message))
    return Rows(tuple(rows), tuple(names))


def _header_fits(
    header: Sequence[str], cls: type, name: str, faults: list[Fault]
) -> bool:
    """Compare the column names of a file with the fields of its rows."""
    wanted = key_names(cls)
    if len(header) == 1 and re.search(r"[;\t]", header[0]):
        faults.append(Fault(name, None, None, "columns are to be parted by commas."))
        return False
    absent = [column for column in wanted if column not in header]
    unknown = [column for column in header if column not in wanted]
    misspelt = {nearest(column, absent) for column in unknown}
    required = key_names(cls, required=True)
    messages = [
        f"unknown column '{column}'. {suggestion(column, absent or wanted)}"
        for column in unknown
    ]
    messages += [
        f"column '{column}' stands {count} times."
        for column, count in Counter(header).items()
        if count > 1
    ]
    messages += [
        f"no column '{column}'."
        for column in absent
        if column in required and column not in misspelt
    ]
    faults.extend(Fault(name, None, None, message) for message in messages)
    return not messages
