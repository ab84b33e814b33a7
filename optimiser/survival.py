"""Which designs live on: in a population, and in the archive of the best."""

import moocore
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from model import METRIC
from optimiser.problem import Demand
from optimiser.state import Designs

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Designs kept in the archive at most; beyond it the least contributors are thinned.
ARCHIVE_MOST = 4000
#: What each design alone contributes is found exactly for this many objectives at most:
#: with four, the time grows as almost the cube of the number of designs. Beyond, it is
#: reckoned against so many near designs alone; half of 400 random ones on a front that
#: are kept so have 0.9995 of the hypervolume that exact ones keep.
_EXACT_OBJECTIVES, _BESIDE = 3, 16
#: Share of a population that may be infeasible once feasible designs are many.
_INFEASIBLE_SHARE = 0.1


def survivors(both: Designs, size: int) -> Designs:
    """Non-dominated feasible designs first, then the nearly feasible.

    Parameters
    ----------
    both : Designs
        Parents and their children. [-]
    size : int
        How many live on. [-]

    Returns
    -------
    designs : Designs
        At most so many. [-]
    """
    feasible = np.flatnonzero(both.violation <= 0.0)
    others = np.flatnonzero(both.violation > 0.0)
    others = others[np.argsort(both.violation[others], kind="stable")]
    n_others = max(size - len(feasible), int(_INFEASIBLE_SHARE * size))
    others = others[:n_others]
    n_feasible = size - len(others)
    if len(feasible) > n_feasible:
        rank = moocore.pareto_rank(both.F[feasible])
        kept: list[IntArray] = []
        left = n_feasible
        for r in range(int(rank.max()) + 1):
            front = feasible[rank == r]
            if len(front) > left:
                front = front[best_spread(both.F[front], left)]
            kept.append(front)
            left -= len(front)
            if left <= 0:
                break
        feasible = np.concatenate(kept)
    return both.take(np.concatenate([feasible, others]))


def archived(archive: Designs, feasible: Designs) -> Designs:
    """An archive with more designs taken in that nothing dominates.

    Parameters
    ----------
    archive, feasible : Designs
        What is kept, and what came. [-]

    Returns
    -------
    archive : Designs
        Thinned where it grew too large. [-]
    """
    both = archive.join(feasible)
    keep = moocore.is_nondominated(both.F, keep_weakly=False)
    archive = both.take(np.flatnonzero(keep))
    if archive.n > ARCHIVE_MOST:
        archive = archive.take(best_spread(archive.F, ARCHIVE_MOST * 3 // 4))
    return archive


def best_spread(F: Array, n: int) -> IntArray:
    """Indices of n of the designs that contribute most hypervolume.

    Parameters
    ----------
    F : ndarray, shape (n_design, n_objective)
        Objectives, all to be small. [-]
    n : int
        How many are wanted. [-]

    Returns
    -------
    index : ndarray, shape (at most n,)
        Rising. [-]
    """
    index: IntArray = np.arange(len(F))
    if F.shape[1] == 1:
        # nothing is spread out; of equal ones the first
        return np.sort(np.argsort(F[:, 0], kind="stable")[:n])
    unit = (F - F.min(axis=0)) / np.maximum(np.ptp(F, axis=0), 1e-12)
    corner = np.full(F.shape[1], 1.1)
    while len(index) > n:
        share = _contributions(unit[index], corner)
        # the outermost designs stay, whatever they contribute
        share[np.argmin(unit[index], axis=0)] = np.inf
        surplus = len(index) - n
        drop = max(1, surplus // 2)
        index = index[np.sort(np.argsort(share, kind="stable")[drop:])]
    best: IntArray = np.asarray(index, dtype=np.int64)
    return best


def _contributions(unit: Array, corner: Array) -> Array:
    """Hypervolume that each design has to itself; a bound if objectives are many."""
    if unit.shape[1] <= _EXACT_OBJECTIVES:
        shares: Array = moocore.hv_contributions(unit, ref=corner)
        return shares
    near = cKDTree(unit).query(unit, k=min(_BESIDE + 1, len(unit)))[1]
    beside = np.maximum(unit[np.asarray(near)[:, 1:]], unit[:, None, :])
    taken = [moocore.hypervolume(others, ref=corner) for others in beside]
    bounds: Array = np.prod(corner - unit, axis=1) - np.array(taken)
    return bounds


def fixed_box(F: Array, demand: Demand) -> tuple[Array, Array]:
    """Corners of the box that hypervolume is a share of.

    The far corner is the spec's bounds, or beyond the first front where an objective
    has none; the near one is nought for what is to be small, one above the bound for a
    margin and twice the bound for what else is to be large, so that runs of a spec
    compare.

    Parameters
    ----------
    F : ndarray, shape (n_design, n_objective)
        Objectives of the first feasible designs. [-]
    demand : Demand
        What is asked. [-]

    Returns
    -------
    reference, ideal : ndarray, shape (n_objective,)
        The far corner and the near one. [-]
    """
    worst = demand.worst()
    span = np.maximum(np.ptp(F, axis=0), 0.1 * np.abs(F).max(axis=0))
    reference = np.where(np.isfinite(worst), worst, F.max(axis=0) + span)
    is_bound = np.isfinite(worst) & (worst != 0.0)
    size = np.where(is_bound, np.abs(worst), np.abs(F).max(axis=0))
    is_margin = np.array([METRIC[key].is_margin for key in demand.objective_keys])
    ideal = np.where(demand.sense > 0, 0.0, reference - np.where(is_margin, 1.0, size))
    return reference, np.minimum(ideal, reference - 1e-9)


def share_of_box(F: Array, reference: Array, ideal: Array) -> float:
    """Hypervolume of a front as a share of a box.

    Parameters
    ----------
    F : ndarray, shape (n_design, n_objective)
        Objectives, all to be small. [-]
    reference, ideal : ndarray, shape (n_objective,)
        The box's far corner and its near one. [-]

    Returns
    -------
    share : float
        Of the box. [-]
    """
    unit = (F - ideal) / (reference - ideal)
    return float(moocore.hypervolume(unit, ref=np.ones(len(reference))))
