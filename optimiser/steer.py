"""Steps of flag ends that bring a missed band into reach.

The derivative of every metric to the end of a flag follows from one evaluation: where
an end moves, one wall replaces another. From these a least-norm step towards the bands
is solved for all designs of a generation at once, in a random metric so that equal
designs do not take equal steps.
"""

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from model import GRADIENTS, METRICS, BatchReport, Layups
from optimiser.problem import Demand

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_AT = {metric.key: i for i, metric in enumerate(METRICS)}
_G = {name: i for i, name in enumerate(GRADIENTS)}
#: Farthest an end is moved in one step. [m]
FARTHEST = 0.12
#: Steps aim inside this share of the band.
_AIM = 0.9
#: Metrics known before and after the stiffness is.
QUICK = ("weight", "balance_point", "material_cost")
FULL = (
    *QUICK,
    "frequency",
    "torque",
    "tip_deflection",
    "butt_deflection",
    "flex_point_ratio",
)


def metric_gradient(key: str, report: BatchReport, length: Array) -> Array:
    """Derivative of a metric to the flags' ends.

    Parameters
    ----------
    key : str
        One of FULL. [-]
    report : BatchReport
        Evaluated with derivatives. [SI]
    length : ndarray, shape (n,)
        Length of the shafts. [m]

    Returns
    -------
    gradient : ndarray, shape (n, n_flag, 2)
        To start and end of each flag. [SI per m]
    """
    g = report.gradient
    if key == "balance_point":
        weight = report.metrics[:, _AT["weight"], None, None]
        balance = report.metrics[:, _AT["balance_point"], None, None]
        centre = length[:, None, None] - balance
        return -(g[..., _G["moment"]] - centre * g[..., _G["weight"]]) / weight
    if key == "frequency":
        frequency = report.metrics[:, _AT["frequency"], None, None]
        return 0.5 * frequency * g[..., _G["ln_omega2"]]
    if key == "flex_point_ratio":
        tip = report.metrics[:, _AT["tip_deflection"], None, None]
        butt = report.metrics[:, _AT["butt_deflection"], None, None]
        d_tip, d_butt = g[..., _G["tip_deflection"]], g[..., _G["butt_deflection"]]
        return (butt * d_tip - tip * d_butt) / (tip + butt) ** 2
    return g[..., _G[key]]


def steps(
    demand: Demand,
    report: BatchReport,
    layups: Layups,
    place: IntArray,
    movable: BoolArray,
    rng: Generator,
    keys: tuple[str, ...],
) -> Array:
    """Shifts of ends that aim at the bands.

    Parameters
    ----------
    demand : Demand
        Bands. [SI]
    report : BatchReport
        Designs, evaluated with derivatives. [SI]
    layups : Layups
        The same designs. [SI]
    place : ndarray, shape (n, n_flag)
        Place of each flag; -1 for no flag. [-]
    movable : ndarray of bool, shape (n_place, 2)
        Which ends the spec leaves free. [-]
    rng : Generator
        Source of randomness. [-]
    keys : tuple of str
        Metrics that steer. [-]

    Returns
    -------
    shifts : ndarray, shape (n, n_place, 2)
        0 for ends that stay. [m]
    """
    n, n_flags = place.shape
    rows = [j for j, c in enumerate(demand.column) if METRICS[c].key in keys]
    n_ends = 2 * n_flags
    if not rows or n == 0:
        return np.zeros((n, len(movable), 2))
    J = np.empty((n, len(rows), n_ends))
    wanted = np.empty((n, len(rows)))
    for i, j in enumerate(rows):
        column = demand.column[j]
        slope = metric_gradient(METRICS[column].key, report, layups.length)
        J[:, i] = slope.reshape(n, n_ends) / demand.unit[j]
        value = report.metrics[:, column]
        low, high = demand.low[j], demand.high[j]
        finite = np.isfinite(low) and np.isfinite(high)
        margin = (1.0 - _AIM) * demand.unit[j]
        inside = np.clip(value, low + margin, high - margin)
        if finite:
            # somewhere inside, so that the grid of the ends may still miss a little
            random = low + (0.15 + 0.7 * rng.random(n)) * (high - low)
            outside = (value < low + margin) | (value > high - margin)
            inside = np.where(outside, random, value)
        wanted[:, i] = (inside - value) / demand.unit[j]
    free = movable[place.clip(0)] & (place >= 0)[..., None]
    weight = rng.random((n, n_ends)) ** 2 * free.reshape(n, n_ends)
    J = np.where(np.isfinite(J), J, 0.0)
    wanted = np.where(np.isfinite(wanted), wanted, 0.0)
    weighted = J * weight[:, None, :]
    normal = weighted @ J.transpose(0, 2, 1)
    trace = np.trace(normal, axis1=1, axis2=2)
    eye = np.eye(len(rows))
    normal += (1e-6 * trace + 1e-12)[:, None, None] * eye
    multipliers = np.linalg.solve(normal, wanted[..., None])
    shift = (weighted.transpose(0, 2, 1) @ multipliers)[..., 0]
    shift = np.clip(shift, -FARTHEST, FARTHEST).reshape(n, n_flags, 2)
    out = np.zeros((n, len(movable), 2))
    design, flag = np.nonzero(place >= 0)
    out[design, place[design, flag]] = shift[design, flag]
    return out
