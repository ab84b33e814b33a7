"""The run folder: everything a run leaves, as text and plain arrays.

Every file is written under a temporary name, synced and renamed, so that a crash leaves
either the old file or the new one. Nothing that is read back is a pickle.
"""

import fcntl
import io
import json
import platform
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from model import (
    METRICS,
    Design,
    Fault,
    InputError,
    Library,
    angle_text,
    design_id,
    design_to_text,
    read_library,
    suggestion,
)
from optimiser.encoding import Encoding
from optimiser.files import write_bytes, write_table, write_text
from optimiser.search import State
from optimiser.spec import Spec, read_spec
from optimiser.words import ei_column

_SPEC, _LIBRARY, _RUN = "spec.toml", "library", "run.json"
_FRONT, _DESIGNS, _HISTORY = "front.csv", "designs", "history.csv"
_CHECKPOINT, _LOCK = "checkpoint.npz", ".lock"
#: Version of the run folder's layout.
FORMAT = 1
_HISTORY_COLUMNS = (
    "evaluations",
    "seconds",
    "evaluations_per_s",
    "feasible",
    "archive",
    "hypervolume",
)


@dataclass
class Run:
    """An open run folder."""

    folder: Path
    spec: Spec
    library: Library
    about: dict[str, Any]
    history: list[tuple[float, ...]] = field(default_factory=list)

    @property
    def front(self) -> pd.DataFrame:
        """One row a design; empty without a feasible one.

        Raises
        ------
        InputError
            If the table is not readable.
        """
        path = self.folder / _FRONT
        if not path.exists():
            return pd.DataFrame(columns=["id", *(m.column for m in METRICS)])
        try:
            front = pd.read_csv(path, dtype={"id": str})
        except (ValueError, pd.errors.ParserError) as error:
            raise InputError(str(path), [_unreadable(str(error))]) from error
        missing = [c for c in ("id", *(m.column for m in METRICS)) if c not in front]
        if missing:
            raise InputError(str(path), [_unreadable(f"no column '{missing[0]}'")])
        return front

    def history_table(self) -> pd.DataFrame:
        """How the search went."""
        return pd.DataFrame(self.history, columns=list(_HISTORY_COLUMNS))

    def design_path(self, identity: str) -> Path:
        """File of a design of the front.

        Parameters
        ----------
        identity : str
            Its id, or enough of its beginning. [-]

        Returns
        -------
        path : Path
            Design file. [-]

        Raises
        ------
        InputError
            If no design or more than one begins so.
        """
        paths = sorted((self.folder / _DESIGNS).glob("*.toml"))
        found = [path for path in paths if identity and path.stem.startswith(identity)]
        if len(found) == 1:
            return found[0]
        names = [path.stem for path in paths]
        if found:
            stems = ", ".join(path.stem for path in found[:5])
            message = f"{len(found)} designs begin so: {stems}. Give more of the id."
        elif names:
            message = f"no such design in this run. {suggestion(identity, names)}"
        else:
            message = "this run holds no design."
        raise InputError(str(self.folder), [Fault("", "design", identity, message)])


def _unreadable(why: str) -> Fault:
    return Fault(
        "", None, None, f"not a file of a run as this version writes it: {why}."
    )


def create_run(spec: Spec, library: Library, out: Path | None, now: datetime) -> Run:
    """Make the folder of a new run.

    Parameters
    ----------
    spec : Spec
        A checked spec. [SI]
    library : Library
        Its library. [-]
    out : Path or None
        Folder to make; None for one under results/ named by spec and time. [-]
    now : datetime
        Time of the start. [-]

    Returns
    -------
    run : Run
        With spec, library and run.json written. [-]

    Raises
    ------
    InputError
        If the folder is in use already.
    """
    if out is None:
        stem = "-".join(spec.name.split()) or "run"
        stem = "".join(c if c.isalnum() or c in "-_" else "-" for c in stem)
        folder = Path("results") / f"{stem}-{now:%Y%m%d-%H%M%S}"
        for n in range(2, 100):
            if not folder.exists():
                break
            folder = folder.with_name(f"{stem}-{now:%Y%m%d-%H%M%S}-{n}")
    else:
        folder = out
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        message = "is there already and not empty. Give another --out, or resume it."
        raise InputError(str(folder), [Fault("", None, None, message)])
    folder.mkdir(parents=True, exist_ok=True)
    # frozen as it was read, so that the run evaluates to the same numbers for ever
    for name, text in library.files.items():
        write_text(folder / _LIBRARY / name, text)
    write_text(folder / _SPEC, spec.text)
    options = {
        "seed": spec.search.seed,
        "evaluations": spec.search.evaluations,
        "time_s": spec.search.time,
        "population": spec.search.population,
    }
    about: dict[str, Any] = {
        "format": FORMAT,
        "spec": spec.name,
        "started": now.isoformat(timespec="seconds"),
        "options": options,
        "versions": {
            "plyfront": version("plyfront"),
            "python": platform.python_version(),
            **{name: version(name) for name in ("numpy", "numba", "pymoo", "moocore")},
        },
        "machine": {"system": platform.system(), "processor": platform.machine()},
        "state": "running",
    }
    run = Run(folder, spec, library, about)
    _write_about(run)
    return run


def open_run(folder: Path) -> Run:
    """Read a run folder.

    Parameters
    ----------
    folder : Path
        Folder of a run. [-]

    Returns
    -------
    run : Run
        With the spec's search options as the run was started. [-]

    Raises
    ------
    InputError
        If it is not the folder of a run, or something in it is not readable.
    """
    if not folder.is_dir() or not (folder / _RUN).exists():
        what = "not a folder" if not folder.is_dir() else f"holds no {_RUN}"
        message = f"is not the folder of a run: {what}."
        raise InputError(str(folder), [Fault("", None, None, message)])
    try:
        about = json.loads((folder / _RUN).read_text(encoding="utf-8"))
        options = about["options"]
        read_format = about["format"]
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(str(folder / _RUN), [_unreadable(repr(error))]) from error
    if read_format != FORMAT:
        message = f"written for format {read_format}; this version reads {FORMAT}."
        raise InputError(str(folder / _RUN), [Fault("", "format", None, message)])
    library = read_library(folder / _LIBRARY)
    spec = read_spec(folder / _SPEC, library)
    search = replace(
        spec.search,
        seed=options["seed"],
        evaluations=options["evaluations"],
        time=options["time_s"],
        population=options["population"],
    )
    run = Run(folder, replace(spec, search=search), library, about)
    path = folder / _HISTORY
    if path.exists():
        try:
            table = pd.read_csv(path)[list(_HISTORY_COLUMNS)]
        except (ValueError, KeyError, pd.errors.ParserError) as error:
            raise InputError(str(path), [_unreadable(str(error))]) from error
        run.history = [tuple(row) for row in table.itertuples(index=False)]
    return run


@contextmanager
def locked(run: Run) -> Iterator[None]:
    """Hold a run folder against a second process.

    Parameters
    ----------
    run : Run
        The run. [-]

    Yields
    ------
    None
        While the lock is held. [-]

    Raises
    ------
    InputError
        If another process works on the folder.
    """
    with (run.folder / _LOCK).open("w") as handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            message = "another process works on this run. Wait for it, or stop it."
            raise InputError(
                str(run.folder), [Fault("", None, None, message)]
            ) from error
        yield


def read_checkpoint(run: Run) -> State | None:
    """State of a search as last written.

    Parameters
    ----------
    run : Run
        The run. [-]

    Returns
    -------
    state : State or None
        None where the run was stopped before its first checkpoint. [-]

    Raises
    ------
    InputError
        If the checkpoint is not readable.
    """
    path = run.folder / _CHECKPOINT
    if not path.exists():
        return None
    try:
        with np.load(path, allow_pickle=False) as arrays:
            return State.from_arrays(dict(arrays))
    except (ValueError, KeyError, TypeError, OSError, zipfile.BadZipFile) as error:
        raise InputError(str(path), [_unreadable(str(error))]) from error


def write_checkpoint(run: Run, state: State, hypervolume: float) -> None:
    """Write the state of a search and a line of its history.

    Parameters
    ----------
    run : Run
        The run. [-]
    state : State
        The search's state. [-]
    hypervolume : float
        Share of the box. [-]
    """
    buffer = io.BytesIO()
    np.savez(buffer, **state.to_arrays())  # type: ignore[arg-type]
    write_bytes(run.folder / _CHECKPOINT, buffer.getvalue())
    progress = state.progress
    line = (
        progress.evaluations,
        round(progress.seconds, 3),
        round(progress.evaluations / max(progress.seconds, 1e-9), 1),
        progress.feasible,
        progress.archive,
        hypervolume,
    )
    if not run.history or run.history[-1][0] != progress.evaluations:
        run.history.append(line)
    write_table(run.folder / _HISTORY, run.history_table())


def write_front(run: Run, state: State, encoding: Encoding, how: str) -> None:
    """Write the front, its designs and how the run stands.

    Parameters
    ----------
    run : Run
        The run. [-]
    state : State
        The search's state. [-]
    encoding : Encoding
        Turns genomes into designs. [-]
    how : str
        "done" or "interrupted". [-]
    """
    archive = state.archive
    order = np.argsort(archive.F[:, 0], kind="stable")
    points = run.spec.ei_targets
    _, EI = encoding.measure(archive.genomes)
    rows = []
    texts = {}
    for i in order:
        design = encoding.design(archive.genomes[i], run.spec.name)
        design = replace(design, library=f"../{_LIBRARY}")
        identity = design_id(design, run.library)
        design = replace(design, name=f"{run.spec.name} {identity}")
        texts[identity] = design_to_text(design)
        row: dict[str, Any] = {"id": identity}
        for metric, value in zip(METRICS, archive.metrics[i], strict=True):
            row[metric.column] = float(f"{value * metric.scale:.12g}")
        for point, value in zip(points, EI[i], strict=True):
            row[ei_column(point.station)] = float(f"{value:.12g}")
        row["mandrel"] = design.shaft.mandrel
        row["mandrel_set_mm"] = round(design.shaft.mandrel_set * 1e3, 4)
        row["flags"] = compact_flags(design)
        rows.append(row)
    folder = run.folder / _DESIGNS
    folder.mkdir(exist_ok=True)
    for identity, text in texts.items():
        path = folder / f"{identity}.toml"
        if not path.exists():
            write_text(path, text)
    if rows:
        write_table(run.folder / _FRONT, pd.DataFrame(rows))
    for path in folder.glob("*.toml"):
        if path.stem not in texts:
            path.unlink()
    progress = state.progress
    run.about["state"] = how
    run.about["evaluations"] = progress.evaluations
    run.about["seconds"] = round(progress.seconds, 2)
    run.about["feasible"] = progress.feasible
    run.about["designs"] = archive.n
    run.about["first_feasible_evaluations"] = progress.first_feasible
    run.about["first_feasible_seconds"] = progress.first_feasible_seconds
    _write_about(run)


def set_budget(run: Run, evaluations: int | None, seconds: float | None) -> None:
    """Change how long a run is to go on.

    Parameters
    ----------
    run : Run
        The run; its spec and run.json are changed. [-]
    evaluations : int or None
        Whole evaluations, from the start; None leaves it. [-]
    seconds : float or None
        Time from the start; None leaves it. [s]
    """
    search = run.spec.search
    if evaluations is not None:
        search = replace(search, evaluations=evaluations)
        run.about["options"]["evaluations"] = evaluations
    if seconds is not None:
        search = replace(search, time=seconds)
        run.about["options"]["time_s"] = seconds
    run.spec = replace(run.spec, search=search)
    run.about["state"] = "running"
    _write_about(run)


def _write_about(run: Run) -> None:
    text = json.dumps(run.about, indent=2, ensure_ascii=False)
    write_text(run.folder / _RUN, text + "\n")


def compact_flags(design: Design) -> str:
    """Flags of a design in one readable line.

    Parameters
    ----------
    design : Design
        Any design. [SI]

    Returns
    -------
    text : str
        In rolling order, "material angle start-end x wraps" each. [mm]
    """
    return "; ".join(
        f"{flag.material} {angle_text(flag.angle, is_pair=flag.is_pair)} "
        f"{flag.start * 1e3:g}-{flag.end * 1e3:g} x{flag.wraps:g}"
        for flag in design.flags
    )
