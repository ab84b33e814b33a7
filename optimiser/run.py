"""A run from spec to front, and on from where it stopped."""

import signal
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from time import monotonic
from types import FrameType

import numpy as np

from model import (
    Design,
    InputError,
    Library,
    Report,
    evaluate,
    evaluate_batch,
    open_design,
    read_design,
    read_library,
)
from optimiser.checkpoint import add_history, read_checkpoint, write_checkpoint
from optimiser.encoding import Encoding, encode
from optimiser.files import write_text
from optimiser.front import design_file, write_front
from optimiser.misses import misses
from optimiser.search import Progress, Search, State
from optimiser.spec import Spec
from optimiser.spec_file import named_library, read_spec
from optimiser.store import (
    LIBRARY,
    NEAREST,
    Budget,
    Run,
    create_run,
    locked,
    new_folder,
    open_run,
    set_budget,
    versions,
    write_about,
)

#: Time between two checkpoints. [s]
CHECKPOINT_EVERY = 20.0
#: Time between two words to a listener. [s]
_TELL_EVERY = 0.25
#: The hypervolume takes at most this share of the time.
_HYPERVOLUME_SHARE = 0.02
#: The rate is taken over this many words to a listener.
_RATE_OVER = 40
_WARM_UP_POPULATION = 20
#: Generations in a row without a new design after which there is no more to find.
_BARREN_MOST = 12
#: Lines of the history lie this far apart, and this much further as a run goes on.
_HISTORY_STEP, _HISTORY_GROWTH = 0.25, 1.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where a run stands, for whoever listens."""

    progress: Progress
    hypervolume: float  #: share of the box [-]
    rate: float | None  #: evaluations per second of late; None until known [1/s]
    budget: Budget
    is_stopping: bool  #: it was asked to stop and writes what it has
    trouble: str  #: why the last checkpoint could not be written; else empty


Listener = Callable[[Standing], None]


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
    return read_spec(path, tables), tables


def run_spec(
    path: Path,
    *,
    library: Path | None = None,
    out: Path | None = None,
    seed: int | None = None,
    evaluations: int | None = None,
    seconds: float | None = None,
    listener: Listener | None = None,
) -> Run:
    """Search a spec into a new run folder.

    Parameters
    ----------
    path : Path
        Spec file. [-]
    library : Path or None
        Library folder; None for the one the spec names, or the packaged one. [-]
    out : Path or None
        Run folder to make; None for one under results/. [-]
    seed : int or None
        Instead of the spec's. [-]
    evaluations, seconds : int or None, float or None
        After how much to stop, the one or the other or whichever comes first; instead
        of what the spec says of both. [-, s]
    listener : callable or None
        Told a few times a second where the run stands. [-]

    Returns
    -------
    run : Run
        Its ``state`` says whether it was interrupted. [-]

    Raises
    ------
    InputError
        Before anything is written, if spec, library or folder are faulty.
    OSError
        If the folder cannot be written to; what was written before is intact.
    """
    spec, tables = load_spec(path, library)
    if seed is not None:
        spec = replace(spec, search=replace(spec.search, seed=seed))
    asked = Budget(spec.search.evaluations, spec.search.time)
    budget = _budget(evaluations, seconds, asked)
    encoding = encode(spec, tables)
    _warm_up(encoding)
    now = datetime.now().astimezone()
    folder = new_folder(spec, out, now)
    with locked(folder), _interruptible() as stop:
        run = create_run(folder, spec, tables, budget, now)
        _go(run, encoding, None, stop, listener)
    return run


def resume_run(
    folder: Path,
    *,
    evaluations: int | None = None,
    seconds: float | None = None,
    listener: Listener | None = None,
) -> Run:
    """Go on with a run from its last checkpoint.

    Parameters
    ----------
    folder : Path
        Folder of a run. [-]
    evaluations, seconds : int or None, float or None
        New budget, counted from the start of the run; what is given replaces the old
        budget whole. [-, s]
    listener : callable or None
        Told a few times a second where the run stands. [-]

    Returns
    -------
    run : Run
        Just as if it had never been stopped. [-]

    Raises
    ------
    InputError
        If something in the folder is not readable or another process works on it.
    OSError
        If the folder cannot be written to; what was written before is intact.
    """
    run = open_run(folder)
    encoding = encode(run.spec, run.library)
    _warm_up(encoding)
    with locked(folder), _interruptible() as stop:
        # again, since another process may have gone on with it meanwhile
        run = open_run(folder)
        set_budget(run, _budget(evaluations, seconds, run.budget))
        state = read_checkpoint(run, encoding)
        if run.about["versions"] != versions():
            # what follows may differ from an uninterrupted run in its last digits
            run.about["resumed_with"] = versions()
        _go(run, encoding, state, stop, listener)
    return run


def _budget(
    evaluations: int | None, seconds: float | None, otherwise: Budget
) -> Budget:
    if evaluations is None and seconds is None:
        return otherwise
    return Budget(evaluations, seconds)


def _go(
    run: Run,
    encoding: Encoding,
    state: State | None,
    stop: Callable[[], bool],
    listener: Listener | None,
) -> None:
    """Search until the budget is spent or somebody says stop; write what there is."""
    search = Search(encoding, state)
    budget = run.budget
    try:
        run.about["state"] = "running"
        write_about(run)
        watch = _Watch(run, search, stop, listener)
        if not budget.is_spent(search.state.progress) and not stop():
            search.run(
                watch.on_generation,
                evaluations=budget.evaluations,
                seconds=budget.seconds,
            )
        watch.tell(is_last=True)
        add_history(run, search.state.progress, watch.rate(), watch.hypervolume)
        run.about["exhausted"] = watch.is_exhausted
        is_done = watch.is_exhausted or budget.is_spent(search.state.progress)
        _close(run, search, watch.hypervolume, is_done=is_done)
    except OSError as error:
        error.add_note(
            "what was written before is intact; go on with:  "
            f"plyfront resume {run.folder}"
        )
        raise


def _warm_up(encoding: Encoding) -> None:
    """Have everything compiled before anything is written and the clock starts."""
    spec = encoding.spec
    small = replace(spec, search=replace(spec.search, population=_WARM_UP_POPULATION))
    Search(replace(encoding, spec=small)).generation()


class _Watch:
    """Looks at a search after each generation: tells, notes, writes, stops."""

    def __init__(
        self,
        run: Run,
        search: Search,
        stop: Callable[[], bool],
        listener: Listener | None,
    ) -> None:
        self.run, self.search, self.stop = run, search, stop
        self.listener = listener
        self.written = self.told = monotonic()
        self.next_line = 0.0
        self.hypervolume = search.hypervolume()
        self.next_hypervolume = 0.0
        self.trouble = ""
        # the first generation may have waited for the compiler, so it is the start
        self.marks: deque[tuple[int, float]] = deque(maxlen=_RATE_OVER)
        self.evaluations = search.state.progress.evaluations
        self.barren = 0

    @property
    def is_exhausted(self) -> bool:
        """Whether nothing new comes: all is seen, or nothing is possible."""
        return self.barren >= _BARREN_MOST

    def rate(self) -> float | None:
        progress = self.search.state.progress
        if not self.marks or progress.seconds <= self.marks[0][1]:
            return None
        evaluations, seconds = self.marks[0]
        return (progress.evaluations - evaluations) / (progress.seconds - seconds)

    def on_generation(self, state: State) -> bool:
        now = monotonic()
        if now >= self.next_hypervolume:
            self.hypervolume = self.search.hypervolume()
            took = monotonic() - now
            self.next_hypervolume = now + max(_TELL_EVERY, took / _HYPERVOLUME_SHARE)
            if state.progress.seconds >= self.next_line:
                add_history(self.run, state.progress, self.rate(), self.hypervolume)
                spent = state.progress.seconds + _HISTORY_STEP
                self.next_line = spent * _HISTORY_GROWTH
        if now - self.written >= CHECKPOINT_EVERY:
            try:
                write_checkpoint(self.run, state)
                self.trouble = ""
            except OSError as error:
                # the search is worth more than this checkpoint; the next may do
                self.trouble = f"{error.filename}: {error.strerror}"
            self.written = monotonic()
        if now - self.told >= _TELL_EVERY or not self.marks:
            self.tell()
            self.told = now
            self.marks.append((state.progress.evaluations, state.progress.seconds))
        evaluations = state.progress.evaluations
        self.barren = 0 if evaluations > self.evaluations else self.barren + 1
        self.evaluations = evaluations
        return not (self.stop() or self.is_exhausted)

    def tell(self, *, is_last: bool = False) -> None:
        if is_last:
            self.hypervolume = self.search.hypervolume()
        if self.listener is None:
            return
        self.listener(
            Standing(
                progress=self.search.state.progress,
                hypervolume=self.hypervolume,
                rate=self.rate(),
                budget=self.run.budget,
                is_stopping=self.stop(),
                trouble=self.trouble,
            )
        )


def _close(run: Run, search: Search, hypervolume: float, *, is_done: bool) -> None:
    """Write checkpoint, front and how the run stands."""
    state = search.state
    progress = state.progress
    write_checkpoint(run, state)
    write_front(run, state, search.encoding)
    _note_nearest(run, search)
    run.about |= {
        "state": "done" if is_done else "interrupted",
        "ended": datetime.now().astimezone().isoformat(timespec="seconds"),
        "evaluations": progress.evaluations,
        "seconds": round(progress.seconds, 2),
        "feasible": progress.feasible,
        "first_feasible_evaluations": progress.first_feasible,
        "first_feasible_seconds": progress.first_feasible_seconds,
        "hypervolume": hypervolume,
    }
    write_about(run)


def _note_nearest(run: Run, search: Search) -> None:
    """Keep the nearest design where none is feasible, and say what it misses."""
    run.about.pop("nearest", None)
    path = run.folder / NEAREST
    population = search.state.population
    if search.state.archive.n or not population.n:
        path.unlink(missing_ok=True)
        return
    best = int(np.argmin(population.violation))
    genomes = population.genomes[best : best + 1]
    layups, _ = search.encoding.decode(genomes)
    report = evaluate_batch(layups, search.encoding.conditions)
    design = search.encoding.design(genomes[0], run.spec.name)
    write_text(path, design_file(design, run, LIBRARY)[1])
    run.about["nearest"] = misses(report, search.demand, run.spec)


@contextmanager
def _interruptible() -> Iterator[Callable[[], bool]]:
    """Turn Ctrl-C and a polite kill into a wish to stop after this generation."""
    asked = False

    def ask(_signal: int, _frame: FrameType | None) -> None:
        nonlocal asked
        asked = True

    before = []
    for which in (signal.SIGINT, signal.SIGTERM):
        try:
            before.append((which, signal.signal(which, ask)))
        except ValueError:
            # outside the main thread signals are somebody else's business
            continue
    try:
        yield lambda: asked
    finally:
        for which, handler in before:
            signal.signal(which, handler)


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
    return open_design(path, read_library(library) if library is not None else None)


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
