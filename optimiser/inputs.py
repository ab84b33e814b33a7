"""What a command is given: specs, designs and scenarios, read with their library."""

import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path

from model import (
    Design,
    Fault,
    InputError,
    Library,
    Report,
    evaluate,
    open_design,
    read_design,
    read_library,
)
from optimiser.spec import Spec
from optimiser.spec_file import named_library, read_spec
from optimiser.store import Run

#: What tells the two kinds of file apart, by the tables that only one of them has.
_TABLES = {"design": {"flag"}, "target spec": {"place", "targets"}}
_TAKEN_BY = {
    "design": "plyfront evaluate  takes a design",
    "target spec": "plyfront search  takes a target spec",
}


def load_spec(path: Path, library: Path | None) -> tuple[Spec, Library]:
    """Read a spec and the library that goes with it.

    Parameters
    ----------
    path : Path
        Spec file. [-]
    library : Path or None
        Library folder; None for the one the spec names, or the packaged one. [-]

    Returns
    -------
    spec, library : Spec, Library
        Checked. [SI]

    Raises
    ------
    InputError
        With every fault of the spec, or of the library.
    """
    tables = read_library(library if library is not None else named_library(path))
    with _wanted("target spec", path):
        return read_spec(path, tables), tables


def load_design(path: Path, library: Path | None) -> tuple[Design, Library]:
    """Read a design and the library that goes with it.

    Parameters
    ----------
    path : Path
        Design file. [-]
    library : Path or None
        Library folder instead of the design's own. [-]

    Returns
    -------
    design, library : Design, Library
        Checked. [SI]

    Raises
    ------
    InputError
        With every fault of the design, or of the library.
    """
    tables = read_library(library) if library is not None else None
    with _wanted("design", path):
        return open_design(path, tables)


@contextmanager
def _wanted(kind: str, path: Path) -> Iterator[None]:
    """One fault instead of one a table where a file is of the other kind."""
    try:
        yield
    except InputError as error:
        is_of = _kind(path)
        if is_of in (None, kind):
            raise
        message = f"this is a {is_of}. Give a {kind} here; {_TAKEN_BY[is_of]}."
        raise InputError(str(path), [Fault("", None, None, message)]) from error


def _kind(path: Path) -> str | None:
    """Of which kind a file is, if it has tables of one kind alone."""
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8")).keys()
    except (OSError, ValueError):
        return None
    kinds = [kind for kind, own in _TABLES.items() if own & tables]
    return kinds[0] if len(kinds) == 1 else None


def evaluate_file(
    path: Path, library: Path | None, *, exact: bool = False
) -> tuple[Report, Library]:
    """Read and evaluate a design file.

    Parameters
    ----------
    path : Path
        Design file. [-]
    library : Path or None
        Library folder instead of the design's own. [-]
    exact : bool
        With the section of three-dimensional elasticity. [-]

    Returns
    -------
    report, library : Report, Library
        What is predicted. [SI]

    Raises
    ------
    InputError
        With every fault of the design, or why it cannot be built.
    """
    design, tables = load_design(path, library)
    try:
        return evaluate(design, tables, exact=exact), tables
    except InputError as error:
        raise InputError(str(path), error.faults) from error


def reports_of(run: Run, identities: list[str]) -> list[Report]:
    """Evaluate designs of a run's front.

    Parameters
    ----------
    run : Run
        An open run. [-]
    identities : list of str
        Ids. [-]

    Returns
    -------
    reports : list of Report
        In the same order. [SI]
    """
    return [
        evaluate(read_design(run.design_path(identity), run.library), run.library)
        for identity in identities
    ]


def packaged_scenarios() -> Path:
    """Folder of the packaged scenarios, in a wheel or in the source tree.

    Returns
    -------
    folder : Path
        One folder a scenario, each with a spec.toml. [-]
    """
    packaged = Path(str(files("optimiser"))) / "scenarios"
    return packaged if packaged.is_dir() else packaged.parents[1] / "scenarios"
