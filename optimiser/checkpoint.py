"""Checkpoint and history of a run: where a search stands, and how it came there."""

import io
import math
import shlex
import zipfile
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from model import METRICS, Fault, InputError
from optimiser.course import Arrays, Course, Solo, Stall
from optimiser.encoding import Encoding
from optimiser.files import write_bytes, write_table
from optimiser.islands import ISLANDS, Islands
from optimiser.run_folder import (
    ASIDE,
    CHECKPOINT,
    CONDITIONS,
    FRONT,
    HISTORY,
    LIBRARY,
    SPEC,
    SPECS,
    STARTS,
)
from optimiser.state import Progress, State
from optimiser.store import Run, unreadable

#: What comes of a file that is not one of arrays, or not of those that it should hold.
_NOT_READ = (
    ValueError,
    KeyError,
    TypeError,
    AttributeError,
    IndexError,
    EOFError,
    OSError,
    zipfile.BadZipFile,
)


def read_checkpoint(run: Run, encoding: Encoding) -> State | None:
    """What a run had found when its checkpoint was written.

    Parameters
    ----------
    run : Run
        The run. [-]
    encoding : Encoding
        Its choices, which the state must fit. [-]

    Returns
    -------
    state : State or None
        None where the run was stopped before its first checkpoint. [-]

    Raises
    ------
    InputError
        If the checkpoint is not readable, or is one of another spec.
    """
    if not (run.folder / CHECKPOINT).exists():
        return None
    return read_course(run, encoding).found()


def read_course(run: Run, encoding: Encoding) -> Course:
    """The course of a run as last written; a new one where nothing is written yet.

    Parameters
    ----------
    run : Run
        The run. [-]
    encoding : Encoding
        Its choices, which the states must fit. [-]

    Returns
    -------
    course : Course
        One search, or islands where the spec has several. [-]

    Raises
    ------
    InputError
        If the checkpoint is not readable, is one of another spec, or is gone from a run
        that has had one.
    """
    path = run.folder / CHECKPOINT
    kind: type[Solo] | type[Islands] = Solo
    if encoding.spec.search.islands > 1:
        kind = Islands
    budget = run.budget
    stall = Stall(budget.stall, budget.stall_evaluations)
    if not path.exists():
        if any((run.folder / name).exists() for name in (HISTORY, FRONT)):
            # both come after a checkpoint; begun anew, the run would lose its front
            message = "is not there any more; the run cannot go on without it."
            raise _lost(run, Fault("", None, None, message))
        return _begun(run, kind(encoding, stall))
    try:
        held = io.BytesIO(path.read_bytes())
        with np.load(held, allow_pickle=False) as opened:
            arrays: Arrays = dict(opened)
        measured = int(arrays.pop(CONDITIONS, np.array(0)))
        is_current = measured == run.about.get(CONDITIONS, 0)
        if (kind is Islands) != (ISLANDS in arrays):
            raise ValueError("its number of islands is not that of the run")
        course = kind.from_arrays(encoding, stall, arrays)
        found = (_misfit(s, encoding, whole=is_current) for s in course.states)
        misfit = next(filter(None, found), "")
    except _NOT_READ as error:
        raise _lost(run, unreadable(str(error))) from error
    if misfit:
        raise _lost(run, unreadable(misfit))
    if is_current:
        return course
    # library or spec have changed since it was written
    return course.measured_anew(encoding, _aside(run, encoding))


def set_aside(run: Run, course: Course) -> None:
    """Keep the front of a run: what misses what is asked next may keep it some day.

    Parameters
    ----------
    run : Run
        The run; its folder is locked. [-]
    course : Course
        As it measures before the change. [-]
    """
    genomes = course.found().archive.genomes
    if len(genomes):
        both = np.concatenate([_aside(run, course.encoding), genomes])
        buffer = io.BytesIO()
        np.savez(buffer, genomes=np.unique(both, axis=0))
        write_bytes(run.folder / ASIDE, buffer.getvalue())


def _aside(run: Run, encoding: Encoding) -> NDArray[np.int64]:
    """Genomes of former fronts of a run, of the same choices."""
    path = run.folder / ASIDE
    if not path.exists():
        return np.zeros((0, encoding.n_genes), dtype=np.int64)
    try:
        with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as opened:
            genomes: NDArray[np.int64] = opened["genomes"]
        if genomes.dtype != np.int64:
            raise ValueError("it holds no genomes")
        if ((genomes < 0) | (genomes >= encoding.n_choices)).any():
            raise ValueError("it holds choices that the spec does not give")
        genomes = genomes.reshape(-1, encoding.n_genes)
    except _NOT_READ as error:
        raise InputError(str(path), [unreadable(str(error))]) from error
    return genomes


def _lost(run: Run, fault: Fault) -> InputError:
    """What a run without its checkpoint is told: what is left of it, and for what."""
    if (run.folder / FRONT).exists():
        words: list[object] = ["plyfront", "search", run.folder / SPEC]
        words += ["--library", run.folder / LIBRARY, "--start-from", run.folder]
        words += [word for held in run.starts.held for word in ("--hold", held.place)]
        if run.spec.search.islands > 1:
            words += ["--islands", run.spec.search.islands]
        again = shlex.join(map(str, words))
        advice = (
            f"The designs of {FRONT} are left; a new run begins with them:  {again}"
        )
        fault = replace(fault, message=f"{fault.message} {advice}")
    return InputError(str(run.folder / CHECKPOINT), [fault])


def _begun(run: Run, course: Course) -> Course:
    """A new course, with the designs that the run was started from."""
    try:
        course.begin(run.starts.genomes(course.encoding))
    except ValueError as error:
        path = run.folder / STARTS
        raise InputError(str(path), [unreadable(str(error))]) from error
    return course


def _misfit(state: State, encoding: Encoding, *, whole: bool) -> str:
    """Why a state, or its genomes alone, cannot be of a spec; nothing if it can."""
    n_objectives = len(encoding.spec.trades)
    choices = encoding.n_choices
    for designs in (state.population, state.nursery, state.archive):
        n = designs.n
        wanted = {
            "genomes": (n, encoding.n_genes),
            "metrics": (n, len(METRICS)),
            "EI": (n, len(encoding.spec.ei_targets)),
            "F": (n, n_objectives),
            "violation": (n,),
        }
        for name, shape in wanted.items():
            if not whole and name != "genomes":
                continue
            if getattr(designs, name).shape != shape:
                found = getattr(designs, name).shape
                return f"{name} are {found}, and {shape} fit the spec"
        genomes = designs.genomes
        if genomes.dtype != np.int64 or ((genomes < 0) | (genomes >= choices)).any():
            return "it holds choices that the spec does not give"
    corners = {state.reference.shape, state.ideal.shape}
    if whole and corners != {(n_objectives,)}:
        return "its reference point does not fit the spec"
    if state.memory.ndim != 1 or state.memory.dtype != np.uint64:
        return "its memory is not one of hashes"
    return ""


def write_checkpoint(run: Run, course: Course) -> None:
    """Write where a run stands, and its history so far.

    Parameters
    ----------
    run : Run
        The run. [-]
    course : Course
        What it follows. [-]
    """
    buffer = io.BytesIO()
    count = np.array(run.about.get(CONDITIONS, 0))
    arrays = course.to_arrays() | {CONDITIONS: count}
    np.savez(buffer, **arrays)  # type: ignore[arg-type]
    write_bytes(run.folder / CHECKPOINT, buffer.getvalue())
    write_table(run.folder / HISTORY, run.history)


def add_history(
    run: Run,
    progress: Progress,
    rate: float | None,
    hypervolume: float,
    left: float | None = None,
) -> None:
    """Add a line to the history; it is written with the next checkpoint.

    Parameters
    ----------
    run : Run
        The run. [-]
    progress : Progress
        Where its search stands. [-]
    rate : float or None
        Evaluations per second of late; None where it is not known. [1/s]
    hypervolume : float
        Share of the box. [-]
    left : float or None
        Time until it stops; None where it is not known. [s]
    """
    line = (
        progress.evaluations,
        round(progress.seconds, 3),
        math.nan if rate is None else round(rate, 1),
        progress.feasible,
        progress.archive,
        hypervolume,
        progress.feasible / max(progress.evaluations, 1),
        math.nan if left is None else round(left),
        len(run.about.get(SPECS, ())) + 1,
    )
    # a killed run has lines beyond the checkpoint that it goes on from
    run.rows = [row for row in run.rows if row[0] < progress.evaluations] + [line]
