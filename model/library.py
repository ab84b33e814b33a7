"""The material and mandrel library: four CSV tables into frozen dataclasses.

Engineers keep `fibres.csv`, `resins.csv`, `prepregs.csv` and `mandrels.csv` in a
folder; `library.toml` beside them, if there is one, states the currency, and
`price_breaks.csv` the prices of larger orders. Without a folder the packaged tables are
read, an invented shop that says so row by row.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib.resources import as_file, files
from pathlib import Path
from typing import Annotated, Final, Protocol, TypeVar

import numpy as np
from pydantic import Field

from model.errors import Fault, InputError, suggestion
from model.fields import Cell, Text
from model.files import read_text
from model.materials import Fibre, Prepreg, Resin
from model.reading import parse_document
from model.records import FORBID_EXTRA
from model.tables import Rows, read_rows
from model.units import format_quantity

#: the tables of a library
TABLES: Final = ("fibres.csv", "resins.csv", "prepregs.csv", "mandrels.csv")
#: optional table beside them: prices that fall with the area bought at once
PRICE_BREAKS: Final = "price_breaks.csv"
#: optional file beside them that states the currency
ABOUT: Final = "library.toml"
#: fibre volume fractions a cured ply can have; outside, a row holds a slip
VF_RANGE: Final = (0.2, 0.85)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mandrel:
    """A steel core: diameter against distance from its small end, straight between."""

    name: str  #: its key
    distance: tuple[float, ...]  #: from the small end, rising from 0 [m]
    diameter: tuple[float, ...]  #: never shrinking, so that it can be drawn out [m]

    @property
    def length(self) -> float:
        """Distance of the last breakpoint [m]."""
        return self.distance[-1]

    def diameter_at(self, distance: float) -> float:
        """Diameter of the mandrel.

        Parameters
        ----------
        distance : float
            From the small end, within the mandrel. [m]

        Returns
        -------
        diameter : float
            Linear between breakpoints. [m]
        """
        return float(np.interp(distance, self.distance, self.diameter))


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceBreak:
    """Price of a prepreg from some area on."""

    __pydantic_config__ = FORBID_EXTRA

    #: its prepreg
    prepreg: Annotated[str, Text()]
    #: least area bought at once [m²]
    area: Annotated[float, Cell("", "number", above=0), Field(alias="from_m2")]
    #: price of all of it then, in the library's currency [1/m²]
    price: Annotated[float, Cell("", "number", above=0), Field(alias="price_per_m2")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Library:
    """Everything a shop can roll with; the tables keep their order."""

    fibres: Mapping[str, Fibre]  #: by name
    resins: Mapping[str, Resin]  #: by name
    prepregs: Mapping[str, Prepreg]  #: by name
    mandrels: Mapping[str, Mandrel]  #: by name
    currency: str  #: of the prices; empty if not stated
    source: str  #: folder as its user named it
    #: files it was read from, by name, as text, so that a copy can be kept
    files: Mapping[str, str] = field(default_factory=dict, repr=False)
    #: by prepreg, areas rising; prepregs without are left out
    price_breaks: Mapping[str, tuple[PriceBreak, ...]] = field(default_factory=dict)

    def price_of(self, prepreg: str, area: float) -> float:
        """Price of a prepreg where so much of it is bought at once.

        Parameters
        ----------
        prepreg : str
            Its name. [-]
        area : float
            Of roll. [m²]

        Returns
        -------
        price : float
            Of all of it. [currency/m²]
        """
        price = self.prepregs[prepreg].price
        for step in self.price_breaks.get(prepreg, ()):
            if area >= step.area:
                price = step.price
        return price


@dataclass(frozen=True, slots=True, kw_only=True)
class _MandrelRow:
    __pydantic_config__ = FORBID_EXTRA

    mandrel: Annotated[str, Text()]
    distance_mm: Annotated[float, Cell("mm", "length", at_least=0, at_most=5000)]
    diameter_mm: Annotated[float, Cell("mm", "length", above=0, at_most=100)]


class _Named(Protocol):
    @property
    def name(self) -> str: ...


T = TypeVar("T")
N = TypeVar("N", bound=_Named)


def read_library(folder: Path | None = None) -> Library:
    """Read a library.

    Parameters
    ----------
    folder : Path or None
        Folder of the tables; None for the packaged one. [-]

    Returns
    -------
    library : Library
        Everything in it, checked. [SI]

    Raises
    ------
    InputError
        With every fault of every table.
    """
    if folder is None:
        with as_file(files("model") / "data" / "library") as packaged:
            return _read_folder(packaged, "packaged library")
    return _read_folder(folder, str(folder))


def _read_folder(folder: Path, source: str) -> Library:
    if not folder.is_dir():
        what = "a file, not a folder" if folder.exists() else "no such folder"
        message = f"{what}. A library is a folder with {', '.join(TABLES)}."
        raise InputError(source, [Fault("", None, None, message)])
    faults: list[Fault] = []
    texts: dict[str, str] = {}
    for name in TABLES:
        try:
            texts[name] = read_text(folder / name)
        except InputError as error:
            faults.append(Fault(name, None, None, error.faults[0].message))
    if (folder / PRICE_BREAKS).exists():
        try:
            texts[PRICE_BREAKS] = read_text(folder / PRICE_BREAKS)
        except InputError as error:
            faults.append(Fault(PRICE_BREAKS, None, None, error.faults[0].message))
    currency = ""
    if (folder / ABOUT).exists():
        try:
            texts[ABOUT] = read_text(folder / ABOUT)
            currency = _read_about(texts[ABOUT])
        except InputError as error:
            for fault in error.faults:
                place = f"{ABOUT}, {fault.where}" if fault.where else ABOUT
                faults.append(replace(fault, where=place))

    def rows_of(file: str, cls: type[T], key: str, context: object = None) -> Rows[T]:
        if file not in texts:
            return Rows((), ())
        return read_rows(
            texts[file], file, cls, key_column=key, faults=faults, context=context
        )

    fibre_rows = rows_of("fibres.csv", Fibre, "fibre")
    resin_rows = rows_of("resins.csv", Resin, "resin")
    fibres = _by_name(fibre_rows, "fibre", faults)
    resins = _by_name(resin_rows, "resin", faults)
    context = {
        "fibre": {name: fibres.get(name) for name in fibre_rows.names},
        "resin": {name: resins.get(name) for name in resin_rows.names},
    }
    prepreg_rows = rows_of("prepregs.csv", Prepreg, "prepreg", context)
    prepregs = _by_name(prepreg_rows, "prepreg", faults)
    for row in prepreg_rows.rows:
        faults += _content_faults(row.item, row.where)
    price_breaks: dict[str, tuple[PriceBreak, ...]] = {}
    if PRICE_BREAKS in texts:
        breaks = rows_of(PRICE_BREAKS, PriceBreak, "prepreg")
        price_breaks = _price_breaks(breaks, prepreg_rows.names, prepregs, faults)
    mandrels = _mandrels(rows_of("mandrels.csv", _MandrelRow, "mandrel"), faults)
    if faults:
        raise InputError(source, faults)
    return Library(
        fibres=fibres,
        resins=resins,
        prepregs=prepregs,
        mandrels=mandrels,
        currency=currency,
        source=source,
        files=texts,
        price_breaks=price_breaks,
    )


def _read_about(text: str) -> str:
    """Currency stated in `library.toml`."""
    document = parse_document(text, ABOUT)
    document.value("name", Text(), required=False)
    document.value("note", Text(), required=False)
    currency = document.value("currency", Text(), required=False)
    document.close()
    return currency or ""


def _by_name(rows: Rows[N], kind: str, faults: list[Fault]) -> dict[str, N]:
    found: dict[str, N] = {}
    first: dict[str, str] = {}
    for row in rows.rows:
        name = row.item.name
        if name in found:
            faults.append(
                Fault(row.where, kind, None, f"stands twice; first in {first[name]}.")
            )
            continue
        found[name] = row.item
        match = re.search(r"row \d+", row.where)
        first[name] = match.group() if match else ""
    return found


def _price_breaks(
    rows: Rows[PriceBreak],
    names: Sequence[str],
    prepregs: Mapping[str, Prepreg],
    faults: list[Fault],
) -> dict[str, tuple[PriceBreak, ...]]:
    """Breaks of each prepreg: areas rise and prices fall."""
    found: dict[str, list[PriceBreak]] = {}
    for row in rows.rows:
        step = row.item
        if step.prepreg not in names:
            message = f"not in prepregs.csv. {suggestion(step.prepreg, names)}"
            faults.append(Fault(row.where, "prepreg", step.prepreg, message))
            continue
        before = found.setdefault(step.prepreg, [])
        if before and step.area <= before[-1].area:
            message = (
                f"not above the {before[-1].area:g} of the row before. Areas rise."
            )
            faults.append(Fault(row.where, "from_m2", f"{step.area:g}", message))
        prepreg = prepregs.get(step.prepreg)
        price = before[-1].price if before else prepreg.price if prepreg else math.inf
        if step.price > price:
            message = f"more than the {price:g} of a smaller area. Prices fall."
            faults.append(Fault(row.where, "price_per_m2", f"{step.price:g}", message))
        before.append(step)
    return {name: tuple(steps) for name, steps in found.items()}


def _content_faults(prepreg: Prepreg, where: str) -> list[Fault]:
    """Fault of a prepreg whose contents do not make a ply."""
    if prepreg.fibre is None or prepreg.resin is None:
        return []  # reported with its own table
    Vf = prepreg.cured().Vf
    least, most = VF_RANGE
    if least <= Vf <= most:
        return []
    allowed = f"A ply has {least:g} to {most:g}."
    if prepreg.thickness is None:
        message = f"faw and resin content give a fibre volume fraction of {Vf:.2f}."
        return [Fault(where, None, None, f"{message} {allowed}")]
    message = f"with its fibre mass gives a fibre volume fraction of {Vf:.2f}."
    shown = f"{prepreg.thickness * 1e3:g}"
    return [Fault(where, "thickness_mm", shown, f"{message} {allowed}")]


def _mandrels(rows: Rows[_MandrelRow], faults: list[Fault]) -> dict[str, Mandrel]:
    points: dict[str, list[_MandrelRow]] = {}
    rows_of = Counter(rows.names)
    rows_read = Counter(row.item.mandrel for row in rows.rows)
    for row in rows.rows:
        point = row.item
        before = points.setdefault(point.mandrel, [])
        found = None
        # a mandrel with a row that could not be read is not judged as a whole
        if rows_of[point.mandrel] == rows_read[point.mandrel]:
            found = _breakpoint_fault(point, before[-1] if before else None, row.where)
        if found is not None:
            faults.append(found)
        before.append(point)
    for name, count in rows_of.items():
        if name and count < 2:
            message = f"mandrel '{name}' has one row. Give two at least."
            faults.append(Fault("mandrels.csv", None, None, message))
    return {
        name: Mandrel(
            name=name,
            distance=tuple(point.distance_mm for point in breakpoints),
            diameter=tuple(point.diameter_mm for point in breakpoints),
        )
        for name, breakpoints in points.items()
    }


def _breakpoint_fault(
    point: _MandrelRow, before: _MandrelRow | None, where: str
) -> Fault | None:
    """Fault of a mandrel's breakpoint beside the one before it."""
    distance = f"{point.distance_mm * 1e3:g}"
    if before is None:
        if point.distance_mm == 0.0:
            return None
        message = "a mandrel begins at distance 0, its small end."
        return Fault(where, "distance_mm", distance, message)
    if point.distance_mm <= before.distance_mm:
        last = format_quantity(before.distance_mm, "length")
        message = f"not beyond the {last} of the row before. Distances rise."
        return Fault(where, "distance_mm", distance, message)
    if point.diameter_mm < before.diameter_mm:
        last = format_quantity(before.diameter_mm, "length")
        message = (
            f"thinner than the {last} before it. A mandrel never shrinks towards its "
            "butt, or it could not be drawn out."
        )
        return Fault(where, "diameter_mm", f"{point.diameter_mm * 1e3:g}", message)
    return None
