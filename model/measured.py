"""A measured EI profile: read from a table, laid over what the machine should read."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Final

import numpy as np
from numpy.typing import NDArray

from model.errors import Fault, InputError
from model.fields import Cell
from model.files import read_text
from model.profile_machine import Machine, Reading
from model.records import FORBID_EXTRA
from model.tables import read_rows

Array = NDArray[np.float64]

#: Stations closer than this are one. [m]
_SAME: Final = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class _MeasuredRow:
    __pydantic_config__ = FORBID_EXTRA

    station_mm: Annotated[float, Cell("mm", "length", at_least=0, at_most=2000)]
    ei_n_m2: Annotated[
        float, Cell("N m^2", "bending_stiffness", above=0, at_most=10_000)
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredProfile:
    """Readings of an EI profile machine, from the tip on."""

    station: Array  #: of the load, rising [m]
    EI: Array  #: as read [N·m²]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """How far measured readings stand above predicted ones."""

    station: Array  #: [m]
    measured: Array  #: [N·m²]
    predicted: Array  #: [N·m²]
    difference: Array  #: measured over predicted, less one [-]
    mean: float  #: of the differences [-]
    rms: float  #: root of their mean square [-]
    worst: float  #: the largest, with its sign [-]
    worst_station: float  #: where that is [m]


def read_measured(
    path: Path, *, length: float | None = None, machine: Machine | None = None
) -> MeasuredProfile:
    """Read a measured profile: a CSV table of `station_mm` and `ei_n_m2`.

    Parameters
    ----------
    path : Path
        File to read. [-]
    length : float or None
        Of the shaft; with it, sites where the machine cannot stand are faults. [m]
    machine : Machine or None
        Its span; None for the usual one. [SI]

    Returns
    -------
    profile : MeasuredProfile
        Sorted by station. [SI]

    Raises
    ------
    InputError
        With every fault of the file.
    """
    text = read_text(path)
    faults: list[Fault] = []
    rows = read_rows(
        text, path.name, _MeasuredRow, key_column="station_mm", faults=faults
    )
    half = (machine or Machine()).span / 2.0
    first: dict[float, str] = {}
    for row in rows.rows:
        station = row.item.station_mm
        shown = f"{station * 1e3:g}"
        twice = next((at for at in first if abs(at - station) <= _SAME), None)
        if twice is not None:
            message = f"stands twice; first in {first[twice]}."
            faults.append(Fault(row.where, "station_mm", shown, message))
        else:
            first[station] = _row_number(row.where)
        if length is not None and not (
            half - _SAME <= station <= length - half + _SAME
        ):
            message = (
                f"with its supports {half * 1e3:g} mm to either side the machine does "
                f"not stand on this shaft. {_where_it_stands(half, length)}"
            )
            faults.append(Fault(row.where, "station_mm", shown, message))
    if faults:
        raise InputError(str(path), faults)
    order = sorted(rows.rows, key=lambda row: row.item.station_mm)
    return MeasuredProfile(
        station=np.array([row.item.station_mm for row in order]),
        EI=np.array([row.item.ei_n_m2 for row in order]),
    )


def _row_number(where: str) -> str:
    match = re.search(r"row \d+", where)
    return match.group() if match else where


def _where_it_stands(half: float, length: float) -> str:
    if length < 2.0 * half:
        return f"The shaft is {length * 1e3:g} mm long; give a shorter span."
    return f"Give a value between {half * 1e3:g} and {(length - half) * 1e3:g}."


def compare_profile(
    measured: MeasuredProfile, readings: tuple[Reading, ...]
) -> Comparison:
    """Lay a measured profile over predicted readings.

    Parameters
    ----------
    measured : MeasuredProfile
        As read. [SI]
    readings : tuple of Reading
        Predicted, best at the stations of the measured ones; between its sites the
        prediction is taken linear, and constant beyond them. [SI]

    Returns
    -------
    comparison : Comparison
        At the stations of the measured profile. [SI]

    Notes
    -----
    The mean tells of a modulus or a wall that is off as a whole; what is left of the
    worst difference beside it, of a flag that lies elsewhere or runs out otherwise.
    """
    predicted = np.interp(
        measured.station,
        [reading.station for reading in readings],
        [reading.reading for reading in readings],
    )
    difference = measured.EI / predicted - 1.0
    worst = int(np.argmax(np.abs(difference)))
    return Comparison(
        station=measured.station,
        measured=measured.EI,
        predicted=predicted,
        difference=difference,
        mean=float(difference.mean()),
        rms=float(np.sqrt(np.mean(difference**2))),
        worst=float(difference[worst]),
        worst_station=float(measured.station[worst]),
    )
