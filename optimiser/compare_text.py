"""What differs between two designs, as text, tables, JSON values and a picture."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from model import angle_text
from optimiser.beside import beside_json
from optimiser.files import write_bytes, write_table
from optimiser.plot_compare import compare_png
from optimiser.review import table_text
from optimiser.words import CAUTIONS, NONE, mm, number, rolled_text, titled

if TYPE_CHECKING:
    from model import FlagReport, Mandrel
    from optimiser.compare import Differences, PiecePair

_STATES: Final = {"": NONE, "in": "kept", "low": "too low", "high": "too high"}


def metrics_table(found: Differences) -> pd.DataFrame:
    """Metrics of both designs beside their bands.

    Parameters
    ----------
    found : Differences
        Of two designs. [SI]

    Returns
    -------
    table : DataFrame
        One row a metric, as people read it. [unit of the row]
    """
    has_bands = any(row.is_asked for _, row in found.metrics)
    lines = []
    for old, new in found.metrics:
        change = NONE
        if old.value is not None and new.value is not None:
            text = number(new.value - old.value, new.decimals)
            change = f"+{text}" if new.value > old.value and text.strip("0.") else text
        cells = {
            "": f"{new.label} [{new.unit}]" if new.unit else new.label,
            "A": number(old.value, new.decimals),
            "B": number(new.value, new.decimals),
            "B less A": change,
        }
        if has_bands:
            cells["Asked"] = new.band or NONE
            cells["A is"], cells["B is"] = _STATES[old.state], _STATES[new.state]
        lines.append(cells)
    return pd.DataFrame(lines)


def changes_table(found: Differences) -> pd.DataFrame:
    """Keys of the design files that differ.

    Parameters
    ----------
    found : Differences
        Of two designs. [SI]

    Returns
    -------
    table : DataFrame
        Settings, then flags in the second design's rolling order. [-]
    """
    rows = [
        {"where": f"[{c.table}]", "what": c.key, "a": c.a, "b": c.b}
        for c in found.settings
    ]
    for pair in found.changed_flags:
        if pair.place_a is None or pair.place_b is None:
            report = found.b if pair.place_a is None else found.a
            place = (pair.place_a or pair.place_b or 1) - 1
            text = _flag_text(report.flags[place])
            a, b = (NONE, text) if pair.place_a is None else (text, NONE)
            rows.append({"where": pair.name, "what": pair.words, "a": a, "b": b})
            continue
        rows += [
            {"where": pair.name, "what": c.key, "a": c.a, "b": c.b}
            for c in pair.changes
        ]
        if pair.is_moved:
            rows.append(
                {
                    "where": pair.name,
                    "what": "place",
                    "a": str(pair.place_a),
                    "b": str(pair.place_b),
                }
            )
    return pd.DataFrame(rows, columns=["where", "what", "a", "b"])


def _flag_text(flag: FlagReport) -> str:
    angle = angle_text(flag.angle, is_pair=flag.is_pair)
    return (
        f"{flag.material} {angle}°, {mm(flag.start)} to {mm(flag.end)} mm, "
        + rolled_text(flag)
    )


def pieces_table(found: Differences) -> pd.DataFrame:
    """Pieces that are cut otherwise.

    Parameters
    ----------
    found : Differences
        Of two designs. [SI]

    Returns
    -------
    table : DataFrame
        Lengths to 0.1 mm, areas to 1 mm², masses to 0.1 mg; empty cells for a flag
        that one of the designs has not. [-]
    """
    rows = []
    for pair in found.pieces:
        row: dict[str, Any] = {"flag": pair.name}
        for key, unit, value in (
            ("material", "", lambda f: f.material),
            ("pieces", "", lambda f: f.pieces),
            ("cut_length", "_mm", lambda f: round(f.cut_length * 1e3, 1)),
            ("width_tip_end", "_mm", lambda f: round(float(f.cut_width[0]) * 1e3, 1)),
            ("width_butt_end", "_mm", lambda f: round(float(f.cut_width[-1]) * 1e3, 1)),
            ("area_gross", "_m2", lambda f: round(f.area_gross, 6)),
            ("mass_cut", "_g", lambda f: round(f.mass_cut * 1e3, 4)),
        ):
            for letter, flag in (("a", pair.a), ("b", pair.b)):
                row[f"{key}_{letter}{unit}"] = None if flag is None else value(flag)
        row["widest_difference_mm"] = round(pair.widest * 1e3, 1)
        rows.append(row)
    table = pd.DataFrame(rows)
    for column in ("pieces_a", "pieces_b"):
        if rows:
            table[column] = table[column].astype("Int64")  # whole, or missing
    return table


# ------------------------------------------------------------------------- telling


def compare_text(found: Differences) -> str:
    """Say what differs, for the terminal.

    Parameters
    ----------
    found : Differences
        Of two designs. [SI]

    Returns
    -------
    text : str
        Changes, metrics with bands, pieces. [-]
    """
    a, b = found.a, found.b
    lines = [
        f"A  {titled(a.design.name, a.design_id)}",
        f"B  {titled(b.design.name, b.design_id)}",
    ]
    if found.spec is not None:
        lines.append(f"held against the spec {found.spec.name}")
    changes = changes_table(found)
    same = len(found.flags) - len(found.changed_flags)
    lines.append("")
    if changes.empty:
        lines.append("The layups are the same.")
    else:
        shown = changes.rename(columns={"where": "", "what": "Differs"})
        lines.append(table_text(shown.rename(columns={"a": "A", "b": "B"})))
        if same:
            lines.append(
                f"{same} flag{'s are' if same > 1 else ' is'} the same in both"
            )
    lines += ["", table_text(metrics_table(found)), ""]
    if not found.pieces:
        lines.append("All pieces are cut alike.")
    else:
        lines.append("Pieces that are cut otherwise, mm:")
        lines.append(table_text(pd.DataFrame([_cut_row(p) for p in found.pieces])))
    lines += [f"note: {note}" for note in found.notes]
    return "\n".join([*lines, CAUTIONS[0]])


def _cut_row(pair: PiecePair) -> dict[str, str]:
    """One pair of pieces for the terminal."""
    flags = (pair.a, pair.b)

    def both(*values: float | None) -> str:
        said = dict.fromkeys(mm(value) for value in values if value is not None)
        return " to ".join(said)

    return {
        "": pair.name,
        "Cut length": both(*(None if f is None else f.cut_length for f in flags)),
        "Tip end": both(*(None if f is None else float(f.cut_width[0]) for f in flags)),
        "Butt end": both(
            *(None if f is None else float(f.cut_width[-1]) for f in flags)
        ),
        "Widest difference": mm(pair.widest),
        "Cut": "only in B"
        if pair.a is None
        else "only in A"
        if pair.b is None
        else NONE,
    }


def compare_json(found: Differences) -> dict[str, Any]:
    """Give what differs as JSON values.

    Parameters
    ----------
    found : Differences
        Of two designs. [SI]

    Returns
    -------
    values : dict
        Units in the keys. [-]
    """
    pieces = pieces_table(found).astype(object)
    return {
        "a": {"name": found.a.design.name, "id": found.a.design_id},
        "b": {"name": found.b.design.name, "id": found.b.design_id},
        "spec": None if found.spec is None else found.spec.name,
        "settings": [dataclasses.asdict(change) for change in found.settings],
        "flags": [
            {
                "name": pair.name,
                "place_a": pair.place_a,
                "place_b": pair.place_b,
                "moved": pair.is_moved,
                "changed": bool(pair.words),
                "changes": [{"key": c.key, "a": c.a, "b": c.b} for c in pair.changes],
            }
            for pair in found.flags
        ],
        "metrics": {
            "a": beside_json([old for old, _ in found.metrics]),
            "b": beside_json([new for _, new in found.metrics]),
        },
        "pieces": pieces.where(pieces.notna(), None).to_dict(orient="records"),
        "notes": list(found.notes),
        "cautions": list(CAUTIONS),
    }


def write_compare(
    folder: Path, found: Differences, mandrels: Sequence[Mandrel | None] = (None, None)
) -> list[Path]:
    """Write tables and the picture of what differs.

    Parameters
    ----------
    folder : Path
        Where the files go; made where it is missing. [-]
    found : Differences
        Of two designs. [SI]
    mandrels : sequence of Mandrel or None
        Of both designs, to mark on the maps where their taper changes. [SI]

    Returns
    -------
    paths : list of Path
        All files. [-]
    """
    marks_a = {p.place_a: p.words for p in found.flags if p.place_a and p.words}
    marks_b = {p.place_b: p.words for p in found.flags if p.place_b and p.words}
    ghosts = {p.place_b: p.place_a for p in found.flags if p.place_a and p.place_b}
    picture = compare_png(found.a, found.b, marks_a, marks_b, ghosts, mandrels)
    metrics = metrics_table(found).rename(columns={"": "metric"})
    return [
        write_bytes(folder / "compare.png", picture),
        write_table(folder / "compare_changes.csv", changes_table(found)),
        write_table(folder / "compare_metrics.csv", metrics),
        write_table(folder / "compare_pieces.csv", pieces_table(found)),
    ]
