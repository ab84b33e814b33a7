"""Metrics of a design, or of two, beside the bands of a spec."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from model import (
    METRICS,
    Conditions,
    Design,
    Fault,
    InputError,
    Library,
    ModelRangeError,
    Report,
    evaluate,
    evaluate_batch,
    layups_of,
)
from optimiser.misses import misses
from optimiser.problem import Demand
from optimiser.review import table_text
from optimiser.sheet_tables import ei_at
from optimiser.spec import Spec
from optimiser.words import (
    NONE,
    edge_text,
    ei_column,
    metric_unit,
    mm,
    number,
    spec_target,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideRow:
    """One value of a design, and what is asked of it."""

    what: str  #: column, with its unit
    label: str
    unit: str
    decimals: int
    value: float | None  #: in the unit; None where the test does not fit
    low: float  #: edge of the band; infinite where there is none
    high: float
    trade: str  #: "less" or "more" where it is traded, else ""

    @property
    def is_asked(self) -> bool:
        """Whether there is a band or a bound."""
        return math.isfinite(self.low) or math.isfinite(self.high)

    @property
    def state(self) -> str:
        """Where the value lies: "in", "low" or "high"; "" where nothing is asked."""
        if not self.is_asked:
            return ""
        if self.value is None:
            return "low"
        if self.value < self.low:
            return "low"
        return "high" if self.value > self.high else "in"

    @property
    def band(self) -> str:
        """What is asked, in words."""
        low, high = (edge_text(v, self.decimals) for v in (self.low, self.high))
        if math.isfinite(self.low) and math.isfinite(self.high):
            said = [f"{low} to {high}"]
        elif math.isfinite(self.low):
            said = [f"at least {low}"]
        elif math.isfinite(self.high):
            said = [f"at most {high}"]
        else:
            said = []
        return ", ".join(said + ([f"{self.trade} is better"] if self.trade else []))


@dataclass(frozen=True, slots=True)
class Measured:
    """What a design measures, and whether it can be built."""

    report: Report | None  #: None where it has no wall to measure
    obstacles: tuple[Fault, ...]  #: why it cannot be built; empty where it can

    @property
    def lines(self) -> list[str]:
        """Why it cannot be built, one line a reason."""
        return [f"cannot be built: {fault}" for fault in self.obstacles]


def measured(design: Design, library: Library) -> Measured:
    """Measure a design, also one that cannot be built yet.

    Parameters
    ----------
    design : Design
        Any design. [SI]
    library : Library
        Its materials and mandrel. [-]

    Returns
    -------
    measured : Measured
        With the report as long as the design has a wall all along. [SI]
    """
    try:
        report = evaluate(design, library, must_build=False)
    except InputError as error:
        return Measured(None, error.faults)
    except ModelRangeError as error:
        return Measured(None, (Fault("", None, None, str(error)),))
    return Measured(report, report.obstacles)


def beside_rows(report: Report, spec: Spec | None = None) -> list[BesideRow]:
    """List what a design measures, beside what a spec asks.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    spec : Spec or None
        Target spec, if there is one. [SI]

    Returns
    -------
    rows : list of BesideRow
        Every metric that the bench looks at, then the spec's EI points. [unit]
    """
    rows = []
    for metric in METRICS:
        if metric.needs and not getattr(report.design.bench, metric.needs):
            continue
        target = spec_target(spec, metric.key)
        low, high = -math.inf, math.inf
        if target is not None:
            low, high = target.low * metric.scale, target.high * metric.scale
        elif spec is not None and metric.key == "direction_spread":
            high = spec.rules.direction_spread_max * metric.scale
        value = report.metrics[metric.key]
        rows.append(
            BesideRow(
                what=metric.column,
                label=metric.label,
                unit=metric_unit(metric, report.currency),
                decimals=metric.decimals,
                value=None if value is None else value * metric.scale,
                low=low,
                high=high,
                trade=(target.trade or "") if target is not None else "",
            )
        )
    for point in () if spec is None else spec.ei_targets:
        fits = point.station <= report.design.shaft.length
        rows.append(
            BesideRow(
                what=ei_column(point.station),
                label=f"EI at {mm(point.station)} mm",
                unit="N·m²",
                decimals=2,
                value=ei_at(report, point.station) if fits else None,
                low=point.target - point.tolerance,
                high=point.target + point.tolerance,
                trade="",
            )
        )
    return rows


def rule_breaks(design: Design, library: Library, spec: Spec) -> list[str]:
    """Say which bands and shop rules of a spec a design misses.

    Parameters
    ----------
    design : Design
        A design that can be built. [SI]
    library : Library
        Its materials and mandrel. [-]
    spec : Spec
        What is asked. [SI]

    Returns
    -------
    lines : list of str
        The worst first. [-]
    """
    length = design.shaft.length
    points = tuple(p for p in spec.ei_targets if p.station <= length)
    held = replace(spec, ei_targets=points)
    stations = [point.station for point in points]
    shared = Conditions.for_designs(
        library,
        [design],
        ei_stations=stations,
        step_length=spec.rules.diameter_step_length,
    )
    batch = evaluate_batch(layups_of([design], shared), shared)
    return misses(batch, Demand.of(held), held)


def strange_bench(design: Design, spec: Spec) -> str:
    """Say where a spec is tested otherwise than a design.

    Parameters
    ----------
    design : Design
        As it is tested. [SI]
    spec : Spec
        As its bands are meant. [SI]

    Returns
    -------
    text : str
        Empty where both are tested alike. [-]
    """
    if design.bench == spec.bench:
        return ""
    return (
        "the spec is tested with other [bench] values than the design; its bands are "
        "held against what the design's own bench reads"
    )


def beside_text(
    before: Sequence[BesideRow] | None, after: Sequence[BesideRow] | None
) -> str:
    """Write values before and after beside their bands.

    Parameters
    ----------
    before : sequence of BesideRow or None
        None where there is nothing to compare with. [-]
    after : sequence of BesideRow or None
        The same rows, as they are now; None where they cannot be measured. [-]

    Returns
    -------
    text : str
        A table; changes have their sign. [-]
    """
    old = {row.what: row for row in before or ()}
    rows = (before or ()) if after is None else after
    has_bands = any(row.is_asked for row in rows)
    lines = []
    for row in rows:
        was = old[row.what].value if row.what in old else None
        now = None if after is None else row.value
        change = NONE
        if was is not None and now is not None:
            text = number(now - was, row.decimals)
            change = f"+{text}" if now > was and text.strip("0.") else text
        cells = {
            "": f"{row.label} [{row.unit}]" if row.unit else row.label,
            "Before": number(was, row.decimals),
            "After": number(now, row.decimals),
            "Change": change,
        }
        if has_bands:
            cells["Asked"] = row.band or "-"
            said = {"in": "kept", "low": "too low", "high": "too high"}
            cells["Is"] = said.get("" if after is None else row.state, "-")
        lines.append(cells)
    return table_text(pd.DataFrame(lines))


def beside_json(rows: Sequence[BesideRow]) -> list[dict[str, Any]]:
    """Give values beside their bands as JSON values.

    Parameters
    ----------
    rows : sequence of BesideRow
        Of one design. [-]

    Returns
    -------
    values : list of dict
        One a row. [unit of `what`]
    """
    return [
        {
            "what": row.what,
            "label": row.label,
            "unit": row.unit,
            "decimals": row.decimals,
            "value": row.value,
            "shown": number(row.value, row.decimals),
            "low": row.low if math.isfinite(row.low) else None,
            "high": row.high if math.isfinite(row.high) else None,
            "asked": row.band,
            "state": row.state,
        }
        for row in rows
    ]
