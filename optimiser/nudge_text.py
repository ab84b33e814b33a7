"""What nudges do to the designs of a front, as text for people and as files."""

import json
import textwrap
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from model import METRICS
from optimiser.files import write_table, write_text
from optimiser.nudge import FINER, NUDGES, Nudges
from optimiser.review import table_text
from optimiser.words import CAUTIONS, NONE, metric_unit, mm, number

TABLE: Final = "nudge.csv"
TEXT: Final = "nudge.txt"
_SHOP_WORDS: Final = {
    "wall_min": "Thinnest wall",
    "diameter_step": "Step of the outside diameter",
    "tip_shortage": "Build short of the tip diameter",
    "tip_grind_depth": "Grinding depth at the tip",
    "bias_ground": "Grinding into a bias flag",
    "roll_overhang": "Piece wider than its roll",
}


def write_nudges(folder: Path, nudges: Nudges) -> list[Path]:
    """Write what nudges do, as a table and in short.

    Parameters
    ----------
    folder : Path
        Where to. [-]
    nudges : Nudges
        Designs, evaluated again. [-]

    Returns
    -------
    paths : list of Path
        Files that were written. [-]
    """
    return [
        write_table(folder / TABLE, nudges.table),
        write_text(folder / TEXT, nudge_text(nudges) + "\n"),
    ]


def nudge_json(nudges: Nudges) -> dict[str, Any]:
    """Give what nudges do as JSON values.

    Parameters
    ----------
    nudges : Nudges
        Designs, evaluated again. [-]

    Returns
    -------
    values : dict
        Counts by kind of nudge, and the rows of the table. [-]
    """
    rows = json.loads(nudges.table.to_json(orient="records", double_precision=15))
    return {
        "designs": nudges.n_designs,
        "by_mm": round(nudges.by * 1e3, 6),
        "draws": nudges.draws,
        "seed": nudges.seed,
        "designs_outside": {key: nudges.n_outside(key) for key in NUDGES},
        "rows": rows,
    }


def nudge_text(nudges: Nudges) -> str:
    """Say what nudges do to the designs of a front.

    Parameters
    ----------
    nudges : Nudges
        Designs, evaluated again. [-]

    Returns
    -------
    text : str
        Several tables under one another. [-]
    """
    by = f"{mm(nudges.by)} mm"
    intro = (
        f"{nudges.n_designs} of the {nudges.front:,} designs of the front, evenly "
        f"spread, evaluated again (seed {nudges.seed}). Finer: at {FINER} times the "
        "stations. Exact: there with the section of three-dimensional elasticity too. "
        f"End: each inner flag end moved by {by} to either side, by itself. Set: the "
        f"mandrel set moved so. All: all of these moved at random within {by}, "
        f"{nudges.draws} times a design."
    )
    parts = [
        textwrap.fill(intro, 88),
        table_text(_counts(nudges)),
        "Largest change of what is asked, and its share of a band with two edges:\n\n"
        + table_text(_changes(nudges)),
        "Cases outside, by design:\n\n" + table_text(_by_design(nudges)),
        "\n".join(textwrap.fill(line, 88) for line in CAUTIONS),
    ]
    return "\n\n".join(parts)


def _counts(nudges: Nudges) -> pd.DataFrame:
    """What lies outside, a row a kind of nudge."""
    lines = []
    for key in NUDGES:
        rows = nudges.of(key)
        once = rows.drop_duplicates("design")
        lines.append(
            {
                "Nudge": key.capitalize(),
                "Designs outside": f"{nudges.n_outside(key)} of {len(once)}",
                "Cases outside": f"{once['cases_out'].sum()} of {once['cases'].sum()}",
                "Furthest outside": _furthest(rows, nudges.currency),
            }
        )
    return pd.DataFrame(lines)


def _changes(nudges: Nudges) -> pd.DataFrame:
    """The largest change of each metric and rule that changes at all."""
    lines = []
    for what, rows in nudges.table.groupby("what", sort=False):
        label, unit, decimals = _words(str(what), nudges.currency)
        name = f"{label} [{unit}]" if unit else label
        cells = {
            key.capitalize(): _change(rows[rows["nudge"] == key], decimals)
            for key in NUDGES
        }
        if any(cell.strip("0.") not in ("", NONE) for cell in cells.values()):
            lines.append({"Asked": name, **cells})
    return pd.DataFrame(lines)


def _by_design(nudges: Nudges) -> pd.DataFrame:
    lines = []
    for identity, rows in nudges.table.groupby("design", sort=False):
        once = rows.drop_duplicates("nudge").set_index("nudge")
        cells = {
            key.capitalize(): f"{once['cases_out'][key]} of {once['cases'][key]}"
            if key in once.index
            else NONE
            for key in NUDGES
        }
        lines.append({"Design": str(identity), **cells})
    return pd.DataFrame(lines)


def _furthest(rows: pd.DataFrame, currency: str) -> str:
    """The band that is left by most, against its width or its only edge."""
    rows = rows[rows["out"] > 0]
    if rows.empty:
        return NONE
    low, high, out_by = (rows[name].to_numpy() for name in ("low", "high", "out_by"))
    edge = np.abs(np.where(np.isnan(high), low, high))
    size = np.where(np.isnan(high - low), edge, high - low)
    worst = int(np.argmax(out_by / np.maximum(size, 1e-12)))
    label, unit, decimals = _words(str(rows["what"].iloc[worst]), currency)
    return f"{label} by {number(float(out_by[worst]), decimals)} {unit}".rstrip()


def _change(rows: pd.DataFrame, decimals: int) -> str:
    if rows.empty:
        return NONE
    change = np.abs(rows["largest_change"].to_numpy(dtype=float))
    worst = int(np.argmax(change))
    text = number(float(change[worst]), decimals)
    share = float(rows["share_of_band"].iloc[worst])
    return text if np.isnan(share) else f"{text} ({100.0 * share:.1f} %)"


def _words(what: str, currency: str) -> tuple[str, str, int]:
    """Name for people, unit and digits of what a row is about."""
    for metric in METRICS:
        if metric.column == what:
            return metric.label, metric_unit(metric, currency), metric.decimals + 1
    for name, label in _SHOP_WORDS.items():
        if what == f"{name}_mm":
            return label, "mm", 3
    station = what.removeprefix("ei_at_").partition("_")[0]
    return f"EI at {station} mm", "N·m²", 2
