"""The [targets] of a spec: bands, bounds, trades and points of the EI profile."""

import math
from typing import cast

from model import (
    METRIC,
    Document,
    Metric,
    OneOf,
    format_quantity,
    read_quantity,
    show_value,
    suggestion,
)
from optimiser.spec import EITarget, Target

_SAME = 1e-7
_TARGET_KEYS = ("target", "tolerance", "at_least", "at_most", "trade")


def read_targets(
    document: Document, lengths: tuple[float, ...] | None
) -> tuple[tuple[Target, ...], tuple[EITarget, ...]]:
    """Read what a spec asks of the metrics and of the EI profile.

    Parameters
    ----------
    document : Document
        The spec; faults are noted there. [-]
    lengths : tuple of float or None
        Lengths of the shaft; None where they are faulty. [m]

    Returns
    -------
    targets, ei_targets : tuple of Target, tuple of EITarget
        Those without faults, in the order of the file. [SI]
    """
    raw = document.take("targets")
    if raw is None:
        document.fault(
            "", None, None, "no table [targets]; say what the shaft must be."
        )
        return (), ()
    if not isinstance(raw, dict):
        document.fault("", "targets", show_value(raw), "not a table of metrics.")
        return (), ()
    n_faults = len(document.faults)
    found = []
    points: tuple[EITarget, ...] = ()
    for key, value in raw.items():
        if key == "ei_at":
            points = _ei_targets(document, value, lengths)
            continue
        if key not in METRIC:
            names = [*METRIC, "ei_at"]
            document.fault(
                "[targets]",
                key,
                show_value(value),
                f"no such metric. {suggestion(key, names)}",
            )
            continue
        target = _target(document, METRIC[key], value)
        if target is not None:
            found.append(target)
    if len(document.faults) == n_faults and not any(t.trade for t in found):
        document.fault(
            "[targets]",
            None,
            None,
            'no metric is traded. Give one at least a trade = "less" or "more", such '
            'as material_cost = { trade = "less" }.',
        )
    return tuple(found), points


def _quantity(
    document: Document, where: str, key: str, value: object, dimension: str
) -> float | None:
    try:
        return read_quantity(value, dimension)
    except ValueError as error:
        document.fault(where, key, show_value(value), str(error))
        return None


def _tolerance(
    document: Document, where: str, value: object, dimension: str, target: float | None
) -> float | None:
    """Half width of a band, absolute or as a percentage of the target."""
    if isinstance(value, str) and value.strip().endswith("%") and dimension != "number":
        share = _quantity(document, where, "tolerance", value, "percent")
        if share is None or target is None:
            return None
        width = share * abs(target)
    else:
        absolute = _quantity(document, where, "tolerance", value, dimension)
        if absolute is None:
            return None
        width = absolute
    if width <= 0.0:
        document.fault(
            where,
            "tolerance",
            show_value(value),
            "not above nought. Give a half width.",
        )
        return None
    return width


def _target(document: Document, metric: Metric, raw: object) -> Target | None:
    where = f"[targets] {metric.key}"
    if not isinstance(raw, dict):
        document.fault(
            "[targets]",
            metric.key,
            show_value(raw),
            "write a table, such as { target = ..., tolerance = ... } or "
            '{ trade = "less" }.',
        )
        return None
    before = len(document.faults)
    for key in raw:
        if key not in _TARGET_KEYS:
            document.fault(
                where,
                key,
                show_value(raw[key]),
                f"unknown key. {suggestion(key, _TARGET_KEYS)}",
            )
    values = {
        key: _quantity(document, where, key, raw[key], metric.dimension)
        for key in ("target", "at_least", "at_most")
        if key in raw
    }
    tolerance = None
    if "tolerance" in raw:
        tolerance = _tolerance(
            document, where, raw["tolerance"], metric.dimension, values.get("target")
        )
    for given, other in (("target", "tolerance"), ("tolerance", "target")):
        if given in raw and other not in raw:
            document.fault(
                where, other, None, f"missing beside {given}. Give both, or bounds."
            )
    trade = raw.get("trade")
    if "trade" in raw:
        try:
            OneOf(("less", "more")).read(trade)
        except ValueError as error:
            document.fault(where, "trade", show_value(trade), str(error))
    if not raw:
        document.fault(where, None, None, "asks for nothing. Give a band or a trade.")
    if len(document.faults) > before:
        return None
    low, high = -math.inf, math.inf
    target = values.get("target")
    if target is not None and tolerance is not None:
        low, high = target - tolerance, target + tolerance
    at_least, at_most = values.get("at_least"), values.get("at_most")
    if at_least is not None:
        low = max(low, at_least)
    if at_most is not None:
        high = min(high, at_most)
    if low > high:
        document.fault(
            where,
            None,
            None,
            f"nothing lies in its band: at least {metric.shown(low)} and at most "
            f"{metric.shown(high)}.",
        )
        return None
    return Target(
        metric=metric.key,
        low=low,
        high=high,
        target=target,
        tolerance=tolerance,
        trade=cast("str | None", trade),
    )


def _ei_targets(
    document: Document, raw: object, lengths: tuple[float, ...] | None
) -> tuple[EITarget, ...]:
    if not isinstance(raw, list):
        document.fault(
            "[targets]", "ei_at", show_value(raw), "write [[targets.ei_at]] for each."
        )
        return ()
    points = []
    for i, item in enumerate(raw):
        where = f"[[targets.ei_at]] {i + 1}"
        if not isinstance(item, dict):
            document.fault(where, None, show_value(item), "not a table.")
            continue
        keys = ("station", "target", "tolerance")
        for key in item:
            if key not in keys:
                document.fault(
                    where,
                    key,
                    show_value(item[key]),
                    f"unknown key. {suggestion(key, keys)}",
                )
        for key in keys:
            if key not in item:
                document.fault(where, key, None, "missing.")
        station = target = tolerance = None
        if "station" in item:
            station = _quantity(document, where, "station", item["station"], "length")
        if "target" in item:
            target = _quantity(
                document, where, "target", item["target"], "bending_stiffness"
            )
            if target is not None and target <= 0.0:
                document.fault(
                    where, "target", show_value(item["target"]), "not above nought."
                )
                target = None
        if "tolerance" in item:
            tolerance = _tolerance(
                document, where, item["tolerance"], "bending_stiffness", target
            )
        if station is not None and lengths is not None:
            butt = min(lengths)
            if not 0.0 <= station <= butt + _SAME:
                document.fault(
                    where,
                    "station",
                    show_value(item["station"]),
                    f"off the shaft. Give a value between 0 mm and "
                    f"{format_quantity(butt, 'length')}.",
                )
                station = None
        if station is not None and target is not None and tolerance is not None:
            points.append(EITarget(station=station, target=target, tolerance=tolerance))
    return tuple(points)
