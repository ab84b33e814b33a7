"""The one table of metrics: what a shaft can be held to, traded in, shown by."""

import math
from dataclasses import dataclass
from types import MappingProxyType

_MM = 1e3
_DEG = 180.0 / math.pi


@dataclass(frozen=True, slots=True, kw_only=True)
class Metric:
    """One measurable quantity of a finished shaft."""

    key: str  #: name in specs and in Python
    label: str  #: name for people
    unit: str  #: unit it is shown in
    column: str  #: name in tables and JSON, with the unit
    scale: float  #: shown value over the SI value
    decimals: int  #: digits shown
    better: str  #: "less" or "more" where one is plainly better, else ""
    dimension: str  #: dimension of a quantity string in a spec

    def shown(self, value: float | None) -> str:
        """Value with its unit, as people read it.

        Parameters
        ----------
        value : float or None
            In SI; None where the test does not fit the shaft. [SI]

        Returns
        -------
        text : str
            Rounded value and unit. [-]
        """
        if value is None or math.isnan(value):
            return "does not fit"
        return f"{value * self.scale:.{self.decimals}f} {self.unit}".strip()


def _metric(
    key: str,
    label: str,
    unit: str,
    suffix: str,
    scale: float,
    decimals: int,
    better: str,
    dimension: str,
) -> Metric:
    column = f"{key}_{suffix}" if suffix else key
    return Metric(
        key=key,
        label=label,
        unit=unit,
        column=column,
        scale=scale,
        decimals=decimals,
        better=better,
        dimension=dimension,
    )


#: In the order of the columns of a batch.
METRICS: tuple[Metric, ...] = (
    _metric("weight", "Weight", "g", "g", 1e3, 2, "", "mass"),
    _metric(
        "balance_point",
        "Balance point from the butt",
        "mm",
        "mm",
        _MM,
        1,
        "",
        "length",
    ),
    _metric("frequency", "Frequency", "cpm", "cpm", 60.0, 1, "", "frequency"),
    _metric("torque", "Torque", "deg", "deg", _DEG, 2, "less", "angle"),
    _metric("tip_diameter", "Tip diameter", "mm", "mm", _MM, 2, "", "length"),
    _metric("butt_diameter", "Butt diameter", "mm", "mm", _MM, 2, "", "length"),
    _metric("tip_deflection", "Tip deflection", "mm", "mm", _MM, 1, "", "length"),
    _metric("butt_deflection", "Butt deflection", "mm", "mm", _MM, 1, "", "length"),
    _metric(
        "flex_point_ratio", "Flex-point ratio", "%", "pct", 100.0, 1, "", "percent"
    ),
    _metric("material_cost", "Material cost", "", "", 1.0, 2, "less", "number"),
    _metric("durability", "Durability margin", "", "", 1.0, 3, "more", "number"),
)

#: The same by key.
METRIC = MappingProxyType({metric.key: metric for metric in METRICS})
(
    WEIGHT,
    BALANCE_POINT,
    FREQUENCY,
    TORQUE,
    TIP_DIAMETER,
    BUTT_DIAMETER,
    TIP_DEFLECTION,
    BUTT_DEFLECTION,
    FLEX_POINT_RATIO,
    MATERIAL_COST,
    DURABILITY,
) = range(len(METRICS))

#: Columns of what the shop's rules are checked against.
SHOP_MEASURES = (
    "wall_min",
    "diameter_step",
    "tip_shortage",
    "tip_grind_depth",
    "bias_ground",
    "roll_overhang",
)
(
    WALL_MIN,
    DIAMETER_STEP,
    TIP_SHORTAGE,
    TIP_GRIND_DEPTH,
    BIAS_GROUND,
    ROLL_OVERHANG,
) = range(len(SHOP_MEASURES))
