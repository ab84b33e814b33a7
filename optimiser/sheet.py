"""What the shop needs of one design: sheet, workbook, cut patterns, lays."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pandas as pd

from model import Fault, InputError, pieces_of
from optimiser.bill import Bill, bill_of, bill_table
from optimiser.dxf_file import dxf_bytes
from optimiser.files import write_bytes, write_table, write_text
from optimiser.nesting import Lay, lay_pieces
from optimiser.pattern_pages import lays_pdf, patterns_pdf, patterns_svg
from optimiser.pattern_shapes import laid_shapes, stacked
from optimiser.sheet_csv import csv_tables
from optimiser.sheet_parts import names_undrawn
from optimiser.sheet_pdf import sheet_pdf
from optimiser.sheet_record import MADE_FROM, RECORD, SPEC, record_files
from optimiser.shop_units import SI, ShopUnits
from optimiser.workbook import BOOK_NAME, workbook

if TYPE_CHECKING:
    from model import Ends, Library, Mandrel, Piece, Report
    from optimiser.spec import Spec

#: name of the PDF
SHEET_NAME = "layup_sheet.pdf"
#: what can be written of a design, each part by itself
PARTS: Final = ("sheet", "workbook", "patterns", "lays", "bill")
_LAY_FILE: Final = re.compile(r"lay_\d+_.+\.dxf")
#: shafts that are cut at once where nothing is said
BATCH: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Papers:
    """How the papers of a design are made out."""

    revision: str = ""  #: as the shop counts them
    date: datetime.date | None = None  #: today without
    paper: str = "a4"  #: or "letter"
    units: ShopUnits = SI


def write_sheet(
    report: Report,
    folder: Path,
    *,
    spec: Spec | None = None,
    mandrel: Mandrel | None = None,
    overlap: float = 0.0,
    papers: Papers = Papers(),
) -> list[Path]:
    """Write the layup sheet of a design and its tables.

    Parameters
    ----------
    report : Report
        An evaluated design. [-]
    folder : Path
        Where the files go; made where it is missing. [-]
    spec : Spec or None
        Its bands are the acceptance limits. [-]
    mandrel : Mandrel or None
        Its mandrel, to mark on the map where its taper changes. [-]
    overlap : float
        On the wound edge of every piece, on top of the widths. [m]
    papers : Papers
        How the sheet is made out; its tables are in the same units. [-]

    Returns
    -------
    paths : list of Path
        The PDF, then the tables. Each is written whole or not at all. [-]

    Raises
    ------
    OSError
        If the folder or a file cannot be written.
    """
    # everything is made before anything is written, so a failure leaves no half set
    content = sheet_pdf(
        report,
        spec=spec,
        date=papers.date,
        mandrel=mandrel,
        revision=papers.revision,
        paper=papers.paper,
        units=papers.units,
        overlap=overlap,
    )
    tables = csv_tables(report, spec, papers.units)
    paths = [write_bytes(folder / SHEET_NAME, content)]
    paths += [write_table(folder / name, table) for name, table in tables.items()]
    return paths


@dataclass(frozen=True, slots=True)
class Written:
    """What was written of a design."""

    paths: tuple[Path, ...]
    bill: Bill | None
    undrawn: tuple[str, ...]  #: names with letters that no font of this machine has


def write_parts(
    report: Report,
    library: Library,
    folder: Path,
    *,
    parts: Collection[str] = PARTS,
    spec: Spec | None = None,
    batch: int = BATCH,
    ends: Ends = "developed",
    turn_over: bool = False,
    overlap: float = 0.0,
    papers: Papers = Papers(),
) -> Written:
    """Write what the shop needs of a design, or parts of it.

    The design, its library and the spec are laid beside, so that the folder evaluates
    again to the same numbers wherever it is kept.

    Parameters
    ----------
    report : Report
        An evaluated design. [-]
    library : Library
        Its materials and mandrel. [-]
    folder : Path
        Where the files go; made where it is missing. [-]
    parts : collection of str
        Some of `PARTS`. [-]
    spec : Spec or None
        Its bands are the acceptance limits on the sheet. [-]
    batch : int
        Shafts that are cut at once. [-]
    ends : {"developed", "square"}
        Ends of pieces as arcs, or straight and square to the straight edge. [-]
    turn_over : bool
        Whether the second piece of a pair is turned over when it is laid on the
        first, and so is cut as its mirror image. [-]
    overlap : float
        Added to the width of every piece along its wound edge. [m]
    papers : Papers
        How they are made out; DXF and SVG files are at true size, DXF in mm. [-]

    Returns
    -------
    written : Written
        All files, then the folder of what they were made from, each whole or not at
        all; the bill where it was asked for; which names cannot be drawn. [-]

    Raises
    ------
    InputError
        If a piece does not fit the width of its roll, or parts that are in the folder
        and stay are of another design, revision, batch or way of cutting.
    OSError
        If the folder or a file cannot be written.
    """
    made: dict[str, object] = {
        "id": report.design_id,
        "spec": None if spec is None else spec.name,
        "revision": papers.revision,
        "units": papers.units.name,
        "batch": batch,
        "ends": ends,
        "turn_pairs": turn_over,
        "overlap_mm": round(overlap * 1e3, 6),
    }
    beside = _beside(folder, made, parts)
    pieces = pieces_of(report, library, ends=ends, turn_over=turn_over, overlap=overlap)
    contents: dict[str, bytes] = {}
    lays: list[Lay] = []
    bill: Bill | None = None
    if {"lays", "bill", "workbook"} & set(parts):
        lays = lays_of(report, library, pieces, batch)
        bill = bill_of(report, library, lays)
    if "workbook" in parts and bill is not None:
        contents[BOOK_NAME] = workbook(
            report,
            bill,
            spec=spec,
            date=papers.date,
            revision=papers.revision,
            paper=papers.paper,
            units=papers.units,
            overlap=overlap,
        )
    if "patterns" in parts:
        contents["patterns.dxf"] = dxf_bytes(
            stacked(pieces, papers.units), _note(report, papers)
        )
        contents["patterns.svg"] = patterns_svg(pieces, papers.units)
        contents["patterns.pdf"] = patterns_pdf(
            report,
            pieces,
            ends,
            turn_over=turn_over,
            overlap=overlap,
            paper=papers.paper,
            units=papers.units,
            revision=papers.revision,
        )
    if "lays" in parts:
        contents["lays.pdf"] = lays_pdf(
            report,
            lays,
            turn_over=turn_over,
            paper=papers.paper,
            units=papers.units,
            revision=papers.revision,
        )
        for number, lay in enumerate(lays, start=1):
            name = re.sub(r"[^\w.-]+", "_", lay.material)
            contents[f"lay_{number}_{name}.dxf"] = dxf_bytes(
                laid_shapes(lay),
                f"{_note(report, papers)}   {lay.material}, {lay.batch} shafts",
            )
    paths = []
    if "sheet" in parts:
        mandrel = library.mandrels[report.design.shaft.mandrel]
        paths += write_sheet(
            report, folder, spec=spec, mandrel=mandrel, overlap=overlap, papers=papers
        )
    paths += [write_bytes(folder / name, text) for name, text in contents.items()]
    if "lays" in parts:
        for old in folder.glob("lay_*.dxf"):
            # of an earlier package: no cutter may take it for one of this
            if _LAY_FILE.fullmatch(old.name) and old.name not in contents:
                old.unlink()
    if bill is not None and "lays" in parts:
        paths.append(
            write_table(folder / "lays.csv", lays_table(bill, lays, papers.units))
        )
    if bill is not None and "bill" in parts:
        paths.append(write_table(folder / "bill.csv", bill_table(bill, papers.units)))
    lying = [part for part in PARTS if part in parts or part in beside]
    paths.append(_write_record(report, library, folder, spec, papers, made, lying))
    return Written(
        tuple(paths),
        bill if "bill" in parts else None,
        names_undrawn(report, spec, papers.revision),
    )


def _note(report: Report, papers: Papers) -> str:
    """What a file for a cutter says of itself."""
    revision = f"   revision {papers.revision}" if papers.revision else ""
    return f"{report.design.name}   {report.design_id}{revision}"


def _beside(
    folder: Path, made: dict[str, object], parts: Collection[str]
) -> tuple[str, ...]:
    """Parts in a folder that stay; refused if they would contradict the new ones."""
    path = folder / MADE_FROM / RECORD
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return ()
    except ValueError:
        record = None
    if not isinstance(record, dict):
        return ()  # no record that this program has written
    others = record.get("parts")
    known = others if isinstance(others, list) else PARTS
    kept = tuple(part for part in PARTS if part in known and part not in parts)
    differ = [
        f"{key.replace('_', ' ')} {record[key] or 'none'}, now {value or 'none'}"
        for key, value in made.items()
        if key in record and record[key] != value
    ]
    if kept and differ:
        message = (
            f"holds other papers of what is not the same: {'; '.join(differ)}. Write "
            "all parts, ask for the same, or give another --out."
        )
        raise InputError(str(folder), [Fault("", None, None, message)])
    return kept


def _write_record(
    report: Report,
    library: Library,
    folder: Path,
    spec: Spec | None,
    papers: Papers,
    made: dict[str, object],
    parts: Collection[str],
) -> Path:
    """Lay what the papers were made from beside them."""
    whole = folder / MADE_FROM  # a name that no file of a user has
    files = record_files(
        report,
        library,
        spec=spec,
        date=papers.date,
        made=made,
        parts=parts,
    )
    if spec is None:
        (whole / SPEC).unlink(missing_ok=True)  # of an earlier sheet
    for name, text in files.items():
        write_text(whole / name, text)
    return whole


def lays_of(
    report: Report, library: Library, pieces: Sequence[Piece], batch: int
) -> list[Lay]:
    """Lay the pieces of a batch, each material on its own roll.

    Parameters
    ----------
    report : Report
        The design. [SI]
    library : Library
        Its materials. [SI]
    pieces : sequence of Piece
        Its pieces. [SI]
    batch : int
        Shafts. [-]

    Returns
    -------
    lays : list of Lay
        In the order in which the materials are first rolled. [SI]

    Raises
    ------
    InputError
        If a piece does not fit the width of its roll.
    """
    return [
        lay_pieces(
            [piece for piece in pieces if piece.material == material],
            library.prepregs[material].roll_width,
            report.design.cutting,
            batch=batch,
        )
        for material in dict.fromkeys(piece.material for piece in pieces)
    ]


def lays_table(bill: Bill, lays: Sequence[Lay], units: ShopUnits = SI) -> pd.DataFrame:
    """Roll that a batch takes, by material.

    Parameters
    ----------
    bill : Bill
        Bill of the batch. [SI]
    lays : sequence of Lay
        Its lays. [SI]
    units : ShopUnits
        Units of the table. [-]

    Returns
    -------
    table : DataFrame
        Lengths to 0.1 mm or 0.001 in, areas to 1 mm² or 1e-5 ft²; beside the roll that
        is cut off, the area that the price of the design is reckoned with. [-]
    """
    length, area = units.length, units.area
    return pd.DataFrame(
        [
            {
                "material": lay.material,
                "shafts": lay.batch,
                "pieces": len(lay.laid),
                length.column("roll_width"): length.shown(lay.roll_width),
                length.column("roll_length"): length.shown(lay.length),
                area.column("area_net"): area.fine(lay.area_net),
                area.column("area_roll"): area.fine(lay.area),
                "used_pct": round(lay.share_used * 100.0, 2),
                area.column("area_reckoned"): area.fine(line.area_reckoned),
            }
            for lay, line in zip(lays, bill.materials, strict=True)
        ]
    )
