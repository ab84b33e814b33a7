"""The design that a command is about: a file of its own, or one of a run."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path

from model import Design, Fault, InputError, Library, design_to_text
from optimiser.files import write_new_text, write_text
from optimiser.inputs import load_design, load_spec
from optimiser.run_folder import ABOUT
from optimiser.sheet_record import MADE_FROM, SPEC
from optimiser.spec import Spec
from optimiser.store import Run, open_run


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """A design, and what goes with it."""

    design: Design
    path: Path  #: its file
    library: Library
    library_folder: Path | None  #: where that was read from; None for the packaged one
    spec: Spec | None  #: whose bands it is held against, if any
    run: Run | None  #: the run it is of, if it is


def choose(
    source: Path,
    *,
    design: str | None = None,
    library: Path | None = None,
    spec: Path | None = None,
) -> Chosen:
    """Open the design that a command is about.

    Parameters
    ----------
    source : Path
        A design file, or a run folder. [-]
    design : str or None
        Id of a design of the run, or enough of its beginning. [-]
    library : Path or None
        Library folder instead of the file's own. [-]
    spec : Path or None
        Spec file for a design file; without, that of the run or sheet it lies in. A run
        folder has its own. [-]

    Returns
    -------
    chosen : Chosen
        Checked. [SI]

    Raises
    ------
    InputError
        With every fault, of what was asked or of the files.
    """
    if source.is_dir():
        return _of_run(source, design, library, spec)
    if design is not None:
        message = "goes with a run folder; a design file is one design."
        raise InputError(str(source), [Fault("", "--design", design, message)])
    opened, tables = load_design(source, library)
    held = load_spec(spec, library)[0] if spec is not None else known_spec(source)
    folder = library
    if folder is None and opened.library is not None:
        folder = source.parent / opened.library
    return Chosen(
        design=opened,
        path=source,
        library=tables,
        library_folder=folder,
        spec=held,
        run=None,
    )


def known_spec(path: Path) -> Spec | None:
    """Find the spec that a design was made for.

    Parameters
    ----------
    path : Path
        A design file. [-]

    Returns
    -------
    spec : Spec or None
        Where the design lies in a run, or beside a sheet; None elsewhere. [SI]
    """
    try:
        if path.parent.name == MADE_FROM and (path.parent / SPEC).exists():
            return load_spec(path.parent / SPEC, None)[0]
        folder = path.resolve().parent.parent
        return open_run(folder).spec if (folder / ABOUT).exists() else None
    except InputError:
        return None  # a design is what it is whatever became of its run


def _of_run(
    source: Path, design: str | None, library: Path | None, spec: Path | None
) -> Chosen:
    faults = []
    for option, given in (("--library", library), ("--spec", spec)):
        if given is not None:
            message = "goes with a design file; a run has its own."
            faults.append(Fault("", option, str(given), message))
    if not (source / ABOUT).exists():
        faults.append(Fault("", None, None, "neither a design file nor a run folder."))
    elif not design:
        message = "missing. Say which design of the run: its id, or its beginning."
        faults.append(Fault("", "--design", None, message))
    if faults:
        raise InputError(str(source), faults)
    run = open_run(source)
    path = run.design_path(str(design))
    opened, _ = load_design(path, None)
    return Chosen(
        design=opened,
        path=path,
        library=run.library,
        library_folder=path.parent / str(opened.library) if opened.library else None,
        spec=run.spec,
        run=run,
    )


def save_design(
    design: Design, path: Path, library_folder: Path | None, *, is_asked: bool = False
) -> Path:
    """Write a design file that finds its library from where it stands.

    Parameters
    ----------
    design : Design
        Any design. [SI]
    path : Path
        File to write. [-]
    library_folder : Path or None
        Folder of its library; None for the packaged one. [-]
    is_asked : bool
        Whether a file that is there may be written over. [-]

    Returns
    -------
    path : Path
        The same path. [-]

    Raises
    ------
    FileExistsError
        If the file is there and nobody asked to write over it.
    """
    found = None
    if library_folder is not None:
        found = Path(
            os.path.relpath(library_folder.resolve(), path.parent.resolve())
        ).as_posix()
    text = design_to_text(replace(design, library=found))
    return write_text(path, text) if is_asked else write_new_text(path, text)
