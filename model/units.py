"""Quantities in and out: text with a unit at the boundary, plain SI numbers inside.

A file says "46 in", "125 g/m^2" or "256 cpm"; the package computes with metres,
kilograms per square metre and hertz. `read_quantity` turns the one into the other and
refuses what is not finite or not of the right dimension. Angles and percentages are
checked apart from plain numbers, so "3.8 rad" cannot pass for a ratio.
"""

from __future__ import annotations

import math
import re
import tokenize
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache
from types import MappingProxyType
from typing import Final

import pint

from model.errors import nearest

#: longest unit text looked at; anything longer is not a unit
_UNIT_LENGTH = 40
#: largest power of ten of a number, either way; nothing on a shaft comes near
_EXPONENT = 100
#: decimals kept of an angle written in degrees
_ANGLE_DECIMALS = 6

_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*)", re.DOTALL)
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)\b", re.IGNORECASE)
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d")
_FLAG_ANGLE = re.compile(r"(±|\+-|\+/-)?\s*([+-]?(?:\d+\.?\d*|\.\d+))\s*(?:deg|°)?")


@dataclass(frozen=True, slots=True)
class Dimension:
    """A kind of quantity: its SI unit, and how people write and read it."""

    noun: str  #: with its article, as used in a message
    si: str  #: unit of the numbers inside the package
    shown: str  #: unit in which messages and design files show it
    example: str  #: a quantity as it is written in a file
    common: tuple[str, ...]  #: units offered when one is not known


#: every kind of quantity a file can hold
DIMENSIONS: Final[Mapping[str, Dimension]] = MappingProxyType(
    {
        "length": Dimension(
            "a length", "m", "mm", "1168 mm", ("mm", "cm", "m", "in", "inch", "ft")
        ),
        "mass": Dimension("a mass", "kg", "g", "58 g", ("g", "kg", "oz", "lb", "mg")),
        "areal": Dimension(
            "a mass per area",
            "kg/m^2",
            "g/m^2",
            "125 g/m^2",
            ("g/m^2", "gsm", "kg/m^2"),
        ),
        "angle": Dimension(
            "an angle", "rad", "deg", "3.8 deg", ("deg", "degree", "degrees", "rad")
        ),
        "frequency": Dimension(
            "a frequency", "Hz", "cpm", "256 cpm", ("cpm", "Hz", "1/min", "1/s")
        ),
        "force": Dimension("a force", "N", "N", "400 N", ("N", "kN", "kgf", "lbf")),
        "moment": Dimension(
            "a moment", "N m", "N m", "30 N m", ("N m", "N mm", "kgf cm", "lbf ft")
        ),
        "moment_angle": Dimension(
            "a moment times an angle",
            "N m rad",
            "N m deg",
            "1200 N m deg",
            ("N m deg", "N m rad", "lbf ft deg"),
        ),
        "bending_stiffness": Dimension(
            "a bending stiffness",
            "N m^2",
            "N m^2",
            "26 N m^2",
            ("N m^2", "N m²", "N mm^2", "kgf mm^2", "lbf in^2"),
        ),
        "compliance": Dimension(
            "a rotation per moment",
            "rad/(N m)",
            "rad/(N m)",
            "0.0002 rad/(N m)",
            ("rad/(N m)", "deg/(N m)", "mrad/(N m)"),
        ),
        "warming": Dimension("a difference of temperature", "K", "K", "100 K", ("K",)),
        "inertia": Dimension(
            "a moment of inertia",
            "kg m^2",
            "kg cm^2",
            "2 kg cm^2",
            ("kg m^2", "kg cm^2", "g cm^2"),
        ),
        "modulus": Dimension(
            "a modulus",
            "Pa",
            "GPa",
            "33 Msi",
            ("GPa", "MPa", "Pa", "Msi", "ksi", "psi"),
        ),
        "density": Dimension(
            "a density",
            "kg/m^3",
            "g/cm^3",
            "1.8 g/cm^3",
            ("g/cm^3", "kg/m^3"),
        ),
        "time": Dimension(
            "a time", "s", "s", "90 min", ("s", "min", "h", "hour", "hours", "minutes")
        ),
        "percent": Dimension("a percentage", "", "%", "6 %", ("%", "percent")),
        "number": Dimension("a plain number", "", "", "1.5", ("%", "mm/m")),
    }
)


class QuantityError(ValueError):
    """A text that is not a usable quantity; its message says why and what is."""


@dataclass(frozen=True, slots=True)
class FlagAngle:
    """Fibre angle of a flag as written: a balanced pair, straight, hoop or single."""

    angle: float  #: from the shaft axis; not negative for a pair [rad]
    is_pair: bool  #: a +angle and a -angle piece rolled together [-]


@cache
def _registry() -> pint.UnitRegistry[float]:
    """Unit registry, built when first needed since that takes a tenth of a second."""
    registry: pint.UnitRegistry[float] = pint.UnitRegistry(cache_folder=None)
    registry.define("cpm = 1 / minute")
    registry.define("Msi = 1e6 * psi")
    registry.define("gsm = gram / meter ** 2")
    return registry


@cache
def _root(unit: str) -> tuple[float, str]:
    """Factor to root units, and their product as sorted text, of a unit text.

    The radian is a root unit of its own, which sets angles apart from numbers.
    """
    quantity = (1.0 * _registry().parse_units(unit)).to_root_units()
    return float(quantity.magnitude), str(quantity.units)


def _parse_unit(unit: str) -> tuple[float, str] | None:
    """Like `_root`, None where the text is no unit at all."""
    if len(unit) > _UNIT_LENGTH:
        return None
    try:
        return _root(unit)
    # the parser of the unit library lets its tokenizer's and its own faults through
    except (
        pint.errors.PintError,
        tokenize.TokenError,
        ArithmeticError,
        AssertionError,
        AttributeError,
        KeyError,
        SyntaxError,
        TypeError,
        ValueError,
    ):
        return None


def _plain_number(value: object, dimension: Dimension) -> float | None:
    """Number given without quotes, None where the value is something else."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    number = _as_float(value)
    if not math.isfinite(number):
        raise QuantityError(f"not a finite number. {_give(dimension)}")
    if dimension.noun != DIMENSIONS["number"].noun:
        raise QuantityError(
            "has no unit. Write the number with its unit in quotes, such as "
            f'"{dimension.example}".'
        )
    return number


def _as_float(value: float) -> float:
    try:
        return float(value)
    except OverflowError:  # a whole number of hundreds of digits
        return math.inf


def _give(dimension: Dimension) -> str:
    if dimension.si:
        return f'Give {dimension.noun} such as "{dimension.example}".'
    return f"Give {dimension.noun} such as {quoted_example(dimension)}."


def quoted_example(dimension: Dimension) -> str:
    """Example of a quantity as it stands in a file.

    Parameters
    ----------
    dimension : Dimension
        Kind of quantity. [-]

    Returns
    -------
    text : str
        The example, in quotes where it has a unit. [-]
    """
    return f'"{dimension.example}"' if dimension.shown else dimension.example


@lru_cache(maxsize=1024)
def _unit_factor(unit: str, dimension: Dimension) -> Fraction:
    """Factor from a unit to the SI unit of a dimension."""
    parsed = _parse_unit(unit)
    if parsed is None:
        near = nearest(unit, dimension.common)
        hint = f"Did you mean '{near}'?" if near else _give(dimension)
        raise QuantityError(f"unknown unit '{unit[:_UNIT_LENGTH]}'. {hint}")
    factor, root = parsed
    si_factor, si_root = _root(dimension.si)
    if root != si_root:
        for other in DIMENSIONS.values():
            if other.si and root == _root(other.si)[1]:
                raise QuantityError(
                    f"'{unit}' is the unit of {other.noun}, not {dimension.noun}. "
                    f"{_give(dimension)}"
                )
        for common in dimension.common:
            if common.casefold() == unit.casefold():
                raise QuantityError(
                    f"'{unit}' is not the unit of {dimension.noun}. "
                    f"Did you mean '{common}'?"
                )
        raise QuantityError(
            f"'{unit}' is not the unit of {dimension.noun}. {_give(dimension)}"
        )
    return _exact(factor / si_factor)


def _exact(factor: float) -> Fraction:
    """Simple fraction behind a conversion factor (1/60 for cpm), else its decimals."""
    simple = Fraction(factor).limit_denominator(10**6)
    return simple if float(simple) == factor else Fraction(repr(factor))


def read_quantity(value: object, dimension: str) -> float:
    """SI number of a quantity as written in a file.

    Parameters
    ----------
    value : object
        What stands in the file: text such as "46 in"; for the dimension "number" also
        a number. [-]
    dimension : str
        Key of `DIMENSIONS`. [-]

    Returns
    -------
    number : float
        The quantity in the SI unit of the dimension, correctly rounded from the
        decimal text; percentages become fractions. [SI]

    Raises
    ------
    QuantityError
        If it is not finite, has no unit or one of another dimension.

    Examples
    --------
    >>> read_quantity("46 in", "length")
    1.1684
    >>> read_quantity("256 cpm", "frequency")
    4.266666666666667
    >>> read_quantity("48 %", "percent")
    0.48
    """
    kind = DIMENSIONS[dimension]
    number = _plain_number(value, kind)
    if number is not None:
        return number
    if not isinstance(value, str):
        raise QuantityError(f"not {kind.noun}. {_give(kind)}")
    text = value.strip().replace("\N{MINUS SIGN}", "-")
    if not text:
        raise QuantityError(f"empty. {_give(kind)}")
    if _NOT_FINITE.match(text):
        raise QuantityError(f"not a finite number. {_give(kind)}")
    if _DECIMAL_COMMA.match(text):
        raise QuantityError(f"has a decimal comma; write a point. {_give(kind)}")
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise QuantityError(f"not {kind.noun}. {_give(kind)}")
    digits, unit = match.groups()
    if not unit and kind.shown:
        raise QuantityError(f"has no unit. {_give(kind)}")
    factor = _unit_factor(unit, kind) if unit else Fraction(1)
    decimal = Decimal(digits)
    if decimal and abs(decimal.adjusted()) > _EXPONENT:
        raise QuantityError(f"out of range. {_give(kind)}")
    # exact arithmetic, so that "1067 mm" is 1.067 to the last bit
    return float(Fraction(decimal) * factor)


def format_quantity(number: float, dimension: str, *, digits: int = 6) -> str:
    """Quantity as it is shown to people.

    Parameters
    ----------
    number : float
        Quantity. [SI]
    dimension : str
        Key of `DIMENSIONS`. [-]
    digits : int
        Significant digits kept. [-]

    Returns
    -------
    text : str
        Such as "1168 mm". [-]

    Examples
    --------
    >>> format_quantity(1.1684, "length")
    '1168.4 mm'
    >>> format_quantity(0.48, "percent")
    '48 %'
    """
    kind = DIMENSIONS[dimension]
    shown = number / float(_unit_factor(kind.shown, kind) if kind.shown else 1)
    text = f"{shown:.{digits}g}"
    if "e" in text and 1e-4 < abs(shown) < 1e9:
        text = f"{shown:.0f}"
    return f"{text} {kind.shown}".rstrip()


def amount_text(amount: float, decimals: int) -> str:
    """How much something is off: rounded, but what is not nothing never reads so.

    Parameters
    ----------
    amount : float
        More than nothing, in the unit it is shown in. [-]
    decimals : int
        Digits after the point. [-]

    Returns
    -------
    text : str
        A number, or "less than" the least that the digits can show. [-]

    Examples
    --------
    >>> amount_text(0.2504, 3), amount_text(0.0002, 3), amount_text(0.3, 0)
    ('0.250', 'less than 0.001', 'less than 1')
    """
    least = 10.0**-decimals
    if amount < 0.5 * least:
        return f"less than {least:.{decimals}f}"
    return f"{amount:.{decimals}f}"


def write_quantity(number: float, dimension: str) -> str:
    """Quantity as it is written to a file, read back to the same number.

    Parameters
    ----------
    number : float
        Quantity. [SI]
    dimension : str
        Key of `DIMENSIONS`. [-]

    Returns
    -------
    text : str
        Shortest decimal text with a unit. [-]

    Notes
    -----
    Exact for every dimension whose shown unit is a power of ten of its SI unit;
    angles are written to 1e-6 deg.

    Examples
    --------
    >>> write_quantity(1.067, "length")
    '1067 mm'
    """
    kind = DIMENSIONS[dimension]
    if dimension == "angle":
        degrees = round(math.degrees(number), _ANGLE_DECIMALS)
        return f"{_plain(Decimal(repr(degrees)))} deg"
    factor = _unit_factor(kind.shown, kind) if kind.shown else Fraction(1)
    exact = Fraction(repr(number)) / factor
    shown = Decimal(exact.numerator) / Decimal(exact.denominator)
    return f"{_plain(shown)} {kind.shown}".rstrip()


def _plain(number: Decimal) -> str:
    """Decimal number without exponent and without trailing zeros."""
    text = f"{number:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in {"", "-0"} else text


def read_flag_angle(value: object) -> FlagAngle:
    """Fibre angle of a flag as written: "0", "90", "±45", "+-45" or a single "30".

    Parameters
    ----------
    value : object
        What stands in the file, in degrees. [-]

    Returns
    -------
    flag_angle : FlagAngle
        Angle and whether it is a balanced pair. [rad]

    Raises
    ------
    QuantityError
        If it is no angle, or none a flag can have.

    Examples
    --------
    >>> read_flag_angle("±45")
    FlagAngle(angle=0.7853981633974483, is_pair=True)
    """
    give = 'Give degrees in quotes: "0", "90" or a pair such as "±45".'
    if isinstance(value, int | float) and not isinstance(value, bool):
        value = repr(_as_float(value))
    if not isinstance(value, str):
        raise QuantityError(f"not an angle. {give}")
    match = _FLAG_ANGLE.fullmatch(value.strip().replace("\N{MINUS SIGN}", "-"))
    if match is None:
        raise QuantityError(f"not an angle. {give}")
    pair, digits = match.groups()
    degrees = float(digits)
    if not -90.0 <= degrees <= 90.0:
        raise QuantityError(f"past a right angle. {give}")
    if pair and not 0.0 < degrees < 90.0:
        raise QuantityError(
            "a pair lies between 0 and 90 degrees to either side of the axis. "
            'Write "0" or "90" for a flag that is its own mirror image.'
        )
    if degrees == -90.0:
        degrees = 90.0  # the same hoop
    return FlagAngle(math.radians(degrees + 0.0), is_pair=pair is not None)


def write_flag_angle(angle: float, *, is_pair: bool) -> str:
    """Fibre angle of a flag as it is written to a file.

    Parameters
    ----------
    angle : float
        Fibre angle from the shaft axis. [rad]
    is_pair : bool
        Whether the flag is a balanced pair. [-]

    Returns
    -------
    text : str
        Such as "±45" or "0". [-]

    Examples
    --------
    >>> write_flag_angle(math.pi / 4, is_pair=True)
    '±45'
    """
    degrees = _plain(Decimal(repr(round(math.degrees(angle), _ANGLE_DECIMALS))))
    return f"±{degrees}" if is_pair else degrees
