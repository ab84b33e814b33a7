"""A run from spec to front, and on from where it stopped."""

import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from pathlib import Path
from types import FrameType

import numpy as np

from model import (
    Fault,
    InputError,
    evaluate_batch,
)
from optimiser import anew
from optimiser.anew import read_other_spec, take_spec
from optimiser.budget import Budget, Limits
from optimiser.checkpoint import read_course
from optimiser.course import Course
from optimiser.encoding import Encoding, encode
from optimiser.executors import (
    Crew,
    CrewLostError,
    cluster,
    processes,
    usable_processors,
)
from optimiser.files import write_text
from optimiser.front import design_file, write_front
from optimiser.given import prepare, starts_text
from optimiser.inputs import load_spec
from optimiser.islands import Islands, footing, warm_up
from optimiser.misses import misses
from optimiser.problem import Demand
from optimiser.reason_text import write_explanation
from optimiser.run_folder import (
    LIBRARY,
    NEAREST,
    locked,
    new_folder,
    refuse_used,
    sweep,
)
from optimiser.run_library import UNREADABLE, library_changes, read_origin
from optimiser.spec_file import named_library
from optimiser.store import Run, create_run, open_run, set_budget, versions, write_about
from optimiser.watch import Listener, Watch

_AS_BEFORE = Limits()


@dataclass(frozen=True, slots=True, kw_only=True)
class Hands:
    """Who does the work where a run has islands; the results are the same."""

    workers: int | None = None  #: processes; None for as many as there is use for
    cluster: str | None = None  #: address of a Dask scheduler, instead of processes


_OWN = Hands()


def run_spec(
    path: Path,
    *,
    library: Path | None = None,
    out: Path | None = None,
    seed: int | None = None,
    islands: int | None = None,
    evaluations: int | None = None,
    seconds: float | None = None,
    limits: Limits = _AS_BEFORE,
    hands: Hands = _OWN,
    start_from: Sequence[Path] = (),
    hold: Sequence[str] = (),
    listener: Listener | None = None,
    say: Callable[[str], None] = lambda _: None,
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
    seed, islands : int or None
        Instead of the spec's. [-]
    evaluations, seconds : int or None, float or None
        After how much to stop, the one or the other or whichever comes first; instead
        of what the spec says of both. [-, s]
    limits : Limits
        The same, with the rule about stalls. [-]
    hands : Hands
        Who works where there are islands. [-]
    start_from : sequence of Path
        Designs to start from: design files, run folders, or their front.csv. [-]
    hold : sequence of str
        Places whose flag stays as in the first of these designs. [-]
    listener : callable or None
        Told a few times a second where the run stands. [-]
    say : callable
        Told in words how these designs fit the spec. [-]

    Returns
    -------
    run : Run
        Its ``state`` says whether it was interrupted. [-]

    Raises
    ------
    InputError
        Before anything is written, if spec, library, cluster or folder are faulty.
    OSError
        If the folder cannot be written to; what was written before is intact.
    """
    origin = library if library is not None else named_library(path)
    spec, tables = load_spec(path, library)
    options = spec.search
    if seed is not None:
        options = replace(options, seed=seed)
    if islands is not None:
        options = replace(options, islands=islands)
    spec = replace(spec, search=options)
    budget = Budget(
        options.evaluations, options.time, options.stall, options.stall_evaluations
    )
    budget = limits.instead_of(budget)
    budget = Limits(evaluations=evaluations, seconds=seconds).instead_of(budget)
    spec, starts = prepare(spec, tables, start_from, hold)
    if starts.designs:
        say(starts_text(starts))
    encoding = encode(spec, tables)
    warm_up(encoding)
    now = datetime.now().astimezone()
    if out is not None:
        refuse_used(out)  # before workers are begun
    with _crew(encoding, hands) as crew:
        folder = new_folder(spec, out, now)
        with locked(folder), _interruptible() as wishes:
            run = create_run(folder, spec, tables, budget, now, origin, starts)
            course = read_course(run, encoding)
            _go(run, course, crew, wishes, listener)
    return run


def resume_run(
    folder: Path,
    *,
    evaluations: int | None = None,
    seconds: float | None = None,
    limits: Limits = _AS_BEFORE,
    hands: Hands = _OWN,
    take_library: bool = False,
    spec: Path | None = None,
    listener: Listener | None = None,
    say: Callable[[str], None] = lambda _: None,
) -> Run:
    """Go on with a run from its last checkpoint.

    Parameters
    ----------
    folder : Path
        Folder of a run. [-]
    evaluations, seconds : int or None, float or None
        New budget, counted from the start of the run; what is given replaces the old
        budget whole. [-, s]
    limits : Limits
        The same, with the rule about stalls. [-]
    hands : Hands
        Who works where there are islands; need not be who did before. [-]
    take_library : bool
        Take the library as it is now instead of the run's copy, and measure every
        design anew. [-]
    spec : Path or None
        Spec of the same choices to go on with, against which every design is measured
        anew; the run keeps the former too. [-]
    listener : callable or None
        Told a few times a second where the run stands. [-]
    say : callable
        Told in words what one should know before the run goes on. [-]

    Returns
    -------
    run : Run
        Just as if it had never been stopped. [-]

    Raises
    ------
    InputError
        If something in the folder is not readable, another process works on it, or
        the spec to go on with is faulty or of other choices.
    OSError
        If the folder cannot be written to; what was written before is intact.
    """
    run = open_run(folder)
    encoding = encode(run.spec, run.library)
    warm_up(encoding)
    with _crew(encoding, hands) as crew, locked(folder), _interruptible() as wishes:
        sweep(folder)
        # again, since another process may have gone on with it meanwhile
        run = open_run(folder)
        anew.forget_unfinished(run)
        set_budget(run, limits.instead_of(run.budget))
        more = Limits(evaluations=evaluations, seconds=seconds)
        set_budget(run, more.instead_of(run.budget))
        course = read_course(run, encode(run.spec, run.library))
        # a library that cannot be read ends this before anything is said of it
        origin = read_origin(run) if take_library else None
        if changes := library_changes(run):
            run.about["library_changes"] = list(changes)
            is_readable = not changes[0].startswith(UNREADABLE)
            say(
                _changed_library(
                    run, changes, is_taken=take_library, is_readable=is_readable
                )
            )
        else:
            run.about.pop("library_changes", None)
        if spec is not None:
            new, asked, left = read_other_spec(run, spec)
            if left:
                say(left)
        if origin is not None and changes:
            course = anew.take_library(run, origin)
        if spec is not None and asked:
            course, words = take_spec(run, new, asked)
            say(words)
        elif spec is not None:
            say(f"{spec} asks nothing other than the spec of the run; it goes on")
        if run.about["versions"] != versions():
            # what follows may differ from an uninterrupted run in its last digits
            run.about["resumed_with"] = versions()
        _go(run, course, crew, wishes, listener)
    return run


def _changed_library(
    run: Run, changes: tuple[str, ...], *, is_taken: bool, is_readable: bool
) -> str:
    where = run.about["library_folder"] or "the packaged library"
    said = "; ".join(changes).removesuffix(".")
    what = f"{where} has changed since this run was started: {said}."
    if is_taken:
        return f"{what} It is taken as it is now, and every design measured anew."
    if not is_readable:
        return f"{what} The run goes on with its own copy."
    return (
        f"{what} The run goes on with its own copy; resume with --take-library to "
        "take it as it is now."
    )


@contextmanager
def _crew(encoding: Encoding, hands: Hands) -> Iterator[Crew]:
    """Who does the work of a run."""
    n_islands = encoding.spec.search.islands
    wanted: AbstractContextManager[Crew]
    prepare = partial(warm_up, encoding)
    if hands.cluster is None:
        n = hands.workers or usable_processors()
        wanted = processes(min(n, n_islands), prepare)
    elif n_islands == 1:
        message = (
            "this search has one island, which only one machine can work on. Give "
            "--islands when a run is started, one or two for each worker."
        )
        fault = Fault("", None, None, message)
        raise InputError(f"--cluster {hands.cluster}", [fault])
    else:
        wanted = cluster(hands.cluster, footing, prepare)
    with wanted as crew:
        yield crew


def _go(
    run: Run,
    course: Course,
    crew: Crew,
    wishes: Callable[[], int],
    listener: Listener | None,
) -> None:
    """Search until the budget is spent or somebody says stop; write what there is."""
    budget = run.budget
    if isinstance(course, Islands):
        course.crew, course.abandon = crew, lambda: wishes() > 1
    lost = ""
    try:
        run.about["state"] = "running"
        for key in ("stopped_by", "found_late"):
            run.about.pop(key, None)
        write_about(run)
        watch = Watch(run, course, wishes, listener)
        if not (_reason(course, budget) or wishes()):
            try:
                course.run(
                    watch.on_step,
                    evaluations=budget.evaluations,
                    seconds=budget.seconds,
                )
            except CrewLostError as error:
                # what came in stands, and is worth writing
                lost = str(error)
        _close(run, course, watch, lost)
        if run.state == "done" and not course.found().archive.n:
            watch.tell_what("looking for what stands in the way")
        kept = write_explanation(run, course.found(), lambda: wishes() > 0)
        if kept:
            course.receive(np.array(kept, dtype=np.int64))
            run.about["found_late"] = True
            _close(run, course, watch, lost)
    except OSError as error:
        error.add_note(
            "what was written before is intact; go on with:  "
            f"plyfront resume {run.folder}"
        )
        raise


def _reason(course: Course, budget: Budget) -> str:
    """Why a run has nothing left to do; nothing if it has."""
    if course.is_exhausted:
        return "exhausted"
    # where nothing new comes on some islands, the others end with their share
    if budget.is_spent(course.progress) or course.has_spent(budget.evaluations):
        return "budget"
    return "stalled" if course.stall.is_reached else ""


def _close(run: Run, course: Course, watch: Watch, lost: str) -> None:
    """Tell and write where it came to: checkpoint, front and how the run stands."""
    progress = course.progress
    watch.tell(is_last=True)
    watch.note()
    watch.keep()
    write_front(run, course.found(), course.encoding, watch.on_design)
    _note_nearest(run, course)
    reason = _reason(course, run.budget)
    run.about |= {
        "state": "done" if reason else "interrupted",
        "stopped_by": reason or lost or "request",
        "exhausted": course.is_exhausted,
        "ended": datetime.now().astimezone().isoformat(timespec="seconds"),
        "evaluations": progress.evaluations,
        "seconds": round(progress.seconds, 2),
        "feasible": progress.feasible,
        "first_feasible_evaluations": progress.first_feasible,
        "first_feasible_seconds": progress.first_feasible_seconds,
        "hypervolume": watch.hypervolume,
    }
    write_about(run)


def _note_nearest(run: Run, course: Course) -> None:
    """Keep the nearest design where none is feasible, and say what it misses."""
    run.about.pop("nearest", None)
    path = run.folder / NEAREST
    found, encoding = course.found(), course.encoding
    population = found.living
    if found.archive.n or not population.n:
        path.unlink(missing_ok=True)
        return
    best = int(np.argmin(population.violation))
    genomes = population.genomes[best : best + 1]
    layups, _ = encoding.decode(genomes)
    report = evaluate_batch(layups, encoding.conditions)
    design = encoding.design(genomes[0], run.spec.name)
    write_text(path, design_file(design, run, LIBRARY)[1])
    run.about["nearest"] = misses(report, Demand.of(run.spec), run.spec)


@contextmanager
def _interruptible() -> Iterator[Callable[[], int]]:
    """Turn Ctrl-C, a polite kill and a closed terminal into a wish to stop.

    Yields how often it was wished: once, to stop when what is going on has come in;
    more often, to stop without it.
    """
    wishes = 0

    def ask(_signal: int, _frame: FrameType | None) -> None:
        nonlocal wishes
        wishes += 1

    before = []
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        which = getattr(signal, name, None)
        if which is None:
            continue
        if name == "SIGHUP" and signal.getsignal(which) is signal.SIG_IGN:
            continue  # it was started so that a closed terminal is no matter
        try:
            before.append((which, signal.signal(which, ask)))
        except ValueError:
            # outside the main thread signals are somebody else's business
            continue
    try:
        yield lambda: wishes
    finally:
        for which, handler in before:
            signal.signal(which, handler)
