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
    needs: str = ""  #: bench value without which there is no such test

    @property
    def phrase(self) -> str:
        """Its label within a sentence."""
        return self.label[:1].lower() + self.label[1:]

    @property
    def is_margin(self) -> bool:
        """Whether it is a ratio less one, which lies above -1."""
        return self.key in _MARGINS

    @property
    def is_measured(self) -> bool:
        """Whether a bench can read it from a shaft without breaking it."""
        return self.key not in _PREDICTED

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


#: Metrics that are what is borne over what is asked, less one.
_MARGINS = frozenset({"durability", "flattening", "impact"})
#: Metrics that no bench reads, or only by breaking the shaft.
_PREDICTED = frozenset(
    {
        "material_cost",
        "durability",
        "torsion_strength",
        "torsion_product",
        "flattening",
        "crush_load",
        "impact",
        "direction_spread",
    }
)


def _metric(
    key: str,
    label: str,
    unit: str,
    suffix: str,
    scale: float,
    decimals: int,
    better: str,
    dimension: str,
    needs: str = "",
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
        needs=needs,
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
    _metric(
        "cantilever_deflection",
        "Cantilever deflection",
        "mm",
        "mm",
        _MM,
        1,
        "",
        "length",
    ),
    _metric(
        "torsion_strength", "Breaking torque", "N·m", "n_m", 1.0, 1, "more", "moment"
    ),
    _metric(
        "torsion_product",
        "Breaking torque x twist",
        "N·m·deg",
        "n_m_deg",
        _DEG,
        0,
        "more",
        "moment_angle",
    ),
    _metric("flattening", "Flattening margin", "", "", 1.0, 3, "more", "number"),
    _metric("crush_load", "Crushing load of a ring", "N", "n", 1.0, 0, "more", "force"),
    _metric(
        "impact", "Impact margin", "", "", 1.0, 3, "more", "number", "impact_moment"
    ),
    _metric(
        "direction_spread",
        "Spread of EI round the clock",
        "%",
        "pct",
        100.0,
        2,
        "less",
        "percent",
    ),
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
    CANTILEVER_DEFLECTION,
    TORSION_STRENGTH,
    TORSION_PRODUCT,
    FLATTENING,
    CRUSH_LOAD,
    IMPACT,
    DIRECTION_SPREAD,
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
