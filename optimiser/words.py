"""How quantities and cautions are worded wherever people read them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from model import METRIC, Metric

if TYPE_CHECKING:
    from model import FlagReport
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


def titled(name: str, identity: str) -> str:
    """Name a design with its id, which the name of one that was found holds already.

    Parameters
    ----------
    name : str
        Name of a design. [-]
    identity : str
        Its id. [-]

    Returns
    -------
    text : str
        One line. [-]

    Examples
    --------
    >>> titled("fairway", "AB12"), titled("fairway AB12", "AB12")
    ('fairway (AB12)', 'fairway AB12')
    """
    return name if identity in name.split() else f"{name} ({identity})"


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
