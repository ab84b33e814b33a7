"""The layup sheet of one design: a PDF for the bench and the same tables as CSV."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from optimiser.files import write_bytes, write_table
from optimiser.sheet_pdf import sheet_pdf
from optimiser.sheet_tables import csv_tables

if TYPE_CHECKING:
    from model import Mandrel, Report
    from optimiser.spec import Spec

#: name of the PDF
SHEET_NAME = "layup_sheet.pdf"


def write_sheet(
    report: Report,
    folder: Path,
    *,
    spec: Spec | None = None,
    date: datetime.date | None = None,
    mandrel: Mandrel | None = None,
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
    date : date or None
        Date on the sheet; today without. [-]
    mandrel : Mandrel or None
        Its mandrel, to mark on the map where its taper changes. [-]

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
    content = sheet_pdf(report, spec=spec, date=date, mandrel=mandrel)
    tables = csv_tables(report, spec)
    paths = [write_bytes(folder / SHEET_NAME, content)]
    paths += [write_table(folder / name, table) for name, table in tables.items()]
    return paths
