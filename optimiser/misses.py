"""What a design misses of what a spec asks, in words."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from model import METRIC, SHOP_MEASURES, BatchReport, amount_text
from optimiser.problem import Demand, banded_targets
from optimiser.spec import EITarget, Spec
from optimiser.spec_words import describe_target

Array = NDArray[np.float64]

#: What a shop measure is called, and whether the rule is a least value.
_SHOP_WORDS = {
    "wall_min": "thinnest wall",
    "diameter_step": "largest step of the outside diameter",
    "tip_shortage": "build below the tip diameter by",
    "tip_grind_depth": "grinding depth at the tip",
    "bias_ground": "grinding into a bias flag by",
    "roll_overhang": "piece wider than its roll by",
}


def misses(report: BatchReport, demand: Demand, spec: Spec) -> list[str]:
    """Say which bands and rules an evaluated design misses, and by how much.

    Parameters
    ----------
    report : BatchReport
        Of one design. [SI]
    demand : Demand
        What is asked, as numbers. [SI]
    spec : Spec
        What is asked. [SI]

    Returns
    -------
    lines : list of str
        One a band or rule that is missed, the worst first; empty for a feasible design.
        [-]
    """
    G = demand.score(report).G[0]
    said: list[tuple[float, str]] = []
    columns = list(METRIC)
    targets = banded_targets(spec)
    points = {f"EI point {i}": i - 1 for i in range(1, len(spec.ei_targets) + 1)}
    for j, (name, excess) in enumerate(zip(demand.band_names, G, strict=True)):
        if excess <= 0.0:
            continue
        if j < len(targets):
            target, metric = targets[j], METRIC[name]
            value = float(report.metrics[0, columns.index(name)])
            band = (target.low * metric.scale, target.high * metric.scale)
            text = (
                f"{metric.phrase} {metric.shown(value)}, "
                f"{'rule' if target is targets[-1] else 'asked'} "
                f"{describe_target(replace(target, trade=None))}"
                + _off(value * metric.scale, band, metric.decimals + 1, metric.unit)
            )
        elif name in points:
            point = spec.ei_targets[points[name]]
            value = float(report.EI[0, points[name]])
            band = (point.target - point.tolerance, point.target + point.tolerance)
            text = (
                f"EI at {point.station * 1e3:g} mm {value:.2f} N·m², "
                f"asked {band[0]:.2f} to {band[1]:.2f} N·m²"
                + _off(value, band, 2, "N·m²")
            )
        else:
            i = SHOP_MEASURES.index(name)
            sign, limit = float(demand.shop_sign[i]), float(demand.shop_limit[i])
            value = float(report.shop[0, i])
            # where nothing is allowed, however little it is, it is too much
            is_any = limit == 0.0 and value > 0.0
            # of the radius, but a tip is measured across
            length = value * (2e3 if name == "tip_shortage" else 1e3)
            shown = amount_text(length, 3) if is_any else f"{length:.3f}"
            text = f"{_SHOP_WORDS[name]} {shown} mm"
            if limit:
                bound = "at least" if sign < 0 else "at most"
                text += f", rule {bound} {sign * limit * 1e3:.3f} mm"
        said.append((float(excess), text))
    return [text for _, text in sorted(said, key=lambda item: -item[0])]


def band_asked(name: str, spec: Spec) -> tuple[str, str]:
    """What a band is called, and what it asks.

    Parameters
    ----------
    name : str
        As in ``Demand.band_names``; a metric or a point of the EI profile. [-]
    spec : Spec
        What is asked. [SI]

    Returns
    -------
    name, asked : str, str
        In words. [-]
    """
    if name in METRIC:
        target = next(t for t in spec.targets if t.metric == name)
        return METRIC[name].phrase, describe_target(replace(target, trade=None))
    point = _point(name, spec)
    low, high = point.target - point.tolerance, point.target + point.tolerance
    return f"EI at {point.station * 1e3:g} mm", f"{low:.2f} to {high:.2f} N·m²"


def band_value(name: str, spec: Spec, metrics: Array, EI: Array) -> tuple[float, str]:
    """A design's value of a band.

    Parameters
    ----------
    name : str
        As in ``Demand.band_names``; a metric or a point of the EI profile. [-]
    spec : Spec
        What is asked. [SI]
    metrics, EI : ndarray, shape (n_metric,) and (n_ei,)
        Of the design. [SI]

    Returns
    -------
    value, shown : float, str
        In SI, and as people read it. [SI]
    """
    if name in METRIC:
        value = float(metrics[list(METRIC).index(name)])
        return value, METRIC[name].shown(value)
    value = float(EI[spec.ei_targets.index(_point(name, spec))])
    return value, f"{value:.2f} N·m²"


def _point(name: str, spec: Spec) -> EITarget:
    return spec.ei_targets[int(name.rsplit(" ", 1)[1]) - 1]


def _off(value: float, band: tuple[float, float], decimals: int, unit: str) -> str:
    """By how much a value lies outside a band."""
    if math.isnan(value):
        return ""
    low, high = band
    by, word = (low - value, "low") if value < low else (value - high, "high")
    return f": {amount_text(by, decimals)} {unit}".rstrip() + f" too {word}"
