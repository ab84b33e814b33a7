"""Many shafts in one call: the compiled evaluation and its arrays.

Arrays lead with the design axis. A single shaft goes through the same compiled
function, see ``model.shaft``.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from model import metrics as col
from model.compilation import SOURCES, compiled_lean_entry
from model.conditions import Conditions, Layups, Numbers
from model.errors import ModelRangeError
from model.kernel import evaluate_one
from model.scratch import Work, workspace
from model.wall import SAME_STATION

Array = NDArray[np.float64]


def _entry(sources: int) -> Any:
    @compiled_lean_entry
    def evaluate_all(
        numbers: Numbers,
        layups: Layups,
        work: Work,
        given: Array,
        metrics: Array,
        EI: Array,
        shop: Array,
    ) -> None:
        _ = sources  # part of the key under which the machine code is kept
        for i in range(len(layups.length)):
            evaluate_one(
                numbers,
                layups,
                i,
                work,
                given,
                metrics[i],
                EI[i],
                shop[i],
            )

    return evaluate_all


_evaluate_all = _entry(SOURCES)


class BatchReport(NamedTuple):
    """What many designs measure, design axis first."""

    #: (n, n_metric) in the order of METRICS; NaN where a test does not fit [SI]
    metrics: Array
    EI: Array  #: (n, n_ei) at the conditions' stations [N·m²]
    shop: Array  #: (n, 6) in the order of SHOP_MEASURES [m]


def evaluate_batch(
    layups: Layups,
    conditions: Conditions,
    *,
    work: Work | None = None,
    given: Array | None = None,
) -> BatchReport:
    """Evaluate many designs in one call.

    Parameters
    ----------
    layups : Layups
        The designs. [SI]
    conditions : Conditions
        What they share. [SI]
    work : Work or None
        Scratch of an earlier call for designs no longer and no richer. [-]
    given : ndarray, shape (3, n_x), or None
        EI, GJ and inverse of the curvature borne at the points, instead of those of
        the ring sums. [N·m², N·m², m]

    Returns
    -------
    report : BatchReport
        Metrics, EI at the asked stations, shop measures. [SI]

    Raises
    ------
    ModelRangeError
        If a flag lies off its shaft or a shaft off its mandrel.
    """
    n, n_flags = layups.sheet.shape
    _check(layups, conditions)
    if work is None:
        longest = float(layups.length.max()) if n else 1.0
        work = workspace(conditions, n_flags, longest)
    metrics = np.full((n, len(col.METRICS)), np.nan)
    EI = np.full((n, len(conditions.ei_stations)), np.nan)
    shop = np.zeros((n, len(col.SHOP_MEASURES)))
    there = np.zeros((0, 0)) if given is None else given
    if n:
        _evaluate_all(
            conditions.numbers,
            layups,
            work,
            there,
            metrics,
            EI,
            shop,
        )
    return BatchReport(metrics, EI, shop)


def _check(layups: Layups, conditions: Conditions) -> None:
    there = layups.sheet >= 0
    if not there.any(axis=1).all():
        raise ModelRangeError("a design has no flags")
    start, end = layups.start, layups.end
    long = layups.length[:, None] + SAME_STATION
    if np.any(there & ~((start >= 0.0) & (start < end) & (end <= long))):
        raise ModelRangeError("a flag does not lie between tip and butt")
    if np.any(there & (layups.sheet >= len(conditions.sheets))):
        raise ModelRangeError("a flag's sheet is not among the conditions' sheets")
    if np.any(there & ~((layups.wraps > 0.0) | (layups.width_tip > 0.0))):
        raise ModelRangeError("a flag has neither wraps nor widths")
    full = np.array([mandrel.distance[-1] for mandrel in conditions.mandrels])
    reach = layups.mandrel_set + layups.length + conditions.trim_butt
    if np.any(layups.mandrel_set < conditions.trim_tip - SAME_STATION) or np.any(
        reach > full[layups.mandrel] + SAME_STATION
    ):
        raise ModelRangeError("a shaft does not lie on its mandrel")
