"""Two runs side by side: what a price, a mandrel, a rule or a longer search has changed."""

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
    Library,
    Metric,
    ModelRangeError,
    Sheet,
    evaluate_batch,
    layups_of,
    read_design,
)
from optimiser.look import QUIET, SMALL_SIZE, dress, figure, save_png
from optimiser.problem import Demand
from optimiser.review import trade_axes
from optimiser.spec import Spec
from optimiser.store import Run
from optimiser.words import metric_heading, metric_unit, number

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
    objectives = _common(first, second)
    F, S = (_losses(run.front, objectives) for run in (first, second))
    again = _measured_anew(first, second)
    A = _anew_losses(again, objectives)
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
            dominated=float(dominated(A, S).mean()) if len(A) else None,
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


def _common(first: Run, second: Run) -> tuple[tuple[str, str], ...]:
    """Objectives of both runs, in the order of the second."""
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
        designs.append(replace(design, shaft=shaft))
    demand = Demand.of(spec)
    shared = _conditions(designs, second.library, spec) if designs else None
    kept = []
    made = 0
    for design in designs:
        assert shared is not None
        try:
            report = evaluate_batch(layups_of([design], shared), shared)
        except ModelRangeError:
            continue
        made += 1
        if _meets(design, report, demand, spec):
            kept.append(report.metrics[0])
    return _Again(made, np.array(kept).reshape(-1, len(METRICS)))


def _conditions(designs: Sequence[Design], library: Library, spec: Spec) -> Conditions:
    """Conditions of designs as a spec makes and tests them."""
    sheets = dict.fromkeys(
        Sheet(flag.material, flag.angle, flag.is_pair)
        for design in designs
        for flag in design.flags
    )
    return Conditions.of(
        library,
        sheets=tuple(sheets),
        mandrels=list(dict.fromkeys(design.shaft.mandrel for design in designs)),
        finish=spec.finish,
        bench=spec.bench,
        cutting=spec.cutting,
        trim_tip=spec.trim_tip,
        trim_butt=spec.trim_butt,
        ei_stations=tuple(point.station for point in spec.ei_targets),
        step_length=spec.rules.diameter_step_length,
    )


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
    lines = [
        [line.split("#")[0].rstrip() for line in text.splitlines()]
        for text in (before, now)
    ]
    kept = [[line for line in some if line] for some in lines]
    differ = [
        f"spec {'now' if line[0] == '+' else 'before'}: {line[2:]}"
        for line in difflib.ndiff(*kept)
        if line[0] in "+-"
    ]
    if len(differ) > _LINES_MOST:
        left = len(differ) - _LINES_MOST
        differ = [*differ[:_LINES_MOST], f"and {left} more lines of the spec"]
    return differ


# --------------------------------------------------------------------- how it is shown


def comparison_text(comparison: RunComparison) -> str:
    """Write a comparison of two runs for a terminal.

    Parameters
    ----------
    comparison : RunComparison
        Of two runs. [-]

    Returns
    -------
    text : str
        Lines. [-]
    """
    first, second = comparison.first, comparison.second
    rows = [("", "first run", "second run", "change")]
    rows.append(
        ("Designs", f"{first.n:,}", f"{second.n:,}", f"{second.n - first.n:+,}")
    )
    for key, sense in comparison.objectives:
        metric = METRIC[key]
        unit = metric_unit(metric, comparison.currency)
        word = "Lowest" if sense == "less" else "Highest"
        label = f"{word} {metric.phrase}" + (f" [{unit}]" if unit else "")
        before, now = first.best[key], second.best[key]
        rows.append(
            (
                label,
                number(before, metric.decimals),
                number(now, metric.decimals),
                _signed(now - before, metric),
            )
        )
    gain = comparison.gain
    rows.append(
        (
            "Hypervolume",
            f"{first.hypervolume:.4f}",
            f"{second.hypervolume:.4f}",
            "-" if gain is None else f"{gain:+.2%}",
        )
    )
    rows.append(
        (
            "Dominated by the other",
            f"{first.dominated:.1%}",
            f"{second.dominated:.1%}",
            "",
        )
    )
    widths = [max(len(row[k]) for row in rows) for k in range(4)]
    lines = [f"first run:  {first.folder}", f"second run: {second.folder}", ""]
    lines += [
        "  ".join(
            [row[0].ljust(widths[0])] + [row[k].rjust(widths[k]) for k in range(1, 4)]
        ).rstrip()
        for row in rows
    ]
    lines += ["", *_anew_lines(comparison)]
    lines += ["", "What differs" if comparison.changes else "Nothing else differs."]
    lines += [f"  {change}" for change in comparison.changes]
    lines += [
        "",
        "Values are those each run wrote. Hypervolume: share of the box in what both "
        "trade,",
        f"both fronts together running from 0 to 1, up to {CORNER:g}.",
    ]
    return "\n".join(lines)


def _signed(change: float, metric: Metric) -> str:
    """Change of a value, its sign shown, no sign where it rounds to nothing."""
    text = number(change, metric.decimals)
    return f"+{text}" if change > 0.0 and float(text) != 0.0 else text


def _anew_lines(comparison: RunComparison) -> list[str]:
    """What has become of the first front."""
    first, anew = comparison.first, comparison.anew
    lines = [
        "The first front, measured as the second run measures:",
        f"  {anew.made:,} of {first.n:,} designs can be rolled with its library, "
        f"{anew.met:,} of them meet what it asks",
    ]
    if not anew.met:
        return lines
    bests = [
        f"{METRIC[key].phrase} {number(anew.best[key], METRIC[key].decimals)} "
        f"{metric_unit(METRIC[key], comparison.currency)}".strip()
        for key, _ in comparison.objectives
    ]
    lines.append(f"  best of these: {', '.join(bests)}")
    lines.append(
        f"  hypervolume {anew.hypervolume:.4f}; the second front dominates "
        f"{anew.dominated:.1%} of them"
    )
    return lines


def comparison_json(comparison: RunComparison) -> dict[str, Any]:
    """Give a comparison of two runs as JSON values.

    Parameters
    ----------
    comparison : RunComparison
        Of two runs. [-]

    Returns
    -------
    data : dict
        Values in the units of the fronts' columns. [-]
    """

    def columns(best: Mapping[str, float]) -> dict[str, float]:
        return {METRIC[key].column: value for key, value in best.items()}

    def side(one: Side) -> dict[str, Any]:
        return {
            "folder": str(one.folder),
            "designs": one.n,
            "evaluations": one.evaluations,
            "best": columns(one.best),
            "hypervolume": one.hypervolume,
            "dominated_pct": one.dominated * 100.0,
        }

    anew = comparison.anew
    share = None if anew.dominated is None else anew.dominated * 100.0
    gain = comparison.gain
    return {
        "objectives": [
            {"metric": key, "sense": sense} for key, sense in comparison.objectives
        ],
        "currency": comparison.currency,
        "first": side(comparison.first),
        "second": side(comparison.second),
        "hypervolume_gain_pct": None if gain is None else gain * 100.0,
        "first_measured_anew": {
            "made": anew.made,
            "met": anew.met,
            "best": columns(anew.best),
            "hypervolume": anew.hypervolume,
            "dominated_pct": share,
        },
        "changes": list(comparison.changes),
    }


def write_comparison_picture(path: Path, first: Run, second: Run) -> Path:
    """Draw the fronts of two runs on one pair of axes.

    Parameters
    ----------
    path : Path
        File to write. [-]
    first, second : Run
        The runs. [-]

    Returns
    -------
    path : Path
        The same path. [-]
    """
    keys = [key for key, _ in _common(first, second)]
    keys = list(dict.fromkeys([*keys, *trade_axes(second.spec)]))
    usual = [key for key in ("material_cost", "torque") if key in keys]
    across, up = (usual + [key for key in keys if key not in usual])[:2]
    page = figure(5.4)
    ax = page.subplots()
    # an open and a filled mark, apart in lightness too, for any eye and printer
    for run, name, marker, face, edge in (
        (first, "first", "o", "none", "#D98A00"),
        (second, "second", "s", "#155A8A", "white"),
    ):
        front = run.front
        ax.scatter(
            front[METRIC[across].column],
            front[METRIC[up].column],
            s=26,
            marker=marker,
            facecolors=face,
            edgecolors=edge,
            linewidths=1.0 if face == "none" else 0.4,
            alpha=0.85,
            label=f"{name} run, {run.folder.name}: {len(front):,} designs",
            zorder=3 if name == "first" else 2,
        )
    currency = second.library.currency
    ax.set_xlabel(metric_heading(METRIC[across], currency))
    ax.set_ylabel(metric_heading(METRIC[up], currency))
    dress(ax)
    ax.legend(
        loc="lower center",
        bbox_to_anchor=(0.5, 1.0),
        ncols=2,
        frameon=False,
        fontsize=SMALL_SIZE,
        labelcolor=QUIET,
    )
    return save_png(page, path)
