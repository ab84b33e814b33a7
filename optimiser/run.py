"""A run from spec to front, and on from where it stopped."""

import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from types import FrameType

import numpy as np

from model import (
    METRIC,
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
from optimiser.encoding import encode
from optimiser.search import Progress, Search
from optimiser.spec import Spec, describe_target, named_library, read_spec
from optimiser.store import (
    Run,
    create_run,
    locked,
    read_checkpoint,
    set_budget,
    write_checkpoint,
    write_front,
)

#: Time between two checkpoints. [s]
CHECKPOINT_EVERY = 20.0

#: Told after each generation: progress, hypervolume, budget in evaluations and seconds.
Listener = Callable[[Progress, float, int | None, float | None], None]


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
        Library folder. [-]
    out : Path or None
        Run folder to make; None for one under results/. [-]
    seed, evaluations, seconds : int, int, float or None
        Override the spec's search options. [-, -, s]
    listener : callable or None
        Told after each generation. [-]

    Returns
    -------
    run : Run
        Its ``about["state"]`` says whether it was interrupted. [-]

    Raises
    ------
    InputError
        Before anything is written, if spec, library or folder are faulty.
    """
    spec, tables = load_spec(path, library)
    search = spec.search
    if seed is not None:
        search = replace(search, seed=seed)
    if evaluations is not None:
        search = replace(search, evaluations=evaluations)
    if seconds is not None:
        search = replace(search, time=seconds)
    spec = replace(spec, search=search)
    run = create_run(spec, tables, out, datetime.now().astimezone())
    return _go(run, listener)


def resume_run(
    run: Run,
    *,
    evaluations: int | None = None,
    seconds: float | None = None,
    listener: Listener | None = None,
) -> Run:
    """Go on with a run from its last checkpoint.

    Parameters
    ----------
    run : Run
        An open run. [-]
    evaluations, seconds : int, float or None
        New budget, counted from the start of the run. [-, s]
    listener : callable or None
        Told after each generation. [-]

    Returns
    -------
    run : Run
        The same run. [-]

    Raises
    ------
    InputError
        If the checkpoint is not readable or another process works on the run.
    """
    return _go(run, listener, evaluations, seconds)


def _go(
    run: Run,
    listener: Listener | None,
    evaluations: int | None = None,
    seconds: float | None = None,
) -> Run:
    with locked(run):
        state = read_checkpoint(run)
        if evaluations is not None or seconds is not None:
            set_budget(run, evaluations, seconds)
        encoding = encode(run.spec, run.library)
        search = Search(encoding, state)
        budget = run.spec.search
        written = time.monotonic()
        with _interruptible() as stop:

            def on_generation(_state: object) -> bool:
                nonlocal written
                now = search.state
                if listener is not None:
                    listener(
                        now.progress,
                        search.hypervolume(),
                        budget.evaluations,
                        budget.time,
                    )
                if time.monotonic() - written > CHECKPOINT_EVERY:
                    write_checkpoint(run, now, search.hypervolume())
                    written = time.monotonic()
                return not stop()

            search.run(
                on_generation, evaluations=budget.evaluations, seconds=budget.time
            )
            write_checkpoint(run, search.state, search.hypervolume())
            how = "interrupted" if stop() else "done"
            write_front(run, search.state, encoding, how)
    if search.state.archive.n == 0:
        run.about["nearest"] = _nearest_miss(search)
    return run


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


def _nearest_miss(search: Search) -> list[str]:
    """Say which bands the nearest design misses, and by how much."""
    population = search.state.population
    if population.n == 0:
        return [
            "no design could be built at all: the bands on the end diameters and the "
            "rules leave none of the spec's choices"
        ]
    best = int(np.argmin(population.violation))
    genomes = population.genomes[best : best + 1]
    layups, _ = search.encoding.decode(genomes)
    report = evaluate_batch(layups, search.encoding.conditions)
    G = search.demand.score(report).G[0]
    targets = {target.metric: target for target in search.spec.targets}
    said = []
    for name, excess in zip(search.demand.band_names, G, strict=True):
        if excess <= 0.0:
            continue
        if name in targets:
            value = report.metrics[0, list(METRIC).index(name)]
            said.append(
                f"{METRIC[name].label.lower()} {METRIC[name].shown(float(value))}, "
                f"asked: {describe_target(targets[name])}"
            )
        else:
            said.append(f"{name.replace('_', ' ')} is missed")
    return said


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


def evaluate_file(path: Path, library: Path | None) -> tuple[Report, Library]:
    """Read and evaluate a design file.

    Parameters
    ----------
    path : Path
        Design file. [-]
    library : Path or None
        Library folder instead of the design's own. [-]

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
        return evaluate(design, tables), tables
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
        evaluate(
            read_design(run.design_path(identity), run.library),
            run.library,
        )
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
