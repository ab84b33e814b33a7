"""Choosing from a front: tables for the terminal, suggested picks."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model import METRIC, METRICS
from optimiser.words import (
    ei_column,
    metric_heading,
    metric_unit,
    mm,
    number,
)

if TYPE_CHECKING:
    from optimiser.spec import Spec

Array = NDArray[np.float64]

#: what is traded on a picture where a spec trades fewer metrics
_USUAL_TRADES = ("material_cost", "torque", "durability")
#: what the best design in a metric is called; others are named by their label
_TITLES = {
    ("material_cost", "less"): "Cheapest",
    ("torque", "less"): "Least torque",
    ("durability", "more"): "Most durable",
    ("weight", "less"): "Lightest",
}
_KNEE, _MIDDLE = "Best compromise", "Nearest the middle of all bands"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pick:
    """A design of the front that stands out, and why."""

    design_id: str
    title: str  #: what it is, such as "Cheapest"
    reason: str  #: one sentence


def trade_axes(spec: Spec | None) -> tuple[str, str, str]:
    """Choose the three metrics that a picture of the front shows.

    Parameters
    ----------
    spec : Spec or None
        What it trades comes first. [-]

    Returns
    -------
    keys : tuple of str
        Metrics across, upwards and in colour. [-]
    """
    traded = [] if spec is None else [target.metric for target in spec.trades]
    across, up, colour = list(dict.fromkeys([*traded, *_USUAL_TRADES]))[:3]
    return across, up, colour


def front_table(
    front: pd.DataFrame, spec: Spec | None = None, currency: str = ""
) -> pd.DataFrame:
    """Make the table of a front as people read it.

    Parameters
    ----------
    front : DataFrame
        One row a design, columns `id` and the metrics' columns. [-]
    spec : Spec or None
        What it targets is shown; every metric that has a value without. [-]
    currency : str
        Currency of the library, for the cost. [-]

    Returns
    -------
    table : DataFrame
        Texts, rounded; a column a metric, headed by its name and unit. [-]
    """
    table = {"Design": front["id"].astype(str)}
    asked = None if spec is None else {target.metric for target in spec.targets}
    for metric in METRICS:
        if metric.column not in front or (
            asked is not None and metric.key not in asked
        ):
            continue
        values = pd.to_numeric(front[metric.column])
        if asked is None and values.isna().all():
            continue
        table[metric_heading(metric, currency)] = values.map(
            lambda value, digits=metric.decimals: number(float(value), digits)
        )
    return pd.DataFrame(table).reset_index(drop=True)


def table_text(table: pd.DataFrame) -> str:
    """Write a table of texts for a terminal, its heads wrapped to narrow columns.

    Parameters
    ----------
    table : DataFrame
        Such as `front_table` makes. [-]

    Returns
    -------
    text : str
        Lines under a rule; the first column left, the others right. [-]
    """
    columns = []
    for i, name in enumerate(table.columns):
        cells = [str(cell) for cell in table.iloc[:, i]]
        least = max([len(cell) for cell in cells], default=0)
        widest = max(least, *(len(word) for word in str(name).split()), 1)
        columns.append((textwrap.wrap(str(name), widest) or [""], cells, widest))
    high = max(len(head) for head, _, _ in columns)
    # heads stand on the rule, so short ones start lower
    lines = [
        [
            head[k - high + len(head)] if k >= high - len(head) else ""
            for head, _, _ in columns
        ]
        for k in range(high)
    ]
    lines.append(["-" * width for _, _, width in columns])
    lines += [[cells[r] for _, cells, _ in columns] for r in range(len(table))]
    return "\n".join(
        "  ".join(
            text.ljust(width) if i == 0 else text.rjust(width)
            for i, (text, (_, _, width)) in enumerate(zip(line, columns, strict=True))
        ).rstrip()
        for line in lines
    )


def suggest(front: pd.DataFrame, spec: Spec, currency: str = "") -> list[Pick]:
    """Pick the designs of a front that are worth looking at first.

    The best in every traded metric, in cost, torque and durability; the best
    compromise, which is the knee of the front: the design that lies furthest in front
    of the plane through the extremes when each traded metric runs from 0 at its best
    to 1 at its worst; the design nearest the middle of all its bands.

    Parameters
    ----------
    front : DataFrame
        One row a design, columns `id`, the metrics' columns and, if the EI points'
        bands are to count, the columns named by `ei_column`. [-]
    spec : Spec
        What was asked. [-]
    currency : str
        Currency of the library, for the cost. [-]

    Returns
    -------
    picks : list of Pick
        Empty for an empty front; a design may be picked more than once. [-]
    """
    if front.empty:
        return []
    senses = {target.metric: str(target.trade) for target in spec.trades}
    losses = {key: _loss(front, key, sense) for key, sense in senses.items()}
    total = np.sum(list(losses.values()), axis=0)
    picks = []
    usual = {key: METRIC[key].better for key in _USUAL_TRADES if key not in senses}
    for key, sense in {**senses, **usual}.items():
        values = _values(front, METRIC[key].column)
        cost = values if sense == "less" else -values
        if np.isnan(cost).all():
            continue
        best = _first(front, cost, total)
        picks.append(_best_pick(front, best, key, sense, senses, currency))
    if len(losses) > 1:
        best = _first(front, total, total)
        given_up = _listing(
            f"{loss[best]:.0%} from the best {METRIC[key].phrase}"
            for key, loss in losses.items()
        )
        reason = f"Gives up least over all: of the front's range it is {given_up}."
        picks.append(Pick(design_id=_id(front, best), title=_KNEE, reason=reason))
    use = _band_use(front, spec)
    if use:
        worst = np.max(list(use.values()), axis=0)
        if not np.isnan(worst).all():
            best = _first(front, worst, total)
            name = max(use, key=lambda label: float(use[label][best]))
            reason = (
                "Leaves most room for scatter: no value is further from the middle of "
                f"its band than {worst[best]:.0%} of the way to the edge ({name})."
            )
            picks.append(Pick(design_id=_id(front, best), title=_MIDDLE, reason=reason))
    return picks


def _values(front: pd.DataFrame, column: str) -> Array:
    """Column as numbers; all NaN where the front has none."""
    if column not in front:
        return np.full(len(front), np.nan)
    return pd.to_numeric(front[column]).to_numpy(dtype=np.float64)


def _loss(front: pd.DataFrame, key: str, sense: str) -> Array:
    """Loss in a traded metric: 0 for the best of the front, 1 for the worst."""
    values = _values(front, METRIC[key].column)
    cost = values if sense == "less" else -values
    known = cost[np.isfinite(cost)]
    if not known.size or known.max() == known.min():
        return np.where(np.isfinite(cost), 0.0, 1.0)
    return np.where(
        np.isfinite(cost), (cost - known.min()) / (known.max() - known.min()), 1.0
    )


def _first(front: pd.DataFrame, cost: Array, total: Array) -> int:
    """Row of least cost; ties go to the better compromise, then to the lower id."""
    order = np.lexsort((front["id"].astype(str).to_numpy(), total, cost))
    return int(order[0])


def _id(front: pd.DataFrame, row: int) -> str:
    return str(front["id"].iloc[row])


def _listing(parts: Iterable[str]) -> str:
    """Parts as a sentence lists them."""
    *most, last = parts
    return f"{', '.join(most)} and {last}" if most else last


def _said(front: pd.DataFrame, row: int, key: str, currency: str) -> str:
    """Name of a metric and its value."""
    metric = METRIC[key]
    value = number(float(_values(front, metric.column)[row]), metric.decimals)
    return f"{metric.phrase} {value} {metric_unit(metric, currency)}".strip()


def _best_pick(
    front: pd.DataFrame,
    row: int,
    key: str,
    sense: str,
    senses: Mapping[str, str],
    currency: str,
) -> Pick:
    """Pick of the best design in one metric, with what it gives for the others."""
    metric = METRIC[key]
    label = metric.phrase
    value = number(float(_values(front, metric.column)[row]), metric.decimals)
    word = "Lowest" if sense == "less" else "Highest"
    unit = metric_unit(metric, currency)
    reason = f"{word} {label} of the front, {value} {unit}".rstrip()
    others = [_said(front, row, other, currency) for other in senses if other != key]
    if others:
        reason += f", with {_listing(others)}"
    title = _TITLES.get((key, sense), f"{word} {label}")
    return Pick(design_id=_id(front, row), title=title, reason=f"{reason}.")


def _band_use(front: pd.DataFrame, spec: Spec) -> dict[str, Array]:
    """How far each design is from the middle of each band, over half its width."""
    use = {}
    for target in spec.targets:
        if not (math.isfinite(target.low) and math.isfinite(target.high)):
            continue
        metric = METRIC[target.metric]
        half = 0.5 * (target.high - target.low) * metric.scale
        if half > 0.0:
            middle = 0.5 * (target.high + target.low) * metric.scale
            values = _values(front, metric.column)
            use[metric.phrase] = np.abs(values - middle) / half
    for point in spec.ei_targets:
        column = ei_column(point.station)
        if column in front:
            off = np.abs(_values(front, column) - point.target) / point.tolerance
            use[f"EI at {mm(point.station)} mm"] = off
    return use


def suggested(picks: Sequence[Pick]) -> Pick | None:
    """Choose the pick to make first: the best compromise where there is one.

    Parameters
    ----------
    picks : sequence of Pick
        Picks of a front. [-]

    Returns
    -------
    pick : Pick or None
        None if there are none. [-]
    """
    knee = next((pick for pick in picks if pick.title == _KNEE), None)
    return knee or (picks[0] if picks else None)


def spread(
    front: pd.DataFrame, spec: Spec, seeds: Sequence[str], count: int
) -> list[str]:
    """Choose designs that are spread over a front.

    Each is the one that lies furthest from all before it when every traded metric runs
    from 0 at its best to 1 at its worst; ties go to the lower id.

    Parameters
    ----------
    front : DataFrame
        One row a design, columns `id` and the metrics' columns. [-]
    spec : Spec
        What it trades says how far designs are apart. [-]
    seeds : sequence of str
        Ids that are chosen already; the others keep away from them. [-]
    count : int
        How many to choose at most. [-]

    Returns
    -------
    names : list of str
        Ids in the order they were chosen, without the seeds; fewer than `count` where
        the front has no more that differ. [-]
    """
    losses = _losses(front, spec)
    names = front["id"].astype(str).to_numpy()
    order = np.argsort(names, kind="stable")
    losses, names = losses[order], names[order]
    is_seed = np.isin(names, list(seeds))
    gap = np.full(len(names), np.inf)
    for seed in np.flatnonzero(is_seed).tolist():
        gap = np.minimum(gap, _gaps(losses, seed))
    chosen: list[str] = []
    while len(chosen) < count and len(names):
        furthest = int(np.argmax(gap))
        if gap[furthest] <= 0.0:
            break
        chosen.append(str(names[furthest]))
        gap = np.minimum(gap, _gaps(losses, furthest))
    return chosen


def nearest(front: pd.DataFrame, spec: Spec, names: Sequence[str]) -> list[str]:
    """Find which of some designs lies nearest to each design of a front.

    Parameters
    ----------
    front : DataFrame
        One row a design, columns `id` and the metrics' columns. [-]
    spec : Spec
        What it trades says how far designs are apart, as for `spread`. [-]
    names : sequence of str
        Ids of those to choose from. [-]

    Returns
    -------
    nearest : list of str
        An id a design of the front; a design of `names` is nearest to itself. [-]
    """
    losses = _losses(front, spec)
    rows = {name: i for i, name in enumerate(front["id"].astype(str))}
    gaps = np.stack([_gaps(losses, rows[name]) for name in names])
    for k, name in enumerate(names):
        gaps[k, rows[name]] = -1.0
    return [names[int(k)] for k in np.argmin(gaps, axis=0)]


def _losses(front: pd.DataFrame, spec: Spec) -> Array:
    """Losses of designs in all traded metrics, a column each."""
    senses = {target.metric: str(target.trade) for target in spec.trades}
    if not senses:
        senses = {key: METRIC[key].better for key in _USUAL_TRADES}
    return np.stack([_loss(front, *trade) for trade in senses.items()], axis=1)


def _gaps(losses: Array, row: int) -> Array:
    """How far designs are from one of them."""
    gaps: Array = np.linalg.norm(losses - losses[row], axis=1)
    return gaps


def picks_table(front: pd.DataFrame, picks: Sequence[Pick]) -> pd.DataFrame:
    """Make the table of the picks of a front, with all that is known of them.

    Parameters
    ----------
    front : DataFrame
        One row a design. [-]
    picks : sequence of Pick
        Picks of the front. [-]

    Returns
    -------
    table : DataFrame
        Title, id, reason and the metrics' columns, rounded; a row a pick. [-]
    """
    table = pd.DataFrame(
        [{"title": p.title, "id": p.design_id, "reason": p.reason} for p in picks],
        columns=["title", "id", "reason"],
    )
    columns = ["id", *(m.column for m in METRICS if m.column in front)]
    digits = {m.column: m.decimals + 2 for m in METRICS if m.column in front}
    values = front[columns].assign(id=front["id"].astype(str)).round(digits)
    return table.merge(values, on="id", how="left")
