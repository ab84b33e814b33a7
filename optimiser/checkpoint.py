"""Checkpoint and history of a run: where a search stands, and how it came there."""

import io
import math
import zipfile

import numpy as np

from model import METRICS, InputError
from optimiser.encoding import Encoding
from optimiser.files import write_bytes, write_table
from optimiser.search import Progress, State
from optimiser.store import CHECKPOINT, HISTORY, Run, unreadable


def read_checkpoint(run: Run, encoding: Encoding) -> State | None:
    """State of a search as last written.

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
    path = run.folder / CHECKPOINT
    if not path.exists():
        return None
    try:
        held = io.BytesIO(path.read_bytes())
        with np.load(held, allow_pickle=False) as arrays:
            state = State.from_arrays(dict(arrays))
        misfit = _misfit(state, encoding)
    except (
        ValueError,
        KeyError,
        TypeError,
        AttributeError,
        IndexError,
        EOFError,
        OSError,
        zipfile.BadZipFile,
    ) as error:
        raise InputError(str(path), [unreadable(str(error))]) from error
    if misfit:
        raise InputError(str(path), [unreadable(misfit)])
    return state


def _misfit(state: State, encoding: Encoding) -> str:
    """Why a state cannot be one of a spec; nothing if it can."""
    n_objectives = len(encoding.spec.trades)
    choices = encoding.n_choices
    for designs in (state.population, state.archive):
        n = designs.n
        wanted = {
            "genomes": (n, encoding.n_genes),
            "metrics": (n, len(METRICS)),
            "F": (n, n_objectives),
            "violation": (n,),
        }
        for name, shape in wanted.items():
            if getattr(designs, name).shape != shape:
                found = getattr(designs, name).shape
                return f"{name} are {found}, and {shape} fit the spec"
        genomes = designs.genomes
        if genomes.dtype != np.int64 or ((genomes < 0) | (genomes >= choices)).any():
            return "it holds choices that the spec does not give"
    if state.reference.shape != (n_objectives,) or state.ideal.shape != (n_objectives,):
        return "its reference point does not fit the spec"
    if state.memory.ndim != 1 or state.memory.dtype != np.uint64:
        return "its memory is not one of hashes"
    return ""


def write_checkpoint(run: Run, state: State) -> None:
    """Write the state of a search, and its history so far.

    Parameters
    ----------
    run : Run
        The run. [-]
    state : State
        The search's state. [-]
    """
    buffer = io.BytesIO()
    np.savez(buffer, **state.to_arrays())  # type: ignore[arg-type]
    write_bytes(run.folder / CHECKPOINT, buffer.getvalue())
    write_table(run.folder / HISTORY, run.history)


def add_history(
    run: Run, progress: Progress, rate: float | None, hypervolume: float
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
    """
    line = (
        progress.evaluations,
        round(progress.seconds, 3),
        math.nan if rate is None else round(rate, 1),
        progress.feasible,
        progress.archive,
        hypervolume,
    )
    # a killed run has lines beyond the checkpoint that it goes on from
    run.rows = [row for row in run.rows if row[0] < progress.evaluations] + [line]
