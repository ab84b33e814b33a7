"""Two runs side by side: what a price, a mandrel, a rule or more searching changed."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import moocore
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model import (
    METRIC,
    METRICS,
    BatchReport,
    Conditions,
    Design,
    Fault,
    InputError,
    ModelRangeError,
    evaluate_batch,
    layups_of,
    read_design,
)
from optimiser.problem import Demand
from optimiser.spec import Spec
from optimiser.store import Run

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

#: Corner that hypervolumes are measured from, where both fronts together run from 0 at
#: their best to 1 at their worst; beyond 1, so that the extremes count too.
CORNER: Final = 1.1
#: Most lines of the specs' differences that are said.
_LINES_MOST: Final = 30
#: Prices that differ by less are the same. [-]
_SAME_PRICE: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """The front of one run, as the other is compared with it."""

    folder: Path
    n: int  #: designs
    evaluations: int
    best: Mapping[str, float]  #: of each objective, in its unit
    hypervolume: float  #: share of the box up to the corner [-]
    dominated: float  #: share of its designs that one of the other front dominates [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class Anew:
    """The first front measured by what the second run asks and has on its shelves."""

    made: int  #: designs that can still be rolled
    met: int  #: of these, within all bands and rules of the second run
    best: Mapping[str, float]  #: of those that meet them
    hypervolume: float | None  #: of those; None where there are none [-]
    second_hypervolume: float  #: of the second front measured in the same way [-]
    dominated: float | None  #: share of those that the second front dominates [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunComparison:
    """What was gained from a first run to a second."""

    objectives: tuple[tuple[str, str], ...]  #: key and sense of what both trade
    first: Side
    second: Side
    anew: Anew
    changes: tuple[str, ...]  #: what differs between the runs, in words
    currency: str

    @property
    def gain(self) -> float | None:
        """Hypervolume of the second over the first, less one; None from nothing."""
        if self.first.hypervolume <= 0.0:
            return None
        return self.second.hypervolume / self.first.hypervolume - 1.0


def compare_runs(first: Run, second: Run) -> RunComparison:
    """Compare the fronts of two runs in what both of them trade.

    Parameters
    ----------
    first, second : Run
        Runs whose fronts are not empty. [-]

    Returns
    -------
    comparison : RunComparison
        Bests, hypervolumes and shares dominated; the first front also measured anew by
        the second run's spec and library. [-]

    Raises
    ------
    InputError
        If the runs trade nothing in common.
    """
    objectives = common_objectives(first, second)
    F, S = (_losses(run.front, objectives) for run in (first, second))
    again, now = _measured_anew(first, second), _measured_anew(second, second)
    A, N = _anew_losses(again, objectives), _anew_losses(now, objectives)
    box = np.concatenate([F, S])
    low, high = box.min(axis=0), box.max(axis=0)
    span = np.where(high > low, high - low, 1.0)

    def volume(losses: Array) -> float:
        unit = (losses - low) / span
        inside = unit[(unit < CORNER).all(axis=1)]
        if not len(inside):
            return 0.0
        whole = float(CORNER ** unit.shape[1])
        return float(moocore.hypervolume(inside, ref=[CORNER] * unit.shape[1])) / whole

    by_second = dominated(F, S)
    return RunComparison(
        objectives=objectives,
        first=_side(first, F, objectives, volume(F), by_second),
        second=_side(second, S, objectives, volume(S), dominated(S, F)),
        anew=Anew(
            made=again.made,
            met=len(A),
            best=_bests(A, objectives) if len(A) else {},
            hypervolume=volume(A) if len(A) else None,
            second_hypervolume=volume(N),
            dominated=float(dominated(A, N).mean()) if len(A) else None,
        ),
        changes=tuple(changes_between(first, second)),
        currency=second.library.currency,
    )


def dominated(some: Array, others: Array) -> BoolArray:
    """Which designs are dominated: another is as good in all and better in one.

    Parameters
    ----------
    some : ndarray, shape (n, n_objective)
        Losses, all to be small. [-]
    others : ndarray, shape (m, n_objective)
        Losses of the designs that may dominate them. [-]

    Returns
    -------
    is_dominated : ndarray, shape (n,)
        True where one of the others dominates. [-]

    Examples
    --------
    >>> dominated(np.array([[1.0, 2.0], [0.0, 5.0]]), np.array([[1.0, 1.0]])).tolist()
    [True, False]
    """
    found = np.zeros(len(some), dtype=np.bool_)
    for i, one in enumerate(some):
        as_good = (others <= one).all(axis=1)
        found[i] = bool((as_good & (others < one).any(axis=1)).any())
    return found


def common_objectives(first: Run, second: Run) -> tuple[tuple[str, str], ...]:
    """Find what two runs both trade.

    Parameters
    ----------
    first, second : Run
        The runs. [-]

    Returns
    -------
    objectives : tuple of tuple of str
        Key and sense of each, in the order of the second run. [-]

    Raises
    ------
    InputError
        If there are none.
    """
    senses = {t.metric: str(t.trade) for t in first.spec.trades}
    both = [
        (t.metric, str(t.trade))
        for t in second.spec.trades
        if senses.get(t.metric) == t.trade
    ]
    if first.library.currency != second.library.currency:
        both = [pair for pair in both if pair[0] != "material_cost"]
    if not both:
        message = (
            "trades nothing that the other run trades too (costs in two currencies "
            "are not the same), so there is nothing to compare their fronts by."
        )
        raise InputError(str(second.folder), [Fault("", None, None, message)])
    return tuple(both)


def _losses(front: pd.DataFrame, objectives: Sequence[tuple[str, str]]) -> Array:
    """Objectives of a front in their units, all to be small; rows without are out."""
    columns = [METRIC[key].column for key, _ in objectives]
    signs = np.array([1.0 if sense == "less" else -1.0 for _, sense in objectives])
    losses: Array = front[columns].to_numpy(dtype=np.float64) * signs
    return losses[np.isfinite(losses).all(axis=1)]


def _bests(losses: Array, objectives: Sequence[tuple[str, str]]) -> dict[str, float]:
    """Best of each objective, in its unit and sign."""
    return {
        key: float(losses[:, k].min()) * (1.0 if sense == "less" else -1.0)
        for k, (key, sense) in enumerate(objectives)
    }


def _side(
    run: Run,
    losses: Array,
    objectives: Sequence[tuple[str, str]],
    hypervolume: float,
    beaten: BoolArray,
) -> Side:
    return Side(
        folder=run.folder,
        n=len(run.front),
        evaluations=int(run.about.get("evaluations", 0)),
        best=_bests(losses, objectives),
        hypervolume=hypervolume,
        dominated=float(beaten.mean()),
    )


# --------------------------------------------------------------- the first front anew


@dataclass(frozen=True, slots=True)
class _Again:
    made: int
    metrics: Array  #: of the designs that meet the second spec, SI


def _measured_anew(first: Run, second: Run) -> _Again:
    """Measure the designs of the first front as the second run would have."""
    spec = second.spec
    designs = []
    for path in first.designs.values():
        try:
            design = read_design(path, second.library)
        except InputError:
            # a material or mandrel it needs is gone, or has become too short
            continue
        shaft = replace(design.shaft, trim_tip=spec.trim_tip, trim_butt=spec.trim_butt)
        made_so = replace(
            design,
            shaft=shaft,
            finish=spec.finish,
            bench=spec.bench,
            cutting=spec.cutting,
            costs=spec.costs,
        )
        designs.append(made_so)
    demand = Demand.of(spec)
    kept = []
    made = 0
    if designs:
        shared = Conditions.for_designs(
            second.library,
            designs,
            ei_stations=[point.station for point in spec.ei_targets],
            step_length=spec.rules.diameter_step_length,
        )
    for design in designs:
        try:
            report = evaluate_batch(layups_of([design], shared), shared)
        except ModelRangeError:
            continue
        made += 1
        if _meets(design, report, demand, spec):
            kept.append(report.metrics[0])
    return _Again(made, np.array(kept).reshape(-1, len(METRICS)))


def _meets(design: Design, report: BatchReport, demand: Demand, spec: Spec) -> bool:
    """Whether a design has the length asked for and all bands and measures in order."""
    is_long = any(abs(design.shaft.length - length) < 1e-6 for length in spec.lengths)
    return is_long and float(demand.score(report).violation[0]) <= 0.0


def _anew_losses(again: _Again, objectives: Sequence[tuple[str, str]]) -> Array:
    columns = {metric.key: k for k, metric in enumerate(METRICS)}
    losses = [
        again.metrics[:, columns[key]]
        * METRIC[key].scale
        * (1.0 if sense == "less" else -1.0)
        for key, sense in objectives
    ]
    return np.stack(losses, axis=1)


# ------------------------------------------------------------------- what has changed


def changes_between(first: Run, second: Run) -> list[str]:
    """Say what differs between two runs, in words.

    Parameters
    ----------
    first, second : Run
        The runs. [-]

    Returns
    -------
    changes : list of str
        One a line; empty where nothing differs. [-]
    """
    said = []
    a, b = first.library, second.library
    if a.currency != b.currency:
        said.append(f"prices in {b.currency or 'no currency'}, before {a.currency}")
    said += [
        f"price of {name}: {new.price:.4g}, before {a.prepregs[name].price:.4g} per m²"
        for name, new in b.prepregs.items()
        if name in a.prepregs
        and abs(new.price / a.prepregs[name].price - 1.0) > _SAME_PRICE
    ]
    said += _shelf("prepreg", a.prepregs, b.prepregs, ("price",))
    said += _shelf("mandrel", a.mandrels, b.mandrels, ())
    said += _spec_lines(first.spec.text, second.spec.text)
    said += [
        f"{name}: {new}, before {old}"
        for name, old, new in (
            ("seed", first.spec.search.seed, second.spec.search.seed),
            ("population", first.spec.search.population, second.spec.search.population),
            ("islands", first.spec.search.islands, second.spec.search.islands),
            (
                "evaluations",
                first.about.get("evaluations"),
                second.about.get("evaluations"),
            ),
            ("version", _version(first), _version(second)),
        )
        if old != new
    ]
    return said


def _version(run: Run) -> str:
    return str(run.about.get("versions", {}).get("plyfront", "not noted"))


def _shelf(
    what: str,
    before: Mapping[str, Any],
    now: Mapping[str, Any],
    apart_from: tuple[str, ...],
) -> list[str]:
    """What is new on a shelf, gone, or not what it was."""
    said = [f"{what} {name}: new" for name in now if name not in before]
    said += [f"{what} {name}: gone" for name in before if name not in now]
    for name, item in now.items():
        if name in before:
            same = {key: getattr(item, key) for key in apart_from}
            if replace(before[name], **same) != item:
                said.append(f"{what} {name}: changed")
    return said


def _spec_lines(before: str, now: str) -> list[str]:
    """Lines of a spec that differ, comments and blank lines apart."""
    old, new = (
        [
            line
            for line in (raw.split("#")[0].rstrip() for raw in text.splitlines())
            if line
        ]
        for text in (before, now)
    )
    differ = [
        f"spec {'now' if line[0] == '+' else 'before'}: {line[2:]}"
        for line in difflib.ndiff(old, new)
        if line[0] in "+-"
    ]
    if len(differ) > _LINES_MOST:
        left = len(differ) - _LINES_MOST
        differ = [*differ[:_LINES_MOST], f"and {left} more lines of the spec"]
    return differ
