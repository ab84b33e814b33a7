"""The review page: a front as one HTML file that needs nothing else, to choose from."""

from __future__ import annotations

import base64
import html
import json
import math
import shlex
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model import (
    METRIC,
    METRICS,
    Design,
    Sheet,
    angle_text,
    evaluate,
    profiles_of,
    read_design,
)
from optimiser.files import write_table, write_text
from optimiser.flagmap import kind_of
from optimiser.review import Pick, picks_table, suggest, trade_axes
from optimiser.review_explained import explained_data
from optimiser.setup_words import bench_setup
from optimiser.spec import Spec
from optimiser.store import Run
from optimiser.words import (
    CAUTIONS,
    ei_column,
    metric_unit,
    mm,
    spec_target,
)

Array = NDArray[np.float64]

#: Stations of the profiles, over the length of a shaft. [-]
SHARES: Final = tuple(np.linspace(0.0, 1.0, 61))
#: Margins above it are not told apart. [-]
_MARGIN_MOST: Final = 20.0
#: Lengths of flags are kept to this. [m]
_STEP: Final = 1e-4
#: Column of a front that says how far the fast section is from the exact one.
_SECTION: Final = "section_difference_pct"
_ASSETS: Final = files("optimiser") / "page"


def page_text(title: str, body: str, scripts: Sequence[str], data: Any) -> str:
    """Put a page together that needs no network and no other file.

    Parameters
    ----------
    title : str
        Of the page, as text. [-]
    body : str
        Name of the file with its body. [-]
    scripts : sequence of str
        Names of the scripts it runs, in this order, after the plotting library. [-]
    data : object
        What it shows, as JSON values; the scripts find it as element `data`. [-]

    Returns
    -------
    text : str
        HTML. [-]
    """
    written = json.dumps(data, ensure_ascii=False, allow_nan=False)
    # within a script element only its own end tag could end it
    written = written.replace("<", "\\u003c")
    plotting = files("plotly") / "package_data" / "plotly.min.js"
    parts = [plotting.read_text(encoding="utf-8"), *map(asset, scripts)]
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            # what is not in the file is never asked for
            '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
            "script-src 'unsafe-inline' 'unsafe-eval'; style-src 'unsafe-inline'; "
            "img-src data: blob:; base-uri 'none'; form-action 'none'\">",
            f"<title>{html.escape(title)}</title>",
            f"<style>\n{asset('style.css')}</style>",
            "</head>",
            "<body>",
            asset(body),
            f'<script type="application/json" id="data">{written}</script>',
            *(f"<script>\n{part}\n</script>" for part in parts),
            "</body>",
            "</html>\n",
        ]
    )


def asset(name: str) -> str:
    """Text of a file that pages are made of.

    Parameters
    ----------
    name : str
        Name of the file. [-]

    Returns
    -------
    text : str
        What it holds. [-]
    """
    return (_ASSETS / name).read_text(encoding="utf-8")


def write_review(folder: Path, run: Run) -> list[Path]:
    """Write the review of a run: the page to choose from, and the picks as a table.

    Parameters
    ----------
    folder : Path
        Where the files go; made where it is missing. [-]
    run : Run
        A run whose front is not empty. [-]

    Returns
    -------
    paths : list of Path
        Every file written. [-]
    """
    picks = suggest(run.front, run.spec, run.library.currency)
    scripts = (
        *("draw.js", "data.js", "bands.js", "views.js"),
        *("explained.js", "pinned.js", "review.js"),
    )
    title = f"Review: {run.spec.name}"
    page = page_text(title, "review.html", scripts, page_data(run, picks))
    return [
        write_text(folder / "review.html", page),
        write_table(folder / "picks.csv", picks_table(run.front, picks)),
    ]


def page_data(run: Run, picks: Sequence[Pick]) -> dict[str, Any]:
    """Collect what the review page shows.

    Parameters
    ----------
    run : Run
        A run whose front is not empty. [-]
    picks : sequence of Pick
        Picks of its front. [-]

    Returns
    -------
    data : dict
        JSON values; long arrays are packed, see ``packed``. [-]

    Raises
    ------
    InputError
        If files of designs are missing or not readable.
    """
    run.require_designs()
    front, spec, library = run.front, run.spec, run.library
    paths = run.designs
    identities = list(front["id"].astype(str))
    designs = [read_design(paths[name], library) for name in identities]
    columns = columns_of(front, spec, designs[0], library.currency)
    values = front[[column["key"] for column in columns]].to_numpy(dtype=np.float64)
    shown = {column["key"] for column in columns}
    axes = [key if key in shown else columns[0]["key"] for key in _axes(spec)]
    history = run.history[["evaluations", "hypervolume", "feasible", "archive"]]
    folder = str(run.folder)
    first = designs[0]
    return {
        "name": spec.name,
        "state": run.state,
        "evaluations": run.about.get("evaluations"),
        "ids": identities,
        "columns": columns,
        "values": packed(values.T),
        "axes": axes,
        "picks": [
            {"id": p.design_id, "title": p.title, "reason": p.reason} for p in picks
        ],
        "points": [
            {
                "station": point.station * 1e3,
                "target": point.target,
                "tolerance": point.tolerance,
            }
            for point in spec.ei_targets
        ],
        "marginFloor": _margin_floor(spec),
        "history": {
            name: [None if math.isnan(v) else v for v in history[name].astype(float)]
            for name in history
        },
        **_along(designs, run),
        **_layups(designs),
        "mandrels": [
            {
                "name": mandrel.name,
                "distance": [x * 1e3 for x in mandrel.distance],
                "diameter": [d * 1e3 for d in mandrel.diameter],
            }
            for mandrel in library.mandrels.values()
        ],
        "trimTip": first.shaft.trim_tip * 1e3,
        "trimButt": first.shaft.trim_butt * 1e3,
        "tipParallel": (
            first.finish.tip_parallel * 1e3 if first.finish.tip_diameter else 0.0
        ),
        "exact": _exact(run, identities, [column["key"] for column in columns]),
        "warnings": _warnings(run, picks),
        "explained": explained_data(
            front.assign(id=identities),
            dict(zip(identities, designs, strict=True)),
            spec,
            library,
            picks,
            columns,
        ),
        "sheetCommand": shlex.join(["plyfront", "sheet", folder, "--design", "@id@"]),
        "explainCommand": shlex.join(
            ["plyfront", "explain", folder, "--design", "@id@"]
        ),
        "exactCommand": shlex.join(
            ["plyfront", "evaluate", f"{folder}/designs/@id@.toml", "--exact"]
        ),
        "cautions": list(CAUTIONS),
    }


def _axes(spec: Spec) -> list[str]:
    """Columns across, upwards, in colour and in size; cost across, torque upwards."""
    first = ("material_cost", "torque")
    traded = trade_axes(spec)
    keys = [key for key in first if key in traded]
    keys += [key for key in traded if key not in first]
    return [METRIC[key].column for key in (*keys, "weight")]


def packed(values: NDArray[Any]) -> str:
    """Write numbers as text: little-endian as they are, in base 64.

    Parameters
    ----------
    values : ndarray
        Of float64, float32, uint32 or uint16, row after row. [-]

    Returns
    -------
    text : str
        Base 64. [-]
    """
    raw = np.ascontiguousarray(values, dtype=values.dtype.newbyteorder("<"))
    return base64.b64encode(raw.tobytes()).decode("ascii")


def scaled(values: Array) -> dict[str, Any]:
    """Pack numbers of one kind in two bytes each.

    Parameters
    ----------
    values : ndarray
        Numbers; what is not finite comes back as no value. [-]

    Returns
    -------
    data : dict
        `least` and `step` of the numbers, `data` their counts of steps, the largest
        count standing for no value. [-]
    """
    known = values[np.isfinite(values)]
    least = float(known.min()) if known.size else 0.0
    span = float(known.max()) - least if known.size else 0.0
    step = span / 65534.0 if span > 0.0 else 1.0
    counts = np.where(np.isfinite(values), (values - least) / step, 65535.0)
    return {
        "least": least,
        "step": step,
        "data": packed(np.rint(counts).astype(np.uint16)),
    }


def columns_of(
    front: pd.DataFrame, spec: Spec, design: Design, currency: str
) -> list[dict[str, Any]]:
    """Say what a page shows of every design, what is asked for first.

    Parameters
    ----------
    front : DataFrame
        One row a design. [-]
    spec : Spec
        What was asked. [-]
    design : Design
        Any of them, for how it is tested. [SI]
    currency : str
        Currency of the library. [-]

    Returns
    -------
    columns : list of dict
        Key, label, unit, decimals, band, sense of trade and a note of each. [-]
    """
    asked: list[dict[str, Any]] = []
    free: list[dict[str, Any]] = []
    for metric in METRICS:
        if metric.column not in front or front[metric.column].isna().all():
            continue
        target = spec_target(spec, metric.key)
        column = {
            "key": metric.column,
            "label": metric.label,
            "unit": metric_unit(metric, currency),
            "decimals": metric.decimals,
            "low": None if target is None else _edge(target.low * metric.scale),
            "high": None if target is None else _edge(target.high * metric.scale),
            "trade": None if target is None else target.trade or None,
            "better": metric.better,
            "note": bench_setup(design, metric.key),
        }
        (free if target is None else asked).append(column)
    points = [
        {
            "key": ei_column(point.station),
            "label": f"EI at {mm(point.station)} mm",
            "unit": "N·m²",
            "decimals": 2,
            "low": _edge(point.target - point.tolerance),
            "high": _edge(point.target + point.tolerance),
            "trade": None,
            "better": "",
            "note": "bending stiffness of the wall there",
        }
        for point in spec.ei_targets
    ]
    section = {
        "key": _SECTION,
        "label": "Fast section from exact",
        "unit": "%",
        "decimals": 3,
        "low": None,
        "high": None,
        "trade": None,
        "better": "less",
        "note": "largest difference of EI or GJ along the shaft, fast over exact",
    }
    return [*asked, *points, *free, *([section] if _SECTION in front else [])]


def _edge(value: float) -> float | None:
    """Edge of a band as JSON, freed of what scaling leaves in the last digits."""
    return float(f"{value:.12g}") if math.isfinite(value) else None


def _margin_floor(spec: Spec) -> float:
    """Least durability margin that is asked for."""
    target = spec_target(spec, "durability")
    is_asked = target is not None and math.isfinite(target.low)
    return target.low if target is not None and is_asked else 0.0


def _along(designs: Sequence[Design], run: Run) -> dict[str, Any]:
    """Profiles of all designs, packed."""
    profiles = profiles_of(designs, run.library, SHARES)
    margin = profiles.margin
    margin = np.where(margin > _MARGIN_MOST, np.nan, margin)
    return {
        "shares": list(SHARES),
        "lengths": packed(profiles.length * 1e3),
        "EI": scaled(profiles.EI),
        "GJ": scaled(profiles.GJ),
        "margin": scaled(margin),
    }


def _layups(designs: Sequence[Design]) -> dict[str, Any]:
    """Flags of all designs as numbers; names, materials and angles in lists."""
    names: dict[str, int] = {}
    sheets: dict[Sheet, int] = {}
    rows: list[tuple[float, ...]] = []
    first = [0]
    for design in designs:
        shaft = design.shaft
        for flag in design.flags:
            sheet = Sheet(flag.material, flag.angle, flag.is_pair)
            start = flag.start if flag.start > 0.0 else -shaft.trim_tip
            is_full = flag.end >= shaft.length - _STEP
            end = shaft.length + shaft.trim_butt if is_full else flag.end
            rows.append(
                (
                    names.setdefault(flag.name, len(names)),
                    sheets.setdefault(sheet, len(sheets)),
                    (start + shaft.trim_tip) / _STEP,
                    (end + shaft.trim_tip) / _STEP,
                    flag.run_out_tip / _STEP,
                    flag.run_out_butt / _STEP,
                    flag.wraps * 1e3,
                )
            )
        first.append(len(rows))
    return {
        "flagNames": list(names),
        "flagSheets": [
            {
                "material": sheet.material,
                "angle": angle_text(sheet.angle, is_pair=sheet.is_pair),
                "degrees": math.degrees(sheet.angle),
                "isPair": sheet.is_pair,
                "kind": kind_of(sheet.angle),
            }
            for sheet in sheets
        ],
        "flagFirst": packed(np.array(first, dtype=np.uint32)),
        "flagRows": packed(np.rint(np.array(rows)).astype(np.uint16)),
        "mandrelOf": [design.shaft.mandrel for design in designs],
        "setOf": [round(design.shaft.mandrel_set * 1e3, 4) for design in designs],
    }


def _exact(run: Run, identities: Sequence[str], columns: Sequence[str]) -> str:
    """Exact values of all designs, packed like their values; NaN where none is kept."""
    exact = run.exact
    table = exact.set_index(exact["id"].astype(str)).reindex(index=list(identities))
    values = table.reindex(columns=list(columns)).to_numpy(dtype=np.float32)
    return packed(values.T)


def _warnings(run: Run, picks: Sequence[Pick]) -> dict[str, list[str]]:
    """What is to be said of the picks, by id."""
    said = {}
    paths = run.designs
    for name in dict.fromkeys(pick.design_id for pick in picks):
        design = read_design(paths[name], run.library)
        said[name] = list(evaluate(design, run.library).warnings)
    return {name: warnings for name, warnings in said.items() if warnings}
