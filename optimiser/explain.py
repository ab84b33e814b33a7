"""What each flag of a design contributes, and what small changes of it do.

Shares. In weight and cost a flag has what is weighed and paid of it, its own labour and
its part of the scrap among it. In stiffness it has its part of the strain energy: EI,
GJ and the square of the frequency grow in proportion when all plies grow stiffer in
proportion, so by Euler's theorem the relative changes of such a value for a small
relative change of one flag's stiffness add up to one. The same holds for the twist in
the torque test (with the sign turned), for the load that the weakest place bears, and,
with density instead of stiffness, for the mass that swings in the frequency test.

Sensitivities. Every small change of `variants` is evaluated whole.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model import (
    METRIC,
    METRICS,
    SHOP_MEASURES,
    BatchReport,
    Conditions,
    Design,
    Fault,
    InputError,
    Library,
    Prepreg,
    Report,
    amount_text,
    evaluate,
    evaluate_batch,
    format_quantity,
    layups_of,
)
from optimiser.problem import Demand
from optimiser.spec import Spec
from optimiser.variants import MOVES, Variant, variants, with_flag
from optimiser.words import ei_column, mm

Array = NDArray[np.float64]

#: Quantities of which every flag has a share, with their headings.
SHARES: Final = {
    "weight": "Weight",
    "cost": "Cost",
    "torque": "Torque",
    "frequency": "Frequency, stiffness",
    "swinging": "Frequency, mass",
    "margin": "Margin",
}
#: What has the rest of a share that is not all of flags.
REST: Final = {
    "weight": "paint",
    "cost": "work and consumables of the shaft",
    "frequency": "the clamp's give",
    "swinging": "the mass on the tip, and paint",
}
#: Name of the row that holds it.
REST_ROW: Final = "not a flag"
#: Stiffness and density are changed by this share to see what follows.
_STEP = 1e-4
#: Stations of the course of EI, flag by flag.
_N_ALONG = 81
#: Shares of a smooth value add up to one this closely; else it has a kink. [-]
_ADDS_UP = 1e-3
#: Strength points that stand in for the stations of EI where none are asked for.
_USUAL_STATIONS = (0.1, 0.35, 0.6, 0.85)
#: What a change leaves that leaves a rule of the shop.
_RULES: Final = {
    "wall_min": "the rule of the thinnest wall",
    "diameter_step": "the rule of diameter steps",
    "tip_shortage": "the rule that the tip reaches its diameter",
    "tip_grind_depth": "the rule of grinding at the tip",
    "bias_ground": "the rule that no bias is ground",
    "roll_overhang": "the width of the roll",
}
_COLUMN: Final = {metric.key: i for i, metric in enumerate(METRICS)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """What each flag of a design contributes, and what small changes of it do."""

    report: Report
    stations: tuple[float, ...]  #: where EI is looked at [m]
    #: one row a flag, the last for what is not of flags; columns `order`, `flag`, then
    #: SHARES and the EI columns, each adding up to 1
    shares: pd.DataFrame
    #: one row a station, `station` and EI of the whole, then one column a flag by its
    #: place in rolling order, adding up to the whole [m, N·m²]
    along: pd.DataFrame
    #: one row a change and metric; values in the unit of `what`
    moves: pd.DataFrame
    margin_at: float | None  #: station of the weakest place [m]
    turn: float  #: wraps more or less [-]
    by: float  #: how far ends and the mandrel set were moved [m]
    spec: Spec | None  #: whose bands stand beside the changes
    notes: tuple[str, ...]  #: what is to be known of the numbers


def explain(
    design: Design,
    library: Library,
    *,
    spec: Spec | None = None,
    stations: Sequence[float] = (),
    turn: float = 0.5,
    by: float = 0.010,
) -> Explanation:
    """Explain a design.

    Parameters
    ----------
    design : Design
        The shaft. [SI]
    library : Library
        Its materials and mandrels; neighbouring materials are looked for in it. [-]
    spec : Spec or None
        Its bands are held beside the changes, its EI points are looked at. [SI]
    stations : sequence of float
        Where EI is looked at; the EI points of the spec, or four along the shaft, where
        none is given. [m]
    turn : float
        Wraps more or less. [-]
    by : float
        How far ends and the mandrel set are moved. [m]

    Returns
    -------
    explanation : Explanation
        Shares and sensitivities. [SI]

    Raises
    ------
    InputError
        If the shaft has no wall somewhere, or a station lies beyond it.
    """
    # what a flag does is asked above all where the design cannot be built yet
    report = evaluate(design, library, must_build=False)
    at = _stations(design, spec, stations)
    shares, along, notes = _shares(report, library, at)
    moves = _moves(report, library, spec, at, turn, by)
    worst = next((p for p in report.strength if p.name == "envelope"), None)
    return Explanation(
        report=report,
        stations=at,
        shares=shares,
        along=along,
        moves=moves,
        margin_at=None if worst is None else worst.station,
        turn=turn,
        by=by,
        spec=spec,
        notes=(*(f"cannot be built: {why}" for why in report.obstacles), *notes),
    )


def _stations(
    design: Design, spec: Spec | None, stations: Sequence[float]
) -> tuple[float, ...]:
    length = design.shaft.length
    beyond = [x for x in stations if not 0.0 <= x <= length]
    if beyond:
        butt = format_quantity(length, "length")
        raise InputError(
            design.name,
            [
                Fault(
                    "",
                    "station",
                    format_quantity(x, "length"),
                    f"not on the shaft. Give a value between 0 mm and {butt}.",
                )
                for x in beyond
            ],
        )
    found = tuple(stations)
    if not found and spec is not None:
        found = tuple(p.station for p in spec.ei_targets if p.station <= length)
    if not found:
        found = tuple(round(share * length, 3) for share in _USUAL_STATIONS)
    return tuple(dict.fromkeys(found))


# -------------------------------------------------------------------------- shares


def _shares(
    report: Report, library: Library, stations: tuple[float, ...]
) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    design = report.design
    n = len(design.flags)
    grid = np.linspace(0.0, design.shaft.length, _N_ALONG)
    asked = [*stations, *(float(x) for x in grid)]
    changed, tables = _scaled_designs(design, library)
    shared = Conditions.for_designs(tables, changed, ei_stations=asked)
    found = evaluate_batch(layups_of(changed, shared), shared)
    EI = found.EI[0]
    # rows: of each flag stiffness up and down, then density up and down
    metrics = found.metrics[1:].reshape(n, 4, -1)
    bending = _slopes(found.EI[1:].reshape(n, 4, -1)[:, :2])

    def of(key: str, first: int, sign: float, offset: float = 0.0) -> Array:
        values = metrics[:, first : first + 2, _COLUMN[key]] + offset
        return sign * _slopes(values)

    weight, cost = report.metrics["weight"], report.metrics["material_cost"]
    costs = design.costs
    paid = [flag.cost + costs.labour_per_flag for flag in report.flags]
    columns: dict[str, Array] = {
        "weight": np.array([flag.mass for flag in report.flags]) / (weight or math.nan),
        "cost": np.array(paid) / (1.0 - costs.scrap) / (cost or math.nan),
        "torque": of("torque", 0, -1.0),
        "frequency": of("frequency", 0, 2.0),
        "swinging": of("frequency", 2, -2.0),
        "margin": of("durability", 0, 1.0, 1.0),
    }
    notes = []
    is_kinked = abs(columns["margin"].sum() - 1.0) > _ADDS_UP
    if is_kinked and np.isfinite(columns["margin"]).all():
        notes.append(
            "two places of the shaft are as weak as each other, so the shares in the "
            "margin do not add up to 100 %"
        )
    for i, station in enumerate(stations):
        columns[ei_column(station)] = bending[:, i]
    table = pd.DataFrame(
        {
            "order": range(1, n + 1),
            "flag": [flag.name for flag in design.flags],
            **columns,
        }
    )
    rest = {key: 1.0 - float(values.sum()) for key, values in columns.items()}
    for key in rest:
        if key not in REST:
            rest[key] = 0.0 if math.isfinite(rest[key]) else math.nan
    if report.design.bench.frequency_clamp_compliance == 0.0:
        rest["frequency"] = 0.0 * rest["frequency"]
    last = pd.DataFrame([{"order": 0, "flag": REST_ROW, **rest}])
    parts = bending[:, len(stations) :] * EI[len(stations) :]
    along = pd.DataFrame(
        {
            "station": grid,
            "EI": EI[len(stations) :],
            **{str(k + 1): parts[k] for k in range(n)},
        }
    )
    return pd.concat([table, last], ignore_index=True), along, notes


def _slopes(values: Array) -> Array:
    """Relative change of values for a relative change: up and down on axis 1."""
    step = math.log1p(_STEP) - math.log1p(-_STEP)
    with np.errstate(invalid="ignore", divide="ignore"):
        slopes: Array = np.log(values[:, 0] / values[:, 1]) / step
    return slopes


def _scaled_designs(design: Design, library: Library) -> tuple[list[Design], Library]:
    """A design as it is, then with one flag stiffer, softer, heavier, lighter."""
    designs, prepregs = [design], dict(library.prepregs)
    ways: tuple[tuple[str, Callable[[Prepreg, float], Prepreg]], ...] = (
        ("stiffness", _stiffened),
        ("density", _laden),
    )
    for k, flag in enumerate(design.flags):
        # the cured ply stays what bleed has made of it
        own = _fixed(library.prepregs[flag.material], design.finish.resin_bleed)
        for what, change in ways:
            for side in (1.0, -1.0):
                name = f"{flag.material} in flag {k + 1}, {what} {side:+.0f}"
                scaled = change(own, 1.0 + side * _STEP)
                prepregs[name] = replace(scaled, name=name)
                designs.append(with_flag(design, k, replace(flag, material=name)))
    return designs, replace(library, prepregs=prepregs)


def _fixed(prepreg: Prepreg, bleed: float) -> Prepreg:
    """Prepreg with all that is derived of its ply written out as if measured."""
    ply = prepreg.cured(bleed)
    return replace(
        prepreg,
        E1=ply.E1,
        E2=ply.E2,
        G12=ply.G12,
        nu12=ply.nu12,
        thickness=ply.thickness,
        strain_transverse_compression=ply.strain_transverse_compression,
        expansion_along=ply.expansion_along,
        expansion_across=ply.expansion_across,
    )


def _stiffened(prepreg: Prepreg, ratio: float) -> Prepreg:
    E1, E2, G12 = prepreg.E1, prepreg.E2, prepreg.G12
    if E1 is None or E2 is None or G12 is None:
        raise AssertionError("a prepreg whose ply is fixed has moduli")
    return replace(prepreg, E1=ratio * E1, E2=ratio * E2, G12=ratio * G12)


def _laden(prepreg: Prepreg, ratio: float) -> Prepreg:
    return replace(prepreg, faw=ratio * prepreg.faw)


# ------------------------------------------------------------------- sensitivities


@dataclass(frozen=True, slots=True)
class _Row:
    """A value that changes are looked at in."""

    what: str  #: name with its unit
    scale: float  #: shown value over the SI value
    width: float  #: of its band where it has two edges, SI; else NaN


def _rows(spec: Spec | None, stations: Sequence[float]) -> list[_Row]:
    widths = {} if spec is None else {t.metric: t.high - t.low for t in spec.targets}
    points = (
        {}
        if spec is None
        else {point.station: 2.0 * point.tolerance for point in spec.ei_targets}
    )
    rows = [_Row(m.column, m.scale, widths.get(m.key, math.nan)) for m in METRICS]
    rows += [_Row(ei_column(x), 1.0, points.get(x, math.nan)) for x in stations]
    return rows + [_Row(f"{name}_mm", 1e3, math.nan) for name in SHOP_MEASURES]


def _moves(
    report: Report,
    library: Library,
    spec: Spec | None,
    stations: tuple[float, ...],
    turn: float,
    by: float,
) -> pd.DataFrame:
    design = report.design
    found = variants(report, library, turn=turn, by=by)
    points = [] if spec is None else [point.station for point in spec.ei_targets]
    asked = [*points, *stations]
    designs = [design, *(v.design for v in found if v.design is not None)]
    shared = Conditions.for_designs(library, designs, ei_stations=asked)
    if spec is not None:
        shared = replace(shared, step_length=spec.rules.diameter_step_length)
    batch = evaluate_batch(layups_of(designs, shared), shared)
    left = _left(batch, spec, len(points))
    EI = batch.EI[:, len(points) :]
    values = np.concatenate([batch.metrics, EI, batch.shop], axis=1)
    rows = _rows(spec, stations)
    table = []
    i = 0
    for variant in found:
        obstacle, after, leaves = variant.obstacle, np.full(len(rows), np.nan), ""
        if variant.design is not None:
            i += 1
            obstacle = _obstacle(batch.shop[i])
            leaves = "; ".join(sorted(left[i] - left[0]))
            if batch.shop[i, SHOP_MEASURES.index("wall_min")] > 0.0:
                after = values[i]
        table += [
            {
                "order": variant.order,
                "flag": _flag_name(design, variant),
                "move": variant.move,
                "to": variant.to,
                "what": row.what,
                "before": before * row.scale,
                "after": value * row.scale,
                "difference": (value - before) * row.scale,
                "share_of_band": abs(value - before) / row.width
                if 0.0 < row.width < math.inf
                else math.nan,
                "leaves": leaves,
                "obstacle": obstacle,
            }
            for row, before, value in zip(rows, values[0], after, strict=True)
        ]
    return pd.DataFrame(table)


def _flag_name(design: Design, variant: Variant) -> str:
    return design.flags[variant.order - 1].name if variant.order else "shaft"


def _left(batch: BatchReport, spec: Spec | None, n_points: int) -> list[set[str]]:
    """Bands and rules that each design leaves."""
    if spec is None:
        return [set() for _ in batch.metrics]
    demand = Demand.of(spec)
    names = list(demand.band_names)
    for i, point in enumerate(spec.ei_targets):
        names[names.index(f"EI point {i + 1}")] = f"EI at {mm(point.station)} mm"
    named = [
        METRIC[name].phrase if name in METRIC else _RULES.get(name, name)
        for name in names
    ]
    G = demand.score(BatchReport(batch.metrics, batch.EI[:, :n_points], batch.shop)).G
    return [
        {name for name, excess in zip(named, row, strict=True) if excess > 0.0}
        for row in G
    ]


def _obstacle(shop: Array) -> str:
    """Say why a design cannot be built."""
    measure = dict(zip(SHOP_MEASURES, (float(v) for v in shop), strict=True))
    said = []
    if measure["wall_min"] <= 0.0:
        said.append("leaves no wall somewhere")
    if measure["tip_shortage"] > 1e-9:
        short = amount_text(2e3 * measure["tip_shortage"], 3)
        said.append(f"{short} mm short of the tip diameter")
    if measure["roll_overhang"] > 0.0:
        over = amount_text(1e3 * measure["roll_overhang"], 0)
        said.append(f"a piece {over} mm wider than its roll")
    return "; ".join(said)


def move_words(explanation: Explanation, move: str) -> str:
    """Say what is done in a move.

    Parameters
    ----------
    explanation : Explanation
        Its steps are named. [-]
    move : str
        Key of MOVES. [-]

    Returns
    -------
    text : str
        Such as "0.5 wraps more" or "end 10 mm towards the tip". [-]
    """
    said = MOVES[move]
    if move in ("more", "less"):
        return f"{explanation.turn:g} {said}"
    step = f"{explanation.by * 1e3:g} mm"
    if move.startswith("set"):
        head, _, tail = said.rpartition(" ")
        return f"{head} {step} {tail}"
    if move.startswith(("start", "end")):
        head, _, tail = said.partition(" ")
        return f"{head} {step} {tail}"
    return said
