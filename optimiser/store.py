"""The run folder: everything a run leaves, as text and plain arrays.

Every file is written under a temporary name, synced and renamed, so that a crash leaves
either the old file or the new one. Nothing that is read back is a pickle.
"""

import json
import platform
import shlex
import shutil
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import pandas as pd

from model import (
    METRICS,
    Fault,
    InputError,
    Library,
    processor,
    read_library,
    suggestion,
)
from optimiser.budget import Budget
from optimiser.files import write_text
from optimiser.run_folder import (
    ABOUT,
    DESIGNS,
    EXACT,
    FRONT,
    HISTORY,
    LIBRARY,
    LOCK,
    NEW_LIBRARY,
    SPEC,
    STARTS,
    refuse_used,
)
from optimiser.spec import SearchOptions, Spec
from optimiser.spec_file import read_spec
from optimiser.starts import Starts, starts_from_text, with_held
from optimiser.words import ei_column

#: Version of the run folder's layout.
FORMAT: Final = 1
HISTORY_COLUMNS: Final = (
    "evaluations",
    "seconds",
    "evaluations_per_s",
    "feasible",
    "archive",
    "hypervolume",
    "feasible_share",
    "left_s",
    "spec",
)
#: Columns that a history of an earlier version may lack.
_NEW_COLUMNS: Final = ("feasible_share", "left_s", "spec")
_PACKAGES: Final = ("numpy", "numba", "scipy", "pymoo", "moocore", "pandas")
_DEFAULTS: Final = SearchOptions()
_NO_STARTS: Final = Starts()


@dataclass
class Run:
    """An open run folder."""

    folder: Path
    spec: Spec  #: with the seed and population that the run was started with
    library: Library
    about: dict[str, Any]  #: what run.json holds
    starts: Starts = field(default_factory=Starts)  #: what it was started from
    rows: list[tuple[float, ...]] = field(default_factory=list)  #: of the history

    @property
    def state(self) -> str:
        """One of "running", "done", "interrupted"; a killed run stays "running"."""
        return str(self.about["state"])

    @property
    def budget(self) -> Budget:
        """After how much it stops."""
        options = self.about["options"]
        return Budget(
            options["evaluations"],
            options["time_s"],
            options["stall"],
            options["stall_evaluations"],
        )

    @property
    def front(self) -> pd.DataFrame:
        """One row a design; empty where none was feasible, or none is written yet.

        Raises
        ------
        InputError
            If the table is not readable.
        """
        numbers = [metric.column for metric in METRICS]
        numbers += [ei_column(point.station) for point in self.spec.ei_targets]
        path = self.folder / FRONT
        if not path.exists():
            return pd.DataFrame(columns=["id", *numbers])
        front = _read_table(path, ("id", *numbers), numbers)
        twice = front["id"][front["id"].duplicated()]
        if len(twice):
            raise InputError(str(path), [unreadable(f"design {twice.iloc[0]} twice")])
        return front

    @property
    def exact(self) -> pd.DataFrame:
        """Metrics of the front's designs with the exact section, a row a design.

        Empty where an earlier version wrote the front, which did not keep them.

        Raises
        ------
        InputError
            If the table is not readable.
        """
        numbers = [metric.column for metric in METRICS]
        path = self.folder / EXACT
        if not path.exists():
            return pd.DataFrame(columns=["id", *numbers])
        return _read_table(path, ("id", *numbers), numbers)

    @property
    def history(self) -> pd.DataFrame:
        """How the search went."""
        return pd.DataFrame(self.rows, columns=list(HISTORY_COLUMNS))

    @property
    def designs(self) -> dict[str, Path]:
        """Design files by id."""
        return {
            path.stem: path for path in sorted((self.folder / DESIGNS).glob("*.toml"))
        }

    def require_designs(self) -> None:
        """Make sure that each design of the front has its file.

        Raises
        ------
        InputError
            If some have none any more.
        """
        names = list(self.front["id"].astype(str))
        designs = self.designs
        if gone := [name for name in names if name not in designs]:
            again = shlex.join(["plyfront", "resume", str(self.folder)])
            message = (
                f"{len(gone):,} of the {len(names):,} designs of {FRONT} are not there "
                f"any more, such as {gone[0]}. Write them again:  {again}"
            )
            raise InputError(
                str(self.folder / DESIGNS), [Fault("", None, None, message)]
            )

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
        designs = self.designs
        if identity in designs:
            return designs[identity]
        found = [name for name in designs if identity and name.startswith(identity)]
        if len(found) == 1:
            return designs[found[0]]
        if found:
            message = (
                f"{len(found)} designs begin so: {', '.join(found[:5])}"
                f"{', ...' if len(found) > 5 else ''}. Give more of the id."
            )
        elif designs:
            near = [name for name in designs if _is_slip(identity, name)]
            hint = (
                suggestion(identity, near)
                if near
                else f"It may have left the front since; {FRONT} names those on it."
            )
            message = f"no such design in this run. {hint}"
        else:
            message = "this run holds no design."
        raise InputError(str(self.folder), [Fault("", "design", identity, message)])


def _is_slip(written: str, name: str) -> bool:
    """Whether a name may have been meant; most names are as unlike as any two."""
    if len(written) != len(name):
        return False
    return sum(a != b for a, b in zip(written, name, strict=True)) <= 2


def unreadable(why: str) -> Fault:
    """Fault of a file that no run of this version has written.

    Parameters
    ----------
    why : str
        What is wrong with it. [-]

    Returns
    -------
    fault : Fault
        For an InputError about the file. [-]
    """
    return Fault(
        "", None, None, f"not a file of a run as this version writes it: {why}."
    )


def _with(fault: Fault, advice: str) -> Fault:
    return replace(fault, message=f"{fault.message} {advice}")


def _read_table(
    path: Path, columns: tuple[str, ...], numbers: list[str]
) -> pd.DataFrame:
    """Table with all of some columns; some of them numbers."""
    try:
        table = pd.read_csv(path, dtype={"id": str})
        missing = [name for name in columns if name not in table]
        if missing:
            raise InputError(str(path), [unreadable(f"no column '{missing[0]}'")])
        for name in numbers:
            table[name] = pd.to_numeric(table[name])
    except (ValueError, pd.errors.ParserError) as error:
        raise InputError(str(path), [unreadable(str(error))]) from error
    return table


# -------------------------------------------------------------------------- creation


def create_run(
    folder: Path,
    spec: Spec,
    library: Library,
    budget: Budget,
    now: datetime,
    origin: Path | None = None,
    starts: Starts = _NO_STARTS,
) -> Run:
    """Write what a new run starts from into a folder that is locked.

    Parameters
    ----------
    folder : Path
        From ``new_folder``. [-]
    spec : Spec
        A checked spec. [SI]
    library : Library
        Its library. [-]
    budget : Budget
        After how much it stops. [-]
    now : datetime
        Time of the start. [-]
    origin : Path or None
        Folder that the library was read from; None for the packaged one. [-]
    starts : Starts
        Designs that it is started from, and what the spec holds of them. [-]

    Returns
    -------
    run : Run
        With spec, library and run.json written. [-]

    Raises
    ------
    InputError
        If somebody else has used the folder meanwhile.
    OSError
        If it cannot be written to; what was begun is taken away again.
    """
    refuse_used(folder)
    about: dict[str, Any] = {
        "format": FORMAT,
        "spec": spec.name,
        "state": "running",
        "started": now.isoformat(timespec="seconds"),
        "options": {
            "seed": spec.search.seed,
            "evaluations": budget.evaluations,
            "time_s": budget.seconds,
            "population": spec.search.population,
            "islands": spec.search.islands,
            "exchange": spec.search.exchange,
            "stall": budget.stall,
            "stall_evaluations": budget.stall_evaluations,
        },
        "library_folder": str(origin.resolve()) if origin is not None else None,
        "versions": versions(),
        "machine": {"system": platform.system(), "processor": platform.machine()},
    }
    run = Run(folder, spec, library, about, starts)
    if starts.designs:
        about["started_from"] = sum(s.genome is not None for s in starts.designs)
    try:
        # frozen as it was read, so that the run evaluates to the same numbers for ever
        for name, text in library.files.items():
            write_text(folder / LIBRARY / name, text)
        write_text(folder / SPEC, spec.text)
        if starts.designs:
            write_text(folder / STARTS, starts.to_text())
        # last, since it is what makes the folder that of a run
        write_about(run)
    except OSError as error:
        shutil.rmtree(folder / LIBRARY, ignore_errors=True)
        with suppress(OSError):
            (folder / SPEC).unlink(missing_ok=True)
            (folder / STARTS).unlink(missing_ok=True)
        error.add_note("nothing was searched yet; the folder is as it was")
        raise
    return run


def versions() -> dict[str, str]:
    """Versions of what a run depends on.

    Returns
    -------
    versions : dict
        By name. [-]
    """
    own = {
        "plyfront": version("plyfront"),
        "python": platform.python_version(),
        "processor": processor(),
    }
    return own | {name: version(name) for name in _PACKAGES}


def write_about(run: Run) -> None:
    """Write run.json.

    Parameters
    ----------
    run : Run
        The run. [-]
    """
    text = json.dumps(run.about, indent=2, ensure_ascii=False, allow_nan=False)
    write_text(run.folder / ABOUT, text + "\n")


def set_budget(run: Run, budget: Budget) -> None:
    """Change how long a run is to go on.

    Parameters
    ----------
    run : Run
        The run, changed. [-]
    budget : Budget
        Counted from its start. [-]
    """
    run.about["options"] |= {
        "evaluations": budget.evaluations,
        "time_s": budget.seconds,
        "stall": budget.stall,
        "stall_evaluations": budget.stall_evaluations,
    }


# --------------------------------------------------------------------------- reading


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
    if not folder.is_dir() or not (folder / ABOUT).exists():
        what = f"holds no {ABOUT}."
        if not folder.is_dir():
            what = "is a file." if folder.exists() else "no such folder."
        elif (folder / LOCK).exists():
            what += (
                " If it was to become one, its start was cut off before anything was "
                "searched; delete it and start again."
            )
        message = f"is not the folder of a run: {what}"
        raise InputError(str(folder), [Fault("", None, None, message)])
    about = _read_about(folder / ABOUT)
    where = folder / LIBRARY
    if not where.exists() and (folder / NEW_LIBRARY).exists():
        # killed between the two steps in which a new library takes its place
        where = folder / NEW_LIBRARY
    library = read_library(where)
    spec = read_spec(folder / SPEC, library)
    starts = _read_starts(folder, about)
    try:
        spec = with_held(spec, starts.held)
    except ValueError as error:
        raise InputError(str(folder / STARTS), [unreadable(str(error))]) from error
    options = about["options"]
    search = replace(
        spec.search,
        seed=options["seed"],
        population=options["population"],
        islands=options["islands"],
        exchange=options["exchange"],
    )
    run = Run(folder, replace(spec, search=search), library, about, starts)
    path = folder / HISTORY
    if path.exists():
        known = [name for name in HISTORY_COLUMNS if name not in _NEW_COLUMNS]
        try:
            table = _read_table(path, tuple(known), known)
        except InputError as error:
            message = (
                "It is the record of how the run went; delete it to go on without."
            )
            raise InputError(str(path), [_with(error.faults[0], message)]) from error
        columns = table.reindex(columns=list(HISTORY_COLUMNS))
        run.rows = [tuple(row) for row in columns.itertuples(index=False)]
    return run


def _read_starts(folder: Path, about: dict[str, Any]) -> Starts:
    """What a run was started from; nothing for most."""
    if "started_from" not in about:
        return _NO_STARTS
    path = folder / STARTS
    try:
        return starts_from_text(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        message = "is not there, and the run was started from designs it holds."
        raise InputError(str(path), [Fault("", None, None, message)]) from error
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise InputError(str(path), [unreadable(str(error))]) from error


def _read_about(path: Path) -> dict[str, Any]:
    """Contents of run.json, as far as they are relied upon."""
    try:
        about = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as error:
        raise InputError(str(path), [unreadable(str(error))]) from error
    if not isinstance(about, dict) or "format" not in about:
        raise InputError(str(path), [unreadable("no format")])
    if about["format"] != FORMAT:
        message = f"written for format {about['format']}; this version reads {FORMAT}."
        raise InputError(str(path), [Fault("", "format", None, message)])
    options = about.get("options")
    if not isinstance(options, dict):
        raise InputError(str(path), [unreadable("no options")])
    # runs of an earlier version are one search without a rule about stalls
    for key in ("islands", "exchange", "stall", "stall_evaluations"):
        options.setdefault(key, getattr(_DEFAULTS, key))
    faults = []
    if about.get("state") not in {"running", "done", "interrupted"}:
        faults.append(unreadable("no state"))
    for key, least, kinds in (
        ("seed", 0, (int,)),
        ("population", 20, (int,)),
        ("evaluations", 1, (int, type(None))),
        ("time_s", 0, (int, float, type(None))),
        ("islands", 1, (int,)),
        ("exchange", 1, (int,)),
        ("stall", 0, (int, float)),
        ("stall_evaluations", 1, (int,)),
    ):
        value = options.get(key, "nothing")
        is_good = isinstance(value, kinds) and not isinstance(value, bool)
        if not is_good or (value is not None and not value >= least):
            faults.append(unreadable(f"options, {key} = {value!r}"))
    if faults:
        raise InputError(str(path), faults)
    return about
