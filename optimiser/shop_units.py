"""Units that a shop reads its papers in: SI, or the inches and pounds of the trade."""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from optimiser.words import number, plain

if TYPE_CHECKING:
    from model import Amount, Report

_INCH: Final = 0.0254  # m, exactly
_FOOT: Final = 0.3048  # m, exactly
_LBF: Final = 4.4482216152605  # N, exactly
_KGF: Final = 9.80665  # N, exactly
_POUND: Final = 0.45359237  # kg, exactly
#: A value this near to a digit, in digits, is that digit.
_NEAR: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """How one kind of quantity is shown."""

    unit: str
    suffix: str  #: of a column or key
    per_si: float  #: shown value over the SI value
    decimals: int

    def text(self, value: float | None) -> str:
        """Write a value.

        Parameters
        ----------
        value : float or None
            In SI. [SI]

        Returns
        -------
        text : str
            Rounded, with all its decimals; a dash for None. [unit]

        Examples
        --------
        >>> SI.length.text(1.06704), TRADE.length.text(1.06704)
        ('1067.0', '42.009')
        """
        return number(None if value is None else value * self.per_si, self.decimals)

    def short(self, value: float) -> str:
        """Write a value without needless zeros, with its unit.

        Parameters
        ----------
        value : float
            In SI. [SI]

        Returns
        -------
        text : str
            Such as "1.3 kgf". [unit]
        """
        return f"{plain(value * self.per_si, self.decimals)} {self.unit}"

    def shown(self, value: float) -> float:
        """Round a value to what is shown of it.

        Parameters
        ----------
        value : float
            In SI. [SI]

        Returns
        -------
        shown : float
            Never minus zero. [unit]
        """
        return round(value * self.per_si, self.decimals) + 0.0

    def column(self, name: str) -> str:
        """Name a column of a table.

        Parameters
        ----------
        name : str
            What it holds. [-]

        Returns
        -------
        head : str
            With the unit as suffix. [-]

        Examples
        --------
        >>> SI.length.column("start"), TRADE.area.column("area_net")
        ('start_mm', 'area_net_ft2')
        """
        return f"{name}_{self.suffix}"

    def fine(self, value: float) -> float:
        """Round a value for a table that others add up.

        Parameters
        ----------
        value : float
            In SI. [SI]

        Returns
        -------
        value : float
            With two digits more than are shown; never minus zero. [unit]
        """
        return round(value * self.per_si, self.decimals + 2) + 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopUnits:
    """Units of one shop; masses of a shaft are in grams, angles in degrees in all."""

    name: str
    words: str  #: for its lengths, within a sentence
    length: Measure  #: no length moves by more than 0.05 mm when it is written
    diameter: Measure
    depth: Measure  #: of grinding
    run: Measure  #: of roll, as it is talked of
    area: Measure
    mass: Measure
    bulk: Measure  #: mass of a batch's prepreg
    coat: Measure  #: mass of paint over area
    moment: Measure
    force: Measure
    stiffness: Measure  #: EI
    taper: Measure  #: of a diameter along the shaft
    inertia: Measure
    give: Measure  #: turning of a clamp under a couple
    coupling: Measure  #: force under a twist over length
    check_spacing: float  #: of the stations where diameters are checked [m]
    clearance: float  #: of such a station from a step [m]
    tick: float  #: of the flag map's scale; every second one has its number [m]

    def amount(self, amount: Amount) -> str:
        """Write an amount that a remark of the evaluation names.

        Parameters
        ----------
        amount : Amount
            In SI. [SI]

        Returns
        -------
        text : str
            Such as "0.080 mm" or "0.0031 in". [unit]
        """
        if self.name == "si":
            return amount.text
        measure = {
            "length": self.length,
            "depth": self.depth,
            "coupling": self.coupling,
        }[amount.kind]
        return f"{measure.text(amount.value)} {measure.unit}"


_GRAM: Final = Measure(unit="g", suffix="g", per_si=1e3, decimals=2)

SI: Final = ShopUnits(
    name="si",
    words="mm",
    length=Measure(unit="mm", suffix="mm", per_si=1e3, decimals=1),
    diameter=Measure(unit="mm", suffix="mm", per_si=1e3, decimals=2),
    depth=Measure(unit="mm", suffix="mm", per_si=1e3, decimals=3),
    run=Measure(unit="m", suffix="m", per_si=1.0, decimals=2),
    area=Measure(unit="m²", suffix="m2", per_si=1.0, decimals=4),
    mass=_GRAM,
    bulk=Measure(unit="kg", suffix="kg", per_si=1.0, decimals=3),
    coat=Measure(unit="g/m²", suffix="g_m2", per_si=1e3, decimals=1),
    moment=Measure(unit="N m", suffix="n_m", per_si=1.0, decimals=4),
    force=Measure(unit="kgf", suffix="kgf", per_si=1.0 / _KGF, decimals=3),
    stiffness=Measure(unit="N m²", suffix="n_m2", per_si=1.0, decimals=2),
    taper=Measure(unit="mm per m", suffix="mm_m", per_si=1e3, decimals=2),
    inertia=Measure(unit="kg cm²", suffix="kg_cm2", per_si=1e4, decimals=3),
    give=Measure(unit="mrad/(N m)", suffix="mrad_n_m", per_si=1e3, decimals=4),
    coupling=Measure(unit="N per rad/m", suffix="n_m", per_si=1.0, decimals=0),
    check_spacing=0.100,
    clearance=0.005,
    tick=0.050,
)

TRADE: Final = ShopUnits(
    name="trade",
    words="inches",
    length=Measure(unit="in", suffix="in", per_si=1.0 / _INCH, decimals=3),
    diameter=Measure(unit="in", suffix="in", per_si=1.0 / _INCH, decimals=4),
    depth=Measure(unit="in", suffix="in", per_si=1.0 / _INCH, decimals=4),
    run=Measure(unit="ft", suffix="ft", per_si=1.0 / _FOOT, decimals=1),
    area=Measure(unit="ft²", suffix="ft2", per_si=1.0 / _FOOT**2, decimals=3),
    mass=_GRAM,
    bulk=Measure(unit="lb", suffix="lb", per_si=1.0 / _POUND, decimals=3),
    coat=Measure(unit="g/ft²", suffix="g_ft2", per_si=1e3 * _FOOT**2, decimals=2),
    moment=Measure(unit="lbf ft", suffix="lbf_ft", per_si=1 / _LBF / _FOOT, decimals=4),
    force=Measure(unit="lbf", suffix="lbf", per_si=1.0 / _LBF, decimals=3),
    stiffness=Measure(
        unit="lbf in²", suffix="lbf_in2", per_si=1.0 / _LBF / _INCH**2, decimals=0
    ),
    taper=Measure(unit="in per ft", suffix="in_ft", per_si=12.0, decimals=4),
    inertia=Measure(
        unit="lb in²", suffix="lb_in2", per_si=1.0 / _POUND / _INCH**2, decimals=4
    ),
    give=Measure(
        unit="mrad/(lbf ft)",
        suffix="mrad_lbf_ft",
        per_si=1e3 * _LBF * _FOOT,
        decimals=4,
    ),
    coupling=Measure(
        unit="lbf per rad/ft",
        suffix="lbf_ft",
        per_si=1.0 / _LBF / _FOOT,
        decimals=0,
    ),
    check_spacing=4 * _INCH,
    clearance=0.2 * _INCH,
    tick=2 * _INCH,
)

#: By name.
SHOP_UNITS: Final = MappingProxyType({units.name: units for units in (SI, TRADE)})


def warnings_in(report: Report, units: ShopUnits) -> tuple[str, ...]:
    """Write what the evaluation warns about in the units of a shop.

    Parameters
    ----------
    report : Report
        An evaluated design. [SI]
    units : ShopUnits
        Units of its papers. [-]

    Returns
    -------
    warnings : tuple of str
        One line each. [-]
    """
    return tuple(
        "".join(part if isinstance(part, str) else units.amount(part) for part in one)
        for one in report.remarks
    )


def inward(low: float, high: float, decimals: int) -> tuple[float, float]:
    """Round a band so that it never lets through what it keeps out.

    Parameters
    ----------
    low, high : float
        Edges in the unit they are shown in; infinite where a side is open. [-]
    decimals : int
        Digits that are shown; more are taken where the band is narrower. [-]

    Returns
    -------
    low, high : float
        Within the band. [-]

    Examples
    --------
    >>> inward(0.33268, 0.33661, 4)
    (0.3327, 0.3366)
    """
    for digits in range(decimals, decimals + 6):
        ten = 10.0**digits
        a = math.ceil(low * ten - _NEAR) / ten if math.isfinite(low) else low
        b = math.floor(high * ten + _NEAR) / ten if math.isfinite(high) else high
        if a <= b:
            return a, b
    return low, high
