"""What is asked of a design, as numbers: objectives, bands, shop rules."""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from pymoo.core.problem import Problem

from model import METRIC, METRICS, SHOP_MEASURES, BatchReport, Layups, evaluate_batch
from optimiser.encoding import Encoding
from optimiser.spec import Spec, Target

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

_COLUMN = {metric.key: i for i, metric in enumerate(METRICS)}
#: A one-sided bound has no tolerance to be measured by; this share of it stands in.
_BOUND_SHARE = 0.05
#: How far beyond a shop rule counts as one unit of violation. [m]
SHOP_UNIT = 1e-4


class Scores(NamedTuple):
    """Designs measured against a spec."""

    F: Array  #: (n, n_objective) objectives, all to be small; sign turned here only
    G: Array  #: (n, n_band) how far outside each band or rule, in its own unit; <= 0 in
    violation: Array  #: (n,) sum of the positive parts of G; 0 for a feasible design


def banded_targets(spec: Spec) -> list[Target]:
    """Targets that hold a design within a band.

    Parameters
    ----------
    spec : Spec
        A checked target spec. [SI]

    Returns
    -------
    targets : list of Target
        As in the columns of G: the spec's own, then the rule on the spread round the
        clock, which one of them may be named like. [SI]
    """
    banded = [t for t in spec.targets if np.isfinite(t.low) or np.isfinite(t.high)]
    rule = Target(metric="direction_spread", high=spec.rules.direction_spread_max)
    return [*banded, rule]


@dataclass(frozen=True)
class Demand:
    """The spec as arrays: what is traded, what is banded, what the shop rules."""

    objective: IntArray  #: metric column of each objective
    sense: Array  #: 1 where less is better, -1 where more is
    column: IntArray  #: metric column of each band
    low: Array  #: (n_band,) SI
    high: Array
    unit: Array  #: what counts as one unit of violation
    ei_low: Array  #: (n_ei,) [N·m²]
    ei_high: Array
    ei_unit: Array
    shop_sign: Array  #: (n_shop,) measure times sign must not exceed the limit
    shop_limit: Array

    @classmethod
    def of(cls, spec: Spec) -> "Demand":
        """Number what a spec demands.

        Parameters
        ----------
        spec : Spec
            A checked target spec. [SI]

        Returns
        -------
        demand : Demand
            The same as arrays. [SI]
        """
        banded = banded_targets(spec)
        unit = []
        for target in banded:
            width = (target.high - target.low) / 2.0
            if np.isfinite(width) and width > 0.0:
                unit.append(width)
            else:
                edge = target.low if np.isfinite(target.low) else target.high
                # a margin is a ratio less one, so its share is taken of the ratio
                size = 1.0 + edge if METRIC[target.metric].is_margin else abs(edge)
                unit.append(max(size * _BOUND_SHARE, 1e-3))
        rules = spec.rules
        limits = {
            "wall_min": (-1.0, -rules.wall_min),
            "diameter_step": (1.0, rules.diameter_step_max),
            "tip_shortage": (1.0, 0.0),
            "tip_grind_depth": (1.0, rules.tip_grind_max),
            "bias_ground": (1.0, np.inf if rules.grind_into_bias else 0.0),
            "roll_overhang": (1.0, 0.0),
        }
        return cls(
            objective=np.array([_COLUMN[t.metric] for t in spec.trades]),
            sense=np.array([1.0 if t.trade == "less" else -1.0 for t in spec.trades]),
            column=np.array([_COLUMN[t.metric] for t in banded], dtype=np.int64),
            low=np.array([t.low for t in banded]),
            high=np.array([t.high for t in banded]),
            unit=np.array(unit),
            ei_low=np.array([t.target - t.tolerance for t in spec.ei_targets]),
            ei_high=np.array([t.target + t.tolerance for t in spec.ei_targets]),
            ei_unit=np.array([t.tolerance for t in spec.ei_targets]),
            shop_sign=np.array([limits[name][0] for name in SHOP_MEASURES]),
            shop_limit=np.array([limits[name][1] for name in SHOP_MEASURES]),
        )

    @property
    def objective_keys(self) -> list[str]:
        """Metric keys of the objectives."""
        return [METRICS[i].key for i in self.objective]

    @property
    def band_names(self) -> list[str]:
        """Name of each column of G."""
        names = [METRICS[i].key for i in self.column]
        names += [f"EI point {i + 1}" for i in range(len(self.ei_low))]
        return names + list(SHOP_MEASURES)

    def score(self, report: BatchReport) -> Scores:
        """Measure evaluated designs against the demand.

        Parameters
        ----------
        report : BatchReport
            Evaluated designs. [SI]

        Returns
        -------
        scores : Scores
            Objectives, bands, violation. [-]
        """
        metrics = report.metrics[:, self.column]
        bands = np.maximum(self.low - metrics, metrics - self.high) / self.unit
        points = np.maximum(self.ei_low - report.EI, report.EI - self.ei_high)
        shop = (report.shop * self.shop_sign - self.shop_limit) / SHOP_UNIT
        G = np.concatenate([bands, points / self.ei_unit, shop - 1e-6], axis=1)
        # a test that does not fit, or a wall ground through, can satisfy nothing
        G = np.where(np.isnan(G), np.inf, G)
        F = report.metrics[:, self.objective] * self.sense
        violation = np.maximum(G, 0.0).sum(axis=1)
        return Scores(F, G, violation)

    def worst(self) -> Array:
        """Bound of each objective, in the objectives' sign; infinite where none."""
        worst = np.full(len(self.objective), np.inf)
        for i, (column, sense) in enumerate(
            zip(self.objective, self.sense, strict=True)
        ):
            for j in np.flatnonzero(self.column == column):
                edge = self.high[j] if sense > 0 else -self.low[j]
                worst[i] = min(worst[i], edge)
        return worst


class ShaftProblem(Problem):
    """The spec as a pymoo problem over integer genomes."""

    def __init__(self, encoding: Encoding) -> None:
        self.encoding = encoding
        self.demand = Demand.of(encoding.spec)
        n_bands = len(self.demand.band_names)
        choices = encoding.n_choices
        super().__init__(
            n_var=len(choices),
            n_obj=len(self.demand.objective),
            n_ieq_constr=n_bands,
            xl=np.zeros(len(choices)),
            xu=choices - 1.0,
            vtype=int,
        )

    def evaluate_genomes(self, genomes: IntArray) -> tuple[Layups, Scores]:
        """Decode, evaluate and score genomes.

        Parameters
        ----------
        genomes : ndarray, shape (n, n_genes)
            Integers. [-]

        Returns
        -------
        layups, scores : Layups, Scores
            The designs and how they measure. [SI]
        """
        layups, _ = self.encoding.decode(genomes)
        return layups, self.demand.score(
            evaluate_batch(layups, self.encoding.conditions)
        )

    def _evaluate(self, x: Array, out: dict[str, Any], *_: Any, **__: Any) -> None:
        _layups, scores = self.evaluate_genomes(np.rint(x).astype(np.int64))
        out["F"] = np.where(np.isfinite(scores.F), scores.F, 1e9)
        out["G"] = np.minimum(scores.G, 1e9)
