"""What explains a design, as text for people, as JSON values and as files."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import pandas as pd

from model import METRIC, METRICS
from optimiser.explain import REST, REST_ROW, SHARES, Explanation, move_words
from optimiser.files import write_bytes, write_table, write_text
from optimiser.look import figure, png_bytes
from optimiser.plot_explain import (
    moved_column,
    moves_height,
    moves_width,
    plot_along,
    plot_moves,
    plot_shares,
)
from optimiser.review import table_text
from optimiser.variants import flag_title
from optimiser.words import CAUTIONS, NONE, ei_column, mm, number, titled

SHARES_TABLE: Final = "shares.csv"
MOVES_TABLE: Final = "changes.csv"
ALONG_TABLE: Final = "ei_by_flag.csv"
TEXT: Final = "explain.txt"
SHARES_PICTURE: Final = "shares.png"
MOVES_PICTURE: Final = "changes.png"
#: Metrics whose changes are shown where no spec says what is asked.
USUAL: Final = (
    "weight",
    "balance_point",
    "frequency",
    "torque",
    "material_cost",
    "durability",
)
_WIDTH = 96
_NOW = "as it is"
#: Left out of a narrow column's heading.
_LONG = " from the butt"


def shown_metrics(explanation: Explanation) -> tuple[str, ...]:
    """Metrics whose changes a person looks at first.

    Parameters
    ----------
    explanation : Explanation
        With or without a spec. [-]

    Returns
    -------
    keys : tuple of str
        What the spec asks, in the order of the metrics, then columns of its EI points;
        the usual ones without. [-]
    """
    spec = explanation.spec
    if spec is None:
        return USUAL
    asked = {target.metric for target in spec.targets}
    points = {point.station for point in spec.ei_targets}
    return (
        *(metric.key for metric in METRICS if metric.key in asked),
        *(ei_column(x) for x in explanation.stations if x in points),
    )


def share_headings(explanation: Explanation) -> dict[str, str]:
    """Headings of the columns of shares.

    Parameters
    ----------
    explanation : Explanation
        With its stations. [-]

    Returns
    -------
    headings : dict
        By column, in the order they are shown. [-]
    """
    ends = ("torque", "frequency", "swinging", "margin")
    return {
        **{key: SHARES[key] for key in ("weight", "cost")},
        **{ei_column(x): f"EI at {x * 1e3:g} mm" for x in explanation.stations},
        **{key: SHARES[key] for key in ends},
    }


def shares_table(explanation: Explanation) -> pd.DataFrame:
    """Shares of the flags as people read them.

    Parameters
    ----------
    explanation : Explanation
        What explains a design. [-]

    Returns
    -------
    table : DataFrame
        Texts in percent; one row a flag, then the rest where there is any. [-]
    """
    shares = explanation.shares
    rows = []
    for row in shares.to_dict("records"):
        cells = {
            f"{heading} %": number(float(row[column]) * 100.0, 1)
            for column, heading in share_headings(explanation).items()
        }
        if row["flag"] == REST_ROW and not row["order"]:
            if all(cell.strip("0.-–") == "" for cell in cells.values()):
                continue
            rows.append({"Flag": f"({REST_ROW})", **cells})
        else:
            rows.append({"Flag": f"{row['order']} {row['flag']}", **cells})
    return pd.DataFrame(rows)


def moves_table(
    explanation: Explanation, order: int, keys: Sequence[str]
) -> pd.DataFrame:
    """Changes of some metrics for each small change of a flag, as people read them.

    Parameters
    ----------
    explanation : Explanation
        What explains a design. [-]
    order : int
        Place of the flag in rolling order, from 1; 0 for the shaft. [-]
    keys : sequence of str
        Keys of the metrics, or columns of EI at a station. [-]

    Returns
    -------
    table : DataFrame
        Texts, in the units of the headings: values as they are now, then changes with
        their sign. [-]
    """
    moves = explanation.moves
    columns = [moved_column(explanation, key) for key in keys]
    of_flag = moves[moves["order"] == order]
    before = dict(zip(of_flag["what"], of_flag["before"], strict=True))
    now = {
        heading.replace(_LONG, ""): number(before.get(what), decimals)
        for what, heading, decimals in columns
    }
    rows = [] if of_flag.empty else [{"Change": _NOW, "To": "", **now, "Notes": "-"}]
    for move, part in of_flag.groupby("move", sort=False):
        differences = dict(zip(part["what"], part["difference"], strict=True))
        cells = {
            heading.replace(_LONG, ""): _signed(differences[what], decimals)
            for what, heading, decimals in columns
        }
        first = part.iloc[0]
        said = [str(first["obstacle"])] if first["obstacle"] else []
        said += [f"leaves {first['leaves']}"] if first["leaves"] else []
        rows.append(
            {
                "Change": move_words(explanation, str(move)),
                "To": str(first["to"]) or NONE,
                **cells,
                "Notes": "; ".join(said) or "-",
            }
        )
    return pd.DataFrame(rows)


def _signed(value: float, decimals: int) -> str:
    text = number(value, decimals)
    return f"+{text}" if value > 0.0 and text.strip("0.") else text


def explain_text(explanation: Explanation) -> str:
    """Say what each flag contributes and what small changes of it do.

    Parameters
    ----------
    explanation : Explanation
        What explains a design. [-]

    Returns
    -------
    text : str
        Tables under one another. [-]
    """
    report = explanation.report
    keys = shown_metrics(explanation)
    parts = [
        titled(report.design.name, report.design_id),
        "What each flag has of it:",
        table_text(shares_table(explanation)),
        "\n".join(textwrap.fill(note, _WIDTH) for note in share_notes(explanation)),
        "What small changes do, each by itself (all metrics: --out or --json):",
    ]
    for k, flag in enumerate(report.design.flags):
        table = _moves_text(moves_table(explanation, k + 1, keys))
        parts.append(f"{k + 1} {flag_title(flag)}\n{table}")
    shaft = report.design.shaft
    parts.append(
        f"shaft, on mandrel {shaft.mandrel} set at {mm(shaft.mandrel_set)} mm\n"
        + _moves_text(moves_table(explanation, 0, keys))
    )
    parts.append("\n".join(textwrap.fill(line, _WIDTH) for line in CAUTIONS))
    return "\n\n".join(parts)


def _moves_text(table: pd.DataFrame) -> str:
    """Table as text, what is to be said of its rows below: it may be long."""
    if table.empty:
        return "  nothing can be changed"
    said = [
        textwrap.fill(
            f"{change}: {notes}", _WIDTH, initial_indent="  ", subsequent_indent="    "
        )
        for change, notes in zip(table["Change"], table["Notes"], strict=True)
        if notes != "-"
    ]
    return "\n".join([table_text(table.drop(columns="Notes")), *said])


def share_notes(explanation: Explanation) -> list[str]:
    """Say what the shares are shares of.

    Parameters
    ----------
    explanation : Explanation
        What explains a design. [-]

    Returns
    -------
    lines : list of str
        One a sentence or two. [-]
    """
    where = ""
    if explanation.margin_at is not None:
        where = f" The weakest place lies at {mm(explanation.margin_at)} mm."
    rest = explanation.shares.iloc[-1]
    others = [
        f"{SHARES[key].lower()}: {what}"
        for key, what in REST.items()
        if math.isfinite(float(rest[key])) and abs(float(rest[key])) > 5e-4
    ]
    lines = [
        "Weight is what stays in the finished shaft; cost is what is cut of the roll "
        "and the labour of the flag, with its part of the scrap.",
        "EI, torque, frequency (stiffness) and margin: part of the strain energy in "
        "the bent or twisted wall, that is, by how many percent the value would rise "
        "(torque: fall; frequency: its square; margin: the load borne) if all of that "
        "flag's moduli rose by one percent, its "
        f"thickness and weight unchanged.{where}",
        "Frequency, mass: part of the energy of the moving mass.",
    ]
    if others:
        lines.append(f"Not a flag: {'; '.join(others)}.")
    return [*lines, *explanation.notes]


def explain_json(explanation: Explanation) -> dict[str, Any]:
    """Give what explains a design as JSON values.

    Parameters
    ----------
    explanation : Explanation
        What explains a design. [-]

    Returns
    -------
    values : dict
        Shares in percent by flag, EI by flag along the shaft, changes by flag, notes.
        [-]
    """
    report = explanation.report
    headings = share_headings(explanation)
    flags = report.design.flags
    asked = [moved_column(explanation, key) for key in shown_metrics(explanation)]
    stations = [ei_column(x) for x in explanation.stations]
    columns = [moved_column(explanation, key) for key in (*METRIC, *stations)]
    return {
        "name": report.design.name,
        "id": report.design_id,
        "station_mm": [x * 1e3 for x in explanation.stations],
        "weakest_at_mm": None
        if explanation.margin_at is None
        else explanation.margin_at * 1e3,
        "headings": headings,
        "shares": [
            {
                "order": int(row["order"]),
                "flag": str(row["flag"]),
                "title": flag_title(flags[row["order"] - 1])
                if row["order"]
                else REST_ROW,
                "share_pct": {
                    column: _value(float(row[column]) * 100.0) for column in headings
                },
            }
            for row in explanation.shares.to_dict("records")
        ],
        "along": {
            "station_mm": [round(x * 1e3, 6) for x in explanation.along["station"]],
            "ei_n_m2": [_value(v) for v in explanation.along["EI"]],
            "by_flag_n_m2": [
                [_value(v) for v in explanation.along[str(k + 1)]]
                for k in range(len(flags))
            ],
        },
        "asked": [what for what, _, _ in asked],
        "columns": {what: heading for what, heading, _ in columns},
        "decimals": {what: decimals for what, _, decimals in columns},
        "changes": _moves_json(explanation),
        "notes": share_notes(explanation),
        "cautions": list(CAUTIONS),
    }


def _moves_json(explanation: Explanation) -> list[dict[str, Any]]:
    found = []
    for (order, move), part in explanation.moves.groupby(["order", "move"], sort=False):
        first = part.iloc[0]
        values = zip(
            part["what"], part["difference"], part["share_of_band"], strict=True
        )
        by_what = [(str(w), _value(d), _value(s)) for w, d, s in values]
        found.append(
            {
                "order": order,
                "flag": str(first["flag"]),
                "move": str(move),
                "said": move_words(explanation, str(move)),
                "to": str(first["to"]),
                "obstacle": str(first["obstacle"]),
                "leaves": [part for part in str(first["leaves"]).split("; ") if part],
                "difference": {what: d for what, d, _ in by_what},
                "share_of_band": {what: s for what, _, s in by_what if s is not None},
            }
        )
    return found


def _value(value: float) -> float | None:
    return float(f"{value:.10g}") if math.isfinite(value) else None


def write_explanation(folder: Path, explanation: Explanation) -> list[Path]:
    """Write what explains a design: tables, text, pictures.

    Parameters
    ----------
    folder : Path
        Where to. [-]
    explanation : Explanation
        What explains a design. [-]

    Returns
    -------
    paths : list of Path
        Files that were written. [-]
    """
    headings = share_headings(explanation)
    shares = explanation.shares
    percent = shares.assign(**{c: shares[c] * 100.0 for c in headings})
    percent = percent[["order", "flag", *headings]].rename(
        columns={column: f"{column}_pct" for column in headings}
    )
    names = explanation.report.design.flags
    along = explanation.along.assign(station=explanation.along["station"] * 1e3)
    along = along.rename(
        columns={
            "station": "station_mm",
            "EI": "ei_n_m2",
            **{str(k + 1): f"{k + 1} {f.name}_n_m2" for k, f in enumerate(names)},
        }
    )
    page = figure(9.6)
    top, bottom = page.subplots(2, 1, height_ratios=[1.25, 1.0])
    plot_shares(top, explanation, headings)
    plot_along(bottom, explanation)
    keys = shown_metrics(explanation)
    changes = figure(moves_height(explanation), moves_width(keys))
    plot_moves(changes.subplots(), explanation, keys)
    pictures = {SHARES_PICTURE: png_bytes(page), MOVES_PICTURE: png_bytes(changes)}
    return [
        write_table(folder / SHARES_TABLE, percent),
        write_table(folder / MOVES_TABLE, explanation.moves),
        write_table(folder / ALONG_TABLE, along),
        write_text(folder / TEXT, explain_text(explanation) + "\n"),
        *(write_bytes(folder / name, content) for name, content in pictures.items()),
    ]
