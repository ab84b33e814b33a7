"""The edit page without its network: opens designs, measures edits, saves them.

Everything comes in and goes out as JSON values. The page keeps the design and its undo;
here nothing is kept, so two pages cannot spoil each other's work, and what a file held
when it was opened is held against what it holds when it is written over.
"""

from __future__ import annotations

import hashlib
import re
import threading
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from model import (
    Design,
    Fault,
    InputError,
    Library,
    ModelRangeError,
    Report,
    evaluate,
    read_design,
)
from optimiser.beside import (
    beside_json,
    beside_rows,
    measured,
    rule_breaks,
    strange_bench,
)
from optimiser.chosen import Chosen, save_design
from optimiser.desk_choice import choices_of, none_found
from optimiser.desk_json import design_json, faults_json, map_json, profile_json
from optimiser.edits import design_from_data
from optimiser.explain import explain
from optimiser.explain_text import explain_json
from optimiser.flagmap import KIND_COLOURS, KIND_LABELS
from optimiser.plot_explain import FILLS
from optimiser.run_folder import ABOUT, DESIGNS, LIBRARY
from optimiser.sheet import BATCH, SHEET_NAME, write_parts
from optimiser.sheet_record import MADE_FROM
from optimiser.sheet_type import NO_LETTER
from optimiser.spec import Spec
from optimiser.store import Run
from optimiser.terminal import shows
from optimiser.words import CAUTIONS, rolled_text

#: Where designs of a run that were changed by hand are saved, within its folder.
EDITED: Final = "edited"
#: Papers that the page hands out, by the end of their name, and what they are.
OPENED: Final = {
    ".pdf": "application/pdf",
    ".csv": "text/csv",
    ".svg": "image/svg+xml",
    ".dxf": "image/vnd.dxf",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
#: Most flags of a design on the page.
FLAGS_MOST: Final = 60
_NAME_MOST = 80
_FILE_NAME = re.compile(r"[^\x00-\x1f\x7f/\\:*?\"<>|]+")
_SOURCE = "the design"


class RefusedError(Exception):
    """What was asked cannot be done as things stand, in words for the user."""

    def __init__(self, message: str, *, reason: str) -> None:
        super().__init__(message)
        self.reason = reason  #: "exists", "changed", "missing" or "name"


@dataclass(frozen=True)
class Desk:
    """What one page works on: a folder, a library, a spec, perhaps a run."""

    folder: Path  #: where designs and sheets are written
    library: Library
    library_folder: Path | None
    spec: Spec | None
    run: Run | None
    first: Path | None  #: design that is opened where none is asked for
    #: compiled code and pictures are used by one request at a time
    lock: threading.Lock = field(default_factory=threading.Lock)

    @classmethod
    def of(cls, chosen: Chosen) -> Desk:
        """Set up a desk for a design.

        Parameters
        ----------
        chosen : Chosen
            The design, and what goes with it. [SI]

        Returns
        -------
        desk : Desk
            It writes beside the design's file, or into the run that it is of. [-]
        """
        run = chosen.run
        home = run.folder if run else chosen.path.resolve().parent.parent
        # what a search has found stays apart from what is made of it by hand
        is_found = chosen.path.parent.name == DESIGNS and (home / ABOUT).exists()
        return cls(
            folder=(home / EDITED if run or is_found else chosen.path.parent).resolve(),
            library=chosen.library,
            library_folder=chosen.library_folder,
            spec=chosen.spec,
            run=run,
            first=chosen.path,
        )

    @classmethod
    def of_run(cls, run: Run) -> Desk:
        """Set up a desk for a run, whose designs are chosen on the page.

        Parameters
        ----------
        run : Run
            A run with a front. [-]

        Returns
        -------
        desk : Desk
            It writes into the run. [-]
        """
        return cls(
            folder=(run.folder / EDITED).resolve(),
            library=run.library,
            library_folder=run.folder / LIBRARY,
            spec=run.spec,
            run=run,
            first=None,
        )

    def warm_up(self) -> None:
        """Evaluate a design once, so that the page need not wait for the compiler."""
        paths = [self.first] if self.first else []
        if self.run is not None:
            paths += list(self.run.designs.values())
        for path in paths[:1]:
            # what cannot be built yet is for the page to say and to mend
            with suppress(InputError):
                explain(read_design(path, self.library), self.library, spec=self.spec)

    # ----------------------------------------------------------------- opening

    def start(self) -> dict[str, Any]:
        """What can be opened.

        Returns
        -------
        values : dict
            Designs of the run with their picks, files saved by hand. [-]
        """
        columns: list[dict[str, Any]] = []
        designs: list[dict[str, Any]] = []
        if self.run is not None:
            columns, designs = choices_of(self.run, self.library.currency)
        files = sorted(path.name for path in self.folder.glob("*.toml"))
        return {
            "title": self.run.spec.name if self.run else self.folder.name,
            "opens": self.first is not None,
            "columns": columns,
            "designs": designs,
            "none": "" if self.run is None else none_found(self.run),
            "files": files[:200] if self.run else [],
            "folder": str(self.folder),
        }

    def opened(self, identity: str | None, name: str | None) -> dict[str, Any]:
        """Open a design for the page.

        Parameters
        ----------
        identity : str or None
            Id of a design of the run. [-]
        name : str or None
            Name of a file in the folder. [-]

        Returns
        -------
        values : dict
            The design as its file has it, what the library offers, what is asked. [-]

        Raises
        ------
        InputError
            With every fault of the file.
        RefusedError
            If there is no such file.
        """
        if name is not None:
            path = self._file(name)
        elif identity is not None and self.run is not None:
            path = self.run.design_path(identity)
        elif self.first is not None:
            path = self.first
        else:
            raise RefusedError("say which design", reason="missing")
        if not path.is_file():
            raise RefusedError(f"{path.name} is not there", reason="missing")
        design = read_design(path, self.library)
        is_own = path.parent.resolve() == self.folder
        return {
            "design": design_json(design),
            "file": path.name if is_own else "",
            "seen": version_of(path) if is_own else "",
            "suggested": self._free_name(path.stem),
            "folder": str(self.folder),
            "prepregs": [
                {"name": p.name, "class": p.fibre.fibre_class, "faw": p.faw * 1e3}
                for p in self.library.prepregs.values()
            ],
            "mandrels": list(self.library.mandrels),
            "currency": self.library.currency,
            "spec": self.spec.name if self.spec else "",
            "kinds": {
                kind: {"label": KIND_LABELS[kind], "colour": KIND_COLOURS[kind]}
                for kind in KIND_LABELS
            },
            "fills": list(FILLS),
            "cautions": list(CAUTIONS),
        }

    # --------------------------------------------------------------- measuring

    def measured(self, data: Mapping[str, Any]) -> dict[str, Any]:
        """Say what an edited design measures.

        Parameters
        ----------
        data : mapping
            The design as its file would have it. [-]

        Returns
        -------
        values : dict
            Metrics beside bands, profiles, map, flags, warnings, and why it cannot be
            built, if it cannot. [unit of the key]

        Raises
        ------
        InputError
            With every fault, or why there is no wall to measure.
        """
        design = self._design(data)
        with self.lock:
            found = measured(design, self.library)
            report = found.report
            if report is None:
                raise InputError(_SOURCE, found.obstacles)
            misses = (
                []
                if self.spec is None
                else rule_breaks(design, self.library, self.spec)
            )
        notes = list(report.warnings)
        if self.spec is not None and (said := strange_bench(design, self.spec)):
            notes.append(said)
        return {
            "id": report.design_id,
            "obstacles": faults_json(found.obstacles),
            "metrics": beside_json(beside_rows(report, self.spec)),
            "misses": misses,
            "notes": notes,
            "profile": profile_json(report),
            "points": [
                {
                    "station_mm": point.station * 1e3,
                    "low": point.target - point.tolerance,
                    "high": point.target + point.tolerance,
                }
                for point in (self.spec.ei_targets if self.spec else ())
            ],
            "map": map_json(report, self.library),
            "flags": [
                {
                    "mass_g": round(flag.mass * 1e3, 4),
                    "cost": round(flag.cost, 4),
                    "rolled": rolled_text(flag),
                }
                for flag in report.flags
            ],
        }

    def explained(self, data: Mapping[str, Any]) -> dict[str, Any]:
        """Say what each flag of an edited design contributes.

        Parameters
        ----------
        data : mapping
            The design as its file would have it. [-]

        Returns
        -------
        values : dict
            As `explain_json` gives them. [-]

        Raises
        ------
        InputError
            With every fault, or why there is no wall to explain.
        """
        design = self._design(data)
        with self.lock:
            return explain_json(explain(design, self.library, spec=self.spec))

    def _design(self, data: Mapping[str, Any]) -> Design:
        flags = data.get("flag")
        if isinstance(flags, list) and len(flags) > FLAGS_MOST:
            message = f"{len(flags)} flags. The page takes up to {FLAGS_MOST}."
            raise InputError(_SOURCE, [Fault("", None, None, message)])
        own = {key: value for key, value in data.items() if key != "library"}
        return design_from_data(own, self.library, _SOURCE)

    def _report(self, design: Design) -> Report:
        try:
            return evaluate(design, self.library)
        except ModelRangeError as error:
            raise InputError(_SOURCE, [Fault("", None, None, str(error))]) from error

    # ------------------------------------------------------------------ saving

    def saved(
        self, data: Mapping[str, Any], name: str, *, is_asked: bool, seen: str
    ) -> dict[str, Any]:
        """Save an edited design.

        Parameters
        ----------
        data : mapping
            The design as its file would have it. [-]
        name : str
            Of the file, in the folder. [-]
        is_asked : bool
            Whether a file that is there may be written over. [-]
        seen : str
            Version of the file that the page last opened or saved; it is only written
            over if it still is that one. [-]

        Returns
        -------
        values : dict
            Name and version of the file, and why it cannot be built yet. [-]

        Raises
        ------
        InputError
            With every fault of the design.
        RefusedError
            If the file is there and may not, or has changed since.
        """
        path = self._file(name)
        design = self._design(data)
        with self.lock:
            if is_asked and path.exists() and version_of(path) != seen:
                raise RefusedError(
                    f"{path.name} is not what this page last saw: another page or "
                    "program has written it. Save under another name, or open it.",
                    reason="changed",
                )
            try:
                save_design(design, path, self.library_folder, is_asked=is_asked)
            except FileExistsError as error:
                raise RefusedError(
                    f"{path.name} is there already.", reason="exists"
                ) from error
            version = version_of(path)
            obstacles = measured(design, self.library).obstacles
        return {
            "file": path.name,
            "seen": version,
            "obstacles": faults_json(obstacles),
            "cautions": list(CAUTIONS),
        }

    def sheet(
        self, data: Mapping[str, Any], name: str, *, is_asked: bool
    ) -> dict[str, Any]:
        """Write all papers of an edited design: sheet, workbook, patterns, lays, bill.

        Parameters
        ----------
        data : mapping
            The design as its file would have it. [-]
        name : str
            File name of the design; the papers' folder is named after it. [-]
        is_asked : bool
            Whether papers that are there may be written over. [-]

        Returns
        -------
        values : dict
            Folder of the papers, its files and what is in them. [-]

        Raises
        ------
        InputError
            With every fault, or why it cannot be built.
        RefusedError
            If there are such papers already.
        """
        folder = self.folder / f"sheet-{self._file(name).stem}"
        design = self._design(data)
        if folder.is_symlink():
            raise RefusedError(f"{folder.name} is a link.", reason="name")
        is_there = (folder / SHEET_NAME).exists() or (folder / MADE_FROM).exists()
        if is_there and not is_asked:
            raise RefusedError(f"{folder.name} holds papers already.", reason="exists")
        with self.lock:
            report = self._report(design)
            written = write_parts(report, self.library, folder, spec=self.spec)
        return {
            "folder": folder.name,
            "where": str(folder),
            "batch": BATCH,
            "files": [
                {
                    "name": path.name,
                    "what": shows(path),
                    "opens": path.suffix in OPENED,
                }
                for path in written.paths
            ],
            "notes": [
                f"{said}. {NO_LETTER} stands for what cannot be drawn"
                for said in written.undrawn
            ],
            "cautions": list(CAUTIONS),
        }

    def _file(self, name: str) -> Path:
        """Path of a design file in the folder; nothing else is ever touched."""
        stem = name.strip().removesuffix(".toml").strip()
        if (
            not stem
            or stem.startswith(".")
            or len(stem) > _NAME_MOST
            or _FILE_NAME.fullmatch(stem) is None
            or not stem.isprintable()
        ):
            raise RefusedError(
                "not a file name. Give letters, digits, blanks, '-', '_' or '.', at "
                f'most {_NAME_MOST}, none of / \\ : * ? " < > |, no point at its '
                "beginning.",
                reason="name",
            )
        path = self.folder / f"{stem}.toml"
        if path.is_symlink() or path.resolve().parent != self.folder:
            raise RefusedError(f"{path.name} is a link.", reason="name")
        return path

    def _free_name(self, stem: str) -> str:
        """Name of a file that is not there yet."""
        base = re.sub(r"-\d+$", "", stem)[: _NAME_MOST - 5]
        for number in range(2, 10_000):
            name = f"{base}-{number}.toml"
            if not (self.folder / name).exists():
                return name
        return ""


def version_of(path: Path) -> str:
    """Version of a file: a hash of what it holds.

    Parameters
    ----------
    path : Path
        A file. [-]

    Returns
    -------
    version : str
        Hexadecimal. [-]
    """
    return hashlib.sha256(path.read_bytes()).hexdigest()[:24]
