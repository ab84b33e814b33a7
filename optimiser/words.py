"""How quantities, bench set-ups and cautions are worded wherever people read them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from model import METRIC, Metric

if TYPE_CHECKING:
    from model import Design, FlagReport
    from optimiser.spec import Spec, Target

#: What every output that reaches a shop or a player says.
CAUTIONS: tuple[str, ...] = (
    "Predicted durability is no substitute for physical proof tests to the "
    "applicable standard.",
    "Handle prepreg, dust and cure per the supplier's safety sheet, local rules and "
    "qualified practice.",
)

#: Shown where there is no value.
NONE = "–"

_KGF = 9.80665


def number(value: float | None, decimals: int) -> str:
    """Write a rounded number; never "-0", a dash where there is none.

    Parameters
    ----------
    value : float or None
        Value in the unit it is shown in. [-]
    decimals : int
        Digits after the point. [-]

    Returns
    -------
    text : str
        The number. [-]

    Examples
    --------
    >>> number(-0.04, 1), number(2.25, 2), number(float("nan"), 1)
    ('0.0', '2.25', '–')
    """
    if value is None or not math.isfinite(value):
        return NONE
    return f"{round(value, decimals) + 0.0:.{decimals}f}"


def mm(value: float | None) -> str:
    """Length as the shop reads it, to 0.1 mm.

    Parameters
    ----------
    value : float or None
        Length. [m]

    Returns
    -------
    text : str
        Number of millimetres. [mm]

    Examples
    --------
    >>> mm(1.06704)
    '1067.0'
    """
    return number(None if value is None else value * 1e3, 1)


def plain(value: float, decimals: int = 3) -> str:
    """Write a number without needless zeros.

    Parameters
    ----------
    value : float
        Value in the unit it is shown in. [-]
    decimals : int
        Most digits after the point. [-]

    Returns
    -------
    text : str
        The number. [-]

    Examples
    --------
    >>> plain(2.5), plain(3.0), plain(120.0)
    ('2.5', '3', '120')
    """
    text = number(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


#: Turns that differ by less are the same. [-]
_SAME_TURNS = 0.005
#: A range this wide needs one decimal only. [-]
_PLAIN_SPREAD = 0.1


def turns_text(flag: FlagReport) -> str:
    """Write how often a flag goes round, a range where its edges are straight.

    Parameters
    ----------
    flag : FlagReport
        A flag as rolled. [SI]

    Returns
    -------
    text : str
        Such as "2.5" or "3.0-3.4"; two decimals where one tells no difference. [-]
    """
    spread = flag.wraps_most - flag.wraps_least
    if spread < _SAME_TURNS:
        return plain(flag.wraps)
    decimals = 1 if spread >= _PLAIN_SPREAD else 2
    return f"{flag.wraps_least:.{decimals}f}-{flag.wraps_most:.{decimals}f}"


def rolled_text(flag: FlagReport) -> str:
    """Write how often a flag goes round, in words.

    Parameters
    ----------
    flag : FlagReport
        A flag as rolled. [SI]

    Returns
    -------
    text : str
        Such as "1 wrap" or "3.0-3.4 wraps". [-]
    """
    turns = turns_text(flag)
    return f"{turns} wrap{'' if turns == '1' else 's'}"


def ei_column(station: float) -> str:
    """Name the column of the bending stiffness at a station.

    Parameters
    ----------
    station : float
        From the tip. [m]

    Returns
    -------
    column : str
        With the unit as suffix. [-]

    Examples
    --------
    >>> ei_column(0.2)
    'ei_at_200.0_mm_n_m2'
    """
    return f"ei_at_{mm(station)}_mm_n_m2"


def metric_unit(metric: Metric, currency: str = "") -> str:
    """Name the unit a metric is shown in.

    Parameters
    ----------
    metric : Metric
        One of the metrics. [-]
    currency : str
        Currency of the library, for the cost. [-]

    Returns
    -------
    unit : str
        Empty for a plain number. [-]
    """
    return currency if metric.key == "material_cost" else metric.unit


def metric_heading(metric: Metric, currency: str = "") -> str:
    """Name of a metric with its unit, for an axis or a column.

    Parameters
    ----------
    metric : Metric
        One of the metrics. [-]
    currency : str
        Currency of the library, for the cost. [-]

    Returns
    -------
    text : str
        Such as "Frequency [cpm]". [-]
    """
    unit = metric_unit(metric, currency)
    return f"{metric.label} [{unit}]" if unit else metric.label


def bound_text(metric: Metric, value: float) -> str:
    """Edge of a band, with the digits it was given in.

    An edge rounded as a metric is would let through what the band keeps out.

    Parameters
    ----------
    metric : Metric
        One of the metrics. [-]
    value : float
        Edge; infinite where that side is open. [SI]

    Returns
    -------
    text : str
        Number in the metric's unit. [-]
    """
    return edge_text(value * metric.scale, metric.decimals)


def edge_text(value: float, decimals: int) -> str:
    """Write the edge of a band with the digits it was given in.

    Parameters
    ----------
    value : float
        Edge in the unit it is shown in; infinite where that side is open. [-]
    decimals : int
        Digits a value is shown with; an edge may have two more. [-]

    Returns
    -------
    text : str
        Number, or a dash where that side is open. [-]

    Examples
    --------
    >>> edge_text(57.25, 1), edge_text(250.0, 1), edge_text(math.inf, 1)
    ('57.25', '250.0', '–')
    """
    given = len(plain(value, decimals + 2).partition(".")[2])
    return number(value, max(given, decimals))


def band_text(target: Target, currency: str = "") -> str:
    """Say what a spec asks of one metric.

    Parameters
    ----------
    target : Target
        Target of a spec. [-]
    currency : str
        Currency of the library, for the cost. [-]

    Returns
    -------
    text : str
        Such as "250.0 to 254.0 cpm" or "at most 4.60 deg, less is better". [-]
    """
    metric = METRIC[target.metric]
    unit = metric_unit(metric, currency)
    low, high = bound_text(metric, target.low), bound_text(metric, target.high)
    said = []
    if math.isfinite(target.low) and math.isfinite(target.high):
        said.append(f"{low} to {high} {unit}".strip())
    elif math.isfinite(target.low):
        said.append(f"at least {low} {unit}".strip())
    elif math.isfinite(target.high):
        said.append(f"at most {high} {unit}".strip())
    if target.trade:
        said.append(f"{target.trade} is better")
    return ", ".join(said)


def spec_target(spec: Spec | None, key: str) -> Target | None:
    """Target a spec has for a metric.

    Parameters
    ----------
    spec : Spec or None
        Target spec, if there is one. [-]
    key : str
        Key of the metric. [-]

    Returns
    -------
    target : Target or None
        None where the spec leaves the metric free. [-]
    """
    targets = () if spec is None else spec.targets
    return next((target for target in targets if target.metric == key), None)


def bench_setup(design: Design, key: str) -> str:
    """Say what to measure with, for a value that compares with a metric.

    Parameters
    ----------
    design : Design
        Its bench tests are described. [-]
    key : str
        Key of the metric. [-]

    Returns
    -------
    text : str
        One line; empty for a metric that no bench measures. [-]
    """
    bench = design.bench
    if key == "frequency":
        extra = ""
        if bench.tip_mass_offset:
            extra += f", its centre {mm(bench.tip_mass_offset)} mm beyond the tip"
        if bench.tip_mass_inertia:
            extra += f", inertia {plain(bench.tip_mass_inertia * 1e4)} kg cm²"
        if bench.frequency_clamp_compliance:
            extra += (
                f", clamp turning {plain(bench.frequency_clamp_compliance * 1e3, 4)} "
                "mrad/(N m)"
            )
        return (
            f"last {mm(bench.frequency_clamp)} mm of the butt clamped, "
            f"{plain(bench.tip_mass * 1e3)} g at the tip{extra}"
        )
    if key == "torque":
        clamp = f"last {mm(bench.torque_clamp)} mm of the butt clamped"
        if bench.torque_clamp_at is not None:
            clamp = f"clamped from {mm(bench.torque_clamp_at)} mm (from the tip)"
        return (
            f"{clamp}, first {mm(bench.torque_grip)} mm of the tip gripped, couple "
            f"{plain(bench.torque_moment, 4)} N m"
        )
    if key == "tip_deflection":
        return (
            f"drop under {plain(bench.tip_load / _KGF)} kgf at "
            f"{mm(bench.tip_load_at)} mm from the tip, held down at "
            f"{mm(bench.tip_hold)}, supported at {mm(bench.tip_support)} mm"
        )
    if key == "butt_deflection":
        return (
            f"drop under {plain(bench.butt_load / _KGF)} kgf at "
            f"{mm(bench.butt_load_at)} mm from the butt, held down at "
            f"{mm(bench.butt_hold)}, supported at {mm(bench.butt_support)} mm"
        )
    if key == "cantilever_deflection":
        return (
            f"last {mm(bench.cantilever_clamp)} mm of the butt clamped, "
            f"{plain(bench.cantilever_load / _KGF)} kgf at "
            f"{mm(bench.cantilever_load_at)} mm from the tip"
        )
    if key in ("torsion_strength", "torsion_product"):
        return f"{mm(bench.torsion_grip)} mm gripped at either end; predicted, no test"
    if key == "crush_load":
        return f"weakest ring {mm(bench.crush_width)} mm wide, first ply to fail"
    if key == "impact" and bench.impact_moment:
        return (
            f"least margin under {plain(bench.impact_moment)} N m at "
            f"{mm(bench.impact_at)} mm, none from {mm(bench.impact_to)} mm (from tip)"
        )
    if key == "flattening":
        return "least margin against ovalising under the same moments as durability"
    if key == "direction_spread":
        return "largest less least EI round the clock over their mean, worst station"
    if key == "durability":
        return (
            f"least fibre margin under {plain(bench.strength_moment)} N m from "
            f"{mm(bench.strength_from)} mm (tip) to {mm(bench.strength_to)} mm (butt)"
        )
    paint = " with paint" if design.finish.coating else ""
    fixed = {
        "weight": f"bare finished shaft{paint}",
        "balance_point": f"centre of mass from the butt end, bare shaft{paint}",
        "tip_diameter": "at the tip end, before paint",
        "butt_diameter": "at the butt end, before paint",
        "flex_point_ratio": "tip deflection over tip plus butt deflection",
    }
    return fixed.get(key, "")
