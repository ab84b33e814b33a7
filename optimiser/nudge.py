"""What small shifts on the rolling table do to designs of a front, and finer numbers.

A search ends near the edges of its bands, where a little more or less counts. Here some
designs of a front are evaluated again: at ten times the stations, there with the exact
section too, with each inner flag end moved by itself, with the mandrel set moved, and
with all of them moved at random together. What then lies outside a band or a rule is
counted, with by how much.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model import (
    METRIC,
    METRICS,
    SHOP_MEASURES,
    Conditions,
    Design,
    Library,
    evaluate,
    evaluate_batch,
    layups_of,
    read_design,
)
from optimiser.problem import Demand
from optimiser.spec import Spec
from optimiser.store import Run
from optimiser.words import ei_column

Array = NDArray[np.float64]

#: How many times more stations the finer evaluation has.
FINER: Final = 10
#: How designs are evaluated again, in this order: a short name and what is done.
NUDGES: Final = {
    "finer": f"{FINER} times the stations",
    "exact": "so many stations and the exact section",
    "end": "each inner flag end by itself",
    "set": "the mandrel set",
    "all": "all ends and the set, at random",
}
#: Beyond an edge by less than this share of the band or bound is rounding.
_ROUNDING = 1e-9
#: Two stations are the same if they are closer than this. [m]
_SAME = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class Nudges:
    """Designs of a front, evaluated again."""

    #: one row a design, kind of nudge and band or rule; values in the unit of `what`
    table: pd.DataFrame
    by: float  #: how far ends and the mandrel set were moved [m]
    draws: int  #: times that all were moved at random, for each design
    seed: int  #: of the choice of designs and of the moves
    front: int  #: designs on the front
    currency: str  #: of the library

    @property
    def n_designs(self) -> int:
        """Designs that were evaluated again."""
        return int(self.table["design"].nunique())

    def of(self, nudge: str) -> pd.DataFrame:
        """Rows of one kind of nudge.

        Parameters
        ----------
        nudge : str
            One of NUDGES. [-]

        Returns
        -------
        rows : DataFrame
            Part of the table. [-]
        """
        return self.table[self.table["nudge"] == nudge]

    def n_outside(self, nudge: str) -> int:
        """Count the designs that leave a band or break a rule.

        Parameters
        ----------
        nudge : str
            One of NUDGES. [-]

        Returns
        -------
        n : int
            Designs of which at least one case lies outside. [-]
        """
        rows = self.of(nudge)
        return int(rows["design"][rows["out"] > 0].nunique())


def nudge_run(
    run: Run, *, n: int = 10, by: float = 0.002, draws: int = 64, seed: int = 1
) -> Nudges:
    """Nudge designs of a run's front.

    Parameters
    ----------
    run : Run
        A run with a front. [-]
    n : int
        Designs, evenly spread over the front; all of them where it has no more. [-]
    by : float
        How far ends and the mandrel set are moved. [m]
    draws : int
        Times that all are moved at random, for each design. [-]
    seed : int
        Of the choice of designs and of the moves. [-]

    Returns
    -------
    nudges : Nudges
        What comes of it. [-]
    """
    front = run.front
    objectives = np.stack(
        [front[METRIC[target.metric].column] for target in run.spec.trades], axis=1
    )
    chosen = [str(front["id"].iloc[i]) for i in spread(objectives, n, seed)]
    designs = {
        identity: read_design(run.design_path(identity), run.library)
        for identity in chosen
    }
    return Nudges(
        table=nudged(run.spec, run.library, designs, by=by, draws=draws, seed=seed),
        by=by,
        draws=draws,
        seed=seed,
        front=len(front),
        currency=run.library.currency,
    )


def spread(objectives: Array, n: int, seed: int) -> list[int]:
    """Choose designs evenly spread over a front.

    The first by chance, then always the one furthest from those chosen, when each
    objective runs from 0 to 1 over the front.

    Parameters
    ----------
    objectives : ndarray, shape (n_design, n_objective)
        In any unit. [-]
    n : int
        How many; all where there are no more. [-]
    seed : int
        Which comes first. [-]

    Returns
    -------
    chosen : list of int
        Indices, as they were chosen. [-]
    """
    F = np.asarray(objectives, dtype=float)
    unit = (F - F.min(axis=0)) / np.maximum(np.ptp(F, axis=0), 1e-12)
    chosen = [int(np.random.default_rng(seed).integers(len(unit)))]
    nearest = np.full(len(unit), np.inf)
    while len(chosen) < min(n, len(unit)):
        away = ((unit - unit[chosen[-1]]) ** 2).sum(axis=1)
        nearest = np.minimum(nearest, away)
        nearest[chosen] = -1.0
        chosen.append(int(np.argmax(nearest)))
    return chosen


# ------------------------------------------------------------------------ bands


@dataclass(frozen=True, slots=True)
class _Bands:
    """Everything that a design is held to, side by side: bands, EI points, rules."""

    column: NDArray[np.int64]  #: metric column of each band
    stations: Array  #: of the EI points [m]
    what: list[str]  #: name with its unit
    scale: Array  #: shown value over the SI value
    low: Array  #: SI; infinite where there is no such edge
    high: Array

    @classmethod
    def of(cls, spec: Spec) -> "_Bands":
        demand = Demand.of(spec)
        metrics = [METRICS[i] for i in demand.column]
        stations = np.array([target.station for target in spec.ei_targets])
        is_least = demand.shop_sign < 0.0
        low = np.where(is_least, -demand.shop_limit, -np.inf)
        high = np.where(is_least, np.inf, demand.shop_limit)
        return cls(
            column=demand.column,
            stations=stations,
            what=[
                *(metric.column for metric in metrics),
                *(ei_column(float(station)) for station in stations),
                *(f"{name}_mm" for name in SHOP_MEASURES),
            ],
            scale=np.array(
                [metric.scale for metric in metrics]
                + [1.0] * len(stations)
                + [1e3] * len(SHOP_MEASURES)
            ),
            low=np.concatenate([demand.low, demand.ei_low, low]),
            high=np.concatenate([demand.high, demand.ei_high, high]),
        )

    def measured(self, designs: list[Design], shared: Conditions) -> Array:
        """What designs measure, (n, n_band), in SI."""
        report = evaluate_batch(layups_of(designs, shared), shared)
        metrics = report.metrics[:, self.column]
        return np.concatenate([metrics, report.EI, report.shop], axis=1)

    def measured_exactly(
        self, design: Design, library: Library, cell: float, fast_values: Array
    ) -> Array:
        """The same with the exact section; what the shop measures is alike in both."""
        exact = evaluate(design, library, cell=cell, exact=True)
        fast = evaluate(design, library, cell=cell)
        found = [exact.metrics[METRICS[i].key] for i in self.column]
        values: Array = fast_values[0].copy()
        values[: len(found)] = [np.nan if v is None else v for v in found]
        EI = [
            np.interp(self.stations, report.profile.station, report.profile.EI)
            for report in (exact, fast)
        ]
        values[len(found) : len(found) + len(self.stations)] *= EI[0] / EI[1]
        return values.reshape(1, -1)

    def beyond(self, values: Array) -> Array:
        """How far values lie outside, in SI; nought inside."""
        edges = np.where(np.isfinite([self.low, self.high]), [self.low, self.high], 0.0)
        slack = _ROUNDING * np.abs(edges).max(axis=0) + _SAME * 1e-3
        out = np.maximum(self.low - values, values - self.high)
        # a test that does not fit, or a wall ground through, keeps no band
        out = np.where(np.isnan(out), np.inf, out)
        kept: Array = np.where(out > slack, out, 0.0)
        return kept


# ----------------------------------------------------------------------- nudging


def nudged(
    spec: Spec,
    library: Library,
    designs: Mapping[str, Design],
    *,
    by: float,
    draws: int,
    seed: int,
) -> pd.DataFrame:
    """Evaluate designs again in all the ways of NUDGES.

    Parameters
    ----------
    spec : Spec
        What they are held to. [SI]
    library : Library
        Their materials and mandrels. [-]
    designs : mapping of str to Design
        By id. [SI]
    by : float
        How far ends and the mandrel set are moved. [m]
    draws : int
        Times that all are moved at random, for each design. [-]
    seed : int
        Of the moves. [-]

    Returns
    -------
    table : DataFrame
        One row a design, kind of nudge and band or rule: nominal value, edges, the
        largest change, that as a share of the band (where it has two edges), cases,
        cases outside, and by how much at most. [unit of `what`]
    """
    shared = Conditions.for_designs(
        library,
        list(designs.values()),
        ei_stations=[target.station for target in spec.ei_targets],
        step_length=spec.rules.diameter_step_length,
    )
    bands = _Bands.of(spec)
    rng = np.random.default_rng(seed)
    width = bands.high - bands.low
    rows = []
    for identity, design in designs.items():
        nominal = bands.measured([design], shared)[0]
        fine = replace(shared, cell=shared.cell / FINER)
        finer = bands.measured([design], fine)
        cases: dict[str, Array] = {
            "finer": finer,
            "exact": bands.measured_exactly(design, library, fine.cell, finer),
        }
        for nudge, moved in _moves(design, shared, by, draws, rng).items():
            if moved:
                cases[nudge] = bands.measured(moved, shared)
        for nudge, values in cases.items():
            change = values - nominal
            at = np.argmax(np.abs(change), axis=0)
            beyond = bands.beyond(values)
            for j, what in enumerate(bands.what):
                scale = float(bands.scale[j])
                largest = float(change[at[j], j])
                share = abs(largest) / width[j] if 0.0 < width[j] < np.inf else np.nan
                rows.append(
                    {
                        "design": identity,
                        "nudge": nudge,
                        "what": what,
                        "nominal": float(nominal[j]) * scale,
                        "low": _edge(bands.low[j] * scale),
                        "high": _edge(bands.high[j] * scale),
                        "largest_change": largest * scale,
                        "share_of_band": share,
                        "cases": len(values),
                        "out": int((beyond[:, j] > 0.0).sum()),
                        "out_by": float(beyond[:, j].max()) * scale,
                        "cases_out": int((beyond > 0.0).any(axis=1).sum()),
                    }
                )
    return pd.DataFrame(rows)


def _edge(value: float) -> float:
    return float(value) if np.isfinite(value) else np.nan


def _moves(
    design: Design,
    shared: Conditions,
    by: float,
    draws: int,
    rng: np.random.Generator,
) -> dict[str, list[Design]]:
    """A design with its ends and its mandrel set moved, by kind of nudge."""
    ends = _inner_ends(design)
    drawn = rng.uniform(-by, by, (draws, len(ends) + 1))
    return {
        "end": [
            _moved(design, {end: side * by}, 0.0, shared)
            for end in ends
            for side in (-1.0, 1.0)
        ],
        "set": [_moved(design, {}, side * by, shared) for side in (-1.0, 1.0)],
        "all": [
            _moved(design, dict(zip(ends, row[1:], strict=True)), row[0], shared)
            for row in drawn
        ],
    }


#: An end of a flag: its number in rolling order, and 0 for its start or 1 for its end.
_End = tuple[int, int]


def _inner_ends(design: Design) -> list[_End]:
    """Ends of flags that do not lie at an end of the shaft, where it is trimmed."""
    length = design.shaft.length
    return [
        (k, side)
        for k, flag in enumerate(design.flags)
        for side, x in enumerate((flag.start, flag.end))
        if _SAME < x < length - _SAME
    ]


def _moved(
    design: Design, ends: Mapping[_End, float], set_by: float, shared: Conditions
) -> Design:
    """A design with some ends and its mandrel set moved, none beyond what there is."""
    length = design.shaft.length
    flags = []
    for k, flag in enumerate(design.flags):
        start = flag.start + ends.get((k, 0), 0.0)
        end = flag.end + ends.get((k, 1), 0.0)
        flags.append(replace(flag, start=max(start, 0.0), end=min(end, length)))
    reach = next(
        mandrel.distance[-1]
        for mandrel in shared.mandrels
        if mandrel.name == design.shaft.mandrel
    )
    most = reach - length - shared.trim_butt
    moved = min(max(design.shaft.mandrel_set + set_by, shared.trim_tip), most)
    shaft = replace(design.shaft, mandrel_set=float(moved))
    return replace(design, flags=tuple(flags), shaft=shaft)
