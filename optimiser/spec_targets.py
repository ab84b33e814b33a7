"""The [targets] of a spec: bands, bounds, trades and points of the EI profile."""

import math
from dataclasses import dataclass
from typing import Annotated, cast

from pydantic import AfterValidator, ValidationInfo

from model import (
    FORBID_EXTRA,
    METRIC,
    Document,
    Metric,
    OneOf,
    Quantity,
    Reader,
    format_quantity,
    nearest,
    read_quantity,
    show_value,
    suggestion,
)
from optimiser.spec import EITarget, Target

_SAME = 1e-7
#: Hypervolume of a front of six objectives takes minutes to tell.
_TRADES_MOST = 5
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
        document.fault(
            "",
            "targets",
            show_value(raw),
            "not a table of metrics. Write [targets] above them, once.",
        )
        return (), ()
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
    # one whose trade is misspelt has a fault of its own
    traded = any(
        nearest(key, _TARGET_KEYS) == "trade"
        for metric, value in raw.items()
        if isinstance(value, dict) and metric != "ei_at"
        for key in value
    )
    if not traded:
        document.fault(
            "[targets]",
            None,
            None,
            'no metric is traded. Give one at least a trade = "less" or "more", such '
            'as material_cost = { trade = "less" }.',
        )
    trades = [target.metric for target in found if target.trade is not None]
    if len(trades) > _TRADES_MOST:
        document.fault(
            "[targets]",
            None,
            None,
            f"{len(trades)} metrics are traded ({', '.join(trades)}); at most "
            f"{_TRADES_MOST} may be. Give the others a band or a bound alone.",
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


@dataclass(frozen=True, slots=True)
class _Width:
    """Half width of a band as written."""

    number: float  #: [SI], or a share of the target
    is_share: bool

    def of(self, target: float) -> float:
        return self.number * abs(target) if self.is_share else self.number


def _in_percent(value: object) -> bool:
    return isinstance(value, str) and value.strip().endswith(("%", "percent"))


@dataclass(frozen=True, slots=True)
class _WidthText(Reader):
    """A half width: a quantity, or a percentage of the target.

    Beside a target that is itself written in percent, it counts in points.
    """

    dimension: str  #: of the target
    in_points: bool = False  #: whether the target is written in percent

    def read(self, value: object) -> _Width:
        """Read a half width (see `Reader.read`)."""
        is_share = _in_percent(value) and not self.in_points
        number = read_quantity(value, "percent" if is_share else self.dimension)
        if number <= 0.0:
            raise ValueError("not above nought. Give a half width.")
        return _Width(number, is_share)

    def hint(self) -> str:
        """Say what is allowed (see `Reader.hint`)."""
        return f'{Quantity(self.dimension).hint()[:-1]}, or a percentage such as "6 %".'


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
        reader = _WidthText(metric.dimension, _in_percent(raw.get("target")))
        try:
            width = reader.read(raw["tolerance"])
        except ValueError as error:
            document.fault(where, "tolerance", show_value(raw["tolerance"]), str(error))
        else:
            middle = values.get("target")
            tolerance = None if middle is None else width.of(middle)
            if tolerance == 0.0:
                document.fault(
                    where,
                    "tolerance",
                    show_value(raw["tolerance"]),
                    "a share of a target of nought. Give a half width without %.",
                )
    misspelt = {nearest(key, _TARGET_KEYS) for key in raw if key not in _TARGET_KEYS}
    for given, other in (("target", "tolerance"), ("tolerance", "target")):
        if given in raw and other not in raw and other not in misspelt:
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
    if low >= high:
        why = "nothing lies in its band" if low > high else "its band has no width"
        document.fault(
            where,
            None,
            None,
            f"{why}: at least {metric.shown(low)} and at most {metric.shown(high)}.",
        )
        return None
    # what a metric can be at all, its ends excluded
    least = -1.0 if metric.is_margin else 0.0
    most = 1.0 if metric.key == "flex_point_ratio" else math.inf
    if high <= least or low >= most:
        limit, side = (least, "above") if high <= least else (most, "below")
        document.fault(
            where,
            None,
            None,
            f"no shaft lies in its band ({_band_text(metric, low, high)}): this "
            f"metric is always {side} {metric.shown(limit)}.",
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


def _band_text(metric: Metric, low: float, high: float) -> str:
    if math.isinf(low):
        return f"at most {metric.shown(high)}"
    if math.isinf(high):
        return f"at least {metric.shown(low)}"
    return f"{metric.shown(low)} to {metric.shown(high)}"


def _on_every_shaft(station: float, info: ValidationInfo) -> float:
    lengths = cast("tuple[float, ...] | None", info.context)
    butt = math.inf if lengths is None else min(lengths)
    if station < 0.0:
        raise ValueError("not on the shaft. Stations count from the tip, from 0 mm on.")
    if station > butt + _SAME:
        raise ValueError(
            "off the shaft. Give a value between 0 mm and "
            f"{format_quantity(butt, 'length')}."
        )
    return station


@dataclass(frozen=True, slots=True, kw_only=True)
class _PointTable:
    """A [[targets.ei_at]] as it is written."""

    __pydantic_config__ = FORBID_EXTRA

    station: Annotated[float, Quantity("length"), AfterValidator(_on_every_shaft)]
    target: Annotated[float, Quantity("bending_stiffness", above=0.0)]
    tolerance: Annotated[_Width, _WidthText("bending_stiffness")]


def _ei_targets(
    document: Document, raw: object, lengths: tuple[float, ...] | None
) -> tuple[EITarget, ...]:
    if not isinstance(raw, list):
        document.fault(
            "[targets]",
            "ei_at",
            show_value(raw),
            "write [[targets.ei_at]] above each point.",
        )
        return ()
    points: list[EITarget] = []
    for i, item in enumerate(raw):
        where = f"[[targets.ei_at]] {i + 1}"
        table = document.read(item, _PointTable, where=where, context=lengths)
        if table is None:
            continue
        if any(abs(point.station - table.station) < _SAME for point in points):
            document.fault(
                where,
                "station",
                show_value(item["station"]),
                "stands twice. Give each station one band.",
            )
            continue
        points.append(
            EITarget(
                station=table.station,
                target=table.target,
                tolerance=table.tolerance.of(table.target),
            )
        )
    return tuple(points)
