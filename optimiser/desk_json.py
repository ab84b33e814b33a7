"""What the edit page is sent of a design: its tables, faults, profile and flag map."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable
from typing import Any

import numpy as np

from model import Design, Fault, Library, Report, design_to_text
from optimiser.flagmap import flag_map

_FLAG_WHERE = re.compile(r"flag (\d+)\b")
_TABLE_WHERE = re.compile(r"\[(\w+)\]")


def faults_json(faults: Iterable[Fault]) -> list[dict[str, Any]]:
    """Faults of a design, each with the place on the page it belongs to.

    Parameters
    ----------
    faults : iterable of Fault
        What was found. [-]

    Returns
    -------
    faults : list of dict
        Text, number of the flag from 0 or none, table or none, key or none. [-]
    """
    found = []
    for fault in faults:
        flag = _FLAG_WHERE.match(fault.where)
        table = _TABLE_WHERE.match(fault.where)
        found.append(
            {
                "text": str(fault),
                "message": fault.message,
                "flag": int(flag[1]) - 1 if flag else None,
                "table": table[1] if table else None,
                "key": fault.key,
            }
        )
    return found


def design_json(design: Design) -> dict[str, Any]:
    """A design as its file has it, every table there.

    Parameters
    ----------
    design : Design
        Any. [SI]

    Returns
    -------
    data : dict
        Tables and flags, in the units of the file. [-]
    """
    data = tomllib.loads(design_to_text(design))
    data.pop("library", None)
    for table in ("shaft", "finish", "bench", "cutting"):
        data.setdefault(table, {})
    return data


def _numbers(values: Any) -> list[float | None]:
    return [float(f"{v:.7g}") if math.isfinite(v) else None for v in values]


def profile_json(report: Report) -> dict[str, Any]:
    """What the page draws along a shaft.

    Parameters
    ----------
    report : Report
        Of the shaft. [SI]

    Returns
    -------
    data : dict
        Lists of equal length, their units in their names; None for no number. [-]
    """
    profile = report.profile
    margin = np.where(profile.margin < 1e3, profile.margin, np.nan)
    return {
        "station_mm": _numbers(profile.station * 1e3),
        "ei_n_m2": _numbers(profile.EI),
        "gj_n_m2": _numbers(profile.GJ),
        "margin": _numbers(margin),
        "outer_diameter_mm": _numbers(profile.outer_diameter * 1e3),
    }


def map_json(report: Report, library: Library) -> dict[str, Any]:
    """The flag map as the page draws it.

    Parameters
    ----------
    report : Report
        Of the shaft. [SI]
    library : Library
        Has its mandrel. [-]

    Returns
    -------
    data : dict
        Ends, breaks of the mandrel, and a row for each flag. [mm, deg]
    """
    layout = flag_map(report, library.mandrels[report.design.shaft.mandrel])
    return {
        "start_mm": layout.start * 1e3,
        "end_mm": layout.end * 1e3,
        "length_mm": layout.length * 1e3,
        "tip_parallel_mm": layout.tip_parallel * 1e3,
        "breaks": [
            {"station_mm": round(x * 1e3, 4), "diameter_mm": round(d * 1e3, 4)}
            for x, d in layout.breaks
        ],
        "rows": [
            {
                "label": row.label,
                "kind": row.kind,
                "angle_deg": math.degrees(row.angle),
                "is_pair": row.is_pair,
                "outline": [[round(x * 1e3, 4), share] for x, share in row.outline],
            }
            for row in layout.rows
        ],
    }
