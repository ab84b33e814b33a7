"""What a sheet was made from, kept beside it so that it evaluates again to the same."""

from __future__ import annotations

import datetime
import json
import re
import tomllib
from collections.abc import Collection
from dataclasses import replace
from importlib.metadata import version
from typing import TYPE_CHECKING, Final

import tomli_w

from model import design_to_text
from optimiser.words import CAUTIONS

if TYPE_CHECKING:
    from model import Library, Report
    from optimiser.spec import Spec

#: Folder beside a sheet, and names in it.
MADE_FROM: Final = "made_from"
DESIGN: Final = "design.toml"
SPEC: Final = "spec.toml"
LIBRARY: Final = "library"
RECORD: Final = "record.json"

_LIBRARY_LINE: Final = re.compile(r"^[ \t]*library[ \t]*=.*$", re.MULTILINE)


def record_files(
    report: Report,
    library: Library,
    *,
    spec: Spec | None = None,
    date: datetime.date | None = None,
    made: dict[str, object],
    parts: Collection[str],
) -> dict[str, str]:
    """Give the files from which a sheet can be made again.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    library : Library
        What it was evaluated with. [SI]
    spec : Spec or None
        Whose bands are on the sheet. [SI]
    date : date or None
        Date on the sheet; today without. [-]
    made : dict
        How the papers are made out and the pieces cut. [-]
    parts : collection of str
        What lies beside. [-]

    Returns
    -------
    files : dict of str to str
        Text by name: the design and the spec, which find their library beside them,
        the library as it was read, and the record of the metrics. [-]
    """
    files = {DESIGN: design_to_text(replace(report.design, library=LIBRARY))}
    if spec is not None:
        files[SPEC] = with_library(spec.text, LIBRARY)
    files |= {f"{LIBRARY}/{name}": text for name, text in library.files.items()}
    record = {
        "design": report.design.name,
        **made,
        "date": (date or datetime.date.today()).isoformat(),
        "parts": list(parts),
        "plyfront": version("plyfront"),
        "metrics": report.to_json()["metrics"],
        "cautions": list(CAUTIONS),
    }
    files[RECORD] = json.dumps(record, indent=2, ensure_ascii=False) + "\n"
    return files


def with_library(text: str, library: str) -> str:
    """Have a TOML file name another library, with all else as it stands.

    Parameters
    ----------
    text : str
        A file that was read without a fault. [-]
    library : str
        Folder that it is to name. [-]

    Returns
    -------
    text : str
        The file with that one line changed or added. [-]
    """
    wanted = {**tomllib.loads(text), "library": library}
    line = f"library = {json.dumps(library)}"
    for changed in (_LIBRARY_LINE.sub(line, text, count=1), f"{line}\n{text}"):
        try:
            if tomllib.loads(changed) == wanted:
                return changed
        except tomllib.TOMLDecodeError:
            continue  # the key stands there already, in a form that no line shows
    return tomli_w.dumps(wanted)
