"""Quantities in and out."""

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.units import (
    DIMENSIONS,
    FlagAngle,
    QuantityError,
    format_quantity,
    read_flag_angle,
    read_quantity,
    write_flag_angle,
    write_quantity,
)


# exact by definition: the inch is 25.4 mm, the pound 0.45359237 kg, standard gravity
# 9.80665 m/s² (NIST SP 811, 2008, appendix B, from memory)
@pytest.mark.parametrize(
    ("text", "dimension", "number"),
    [
        ("46 in", "length", 1.1684),
        ("1067 mm", "length", 1.067),
        ("-3mm", "length", -0.003),
        ("1.2e2 cm", "length", 1.2),
        (".5 m", "length", 0.5),
        ("\N{MINUS SIGN}5 mm", "length", -0.005),
        ("58 g", "mass", 0.058),
        ("1 lb", "mass", 0.45359237),
        ("125 g/m^2", "areal", 0.125),
        ("125 g/m²", "areal", 0.125),
        ("125 gsm", "areal", 0.125),
        ("180 deg", "angle", math.pi),
        ("90°", "angle", math.pi / 2),
        ("1 rad", "angle", 1.0),
        ("240 cpm", "frequency", 4.0),
        ("4 Hz", "frequency", 4.0),
        ("2.7 kgf", "force", 26.477955),
        ("1 lbf ft", "moment", 1.3558179483314004),
        ("1 ft lbf", "moment", 1.3558179483314004),
        ("13.9 kgf cm", "moment", 1.36312435),
        ("26 N m^2", "bending_stiffness", 26.0),
        ("26 N·m²", "bending_stiffness", 26.0),
        ("2 kg cm^2", "inertia", 2e-4),
        ("1 Msi", "modulus", 6.894757293168e9),
        ("1.8 g/cm^3", "density", 1800.0),
        ("90 min", "time", 5400.0),
        ("6 %", "percent", 0.06),
        ("6 %", "number", 0.06),
        ("5 mm/m", "number", 0.005),
        (0.15, "number", 0.15),
        (3, "number", 3.0),
        ("0", "number", 0.0),
    ],
)
def test_reads(text, dimension, number):
    assert read_quantity(text, dimension) == pytest.approx(number, rel=1e-13)


def test_a_decimal_text_is_rounded_once():
    """0.1 mm steps come out as the nearest double, without dust of a product."""
    for tenths in range(20_000):
        text = f"{tenths / 10:.1f} mm"
        assert read_quantity(text, "length") == round(tenths * 1e-4, 4)


@pytest.mark.parametrize(
    ("value", "dimension", "part"),
    [
        (46, "length", "has no unit. Write the number with its unit in quotes"),
        ("46", "length", "has no unit. Give a length such as"),
        ("46 lb", "length", "'lb' is the unit of a mass, not a length"),
        ("256 rpm", "frequency", "'rpm' is not the unit of a frequency"),
        ("3.8 rad", "number", "'rad' is the unit of an angle, not a plain number"),
        ("3.8", "angle", "has no unit"),
        ("48", "percent", "has no unit"),
        ("46 im", "length", "unknown unit 'im'. Did you mean"),
        ("46 MM", "length", "Did you mean 'mm'?"),
        ("1,5 mm", "length", "has a decimal comma; write a point"),
        ("46 2 in", "length", "unknown unit"),
        ("46 in long", "length", "unknown unit 'in long'"),
        ("nan mm", "length", "not a finite number"),
        ("-Infinity", "length", "not a finite number"),
        (math.nan, "number", "not a finite number"),
        (-math.inf, "number", "not a finite number"),
        ("1e400 mm", "length", "out of range"),
        ("1e-999999999 mm", "length", "out of range"),
        pytest.param(10**400, "number", "not a finite number", id="many digits"),
        (True, "number", "not a plain number"),
        ([1], "length", "not a length"),
        ({}, "angle", "not an angle"),
        ("", "length", "empty"),
        ("tip", "length", "not a length"),
        ("5 m)(", "length", "unknown unit"),
        ("5 __import__('os')", "length", "unknown unit"),
    ],
)
def test_refuses(value, dimension, part):
    with pytest.raises(QuantityError) as caught:
        read_quantity(value, dimension)
    assert part in str(caught.value)


@pytest.mark.parametrize("dimension", DIMENSIONS)
def test_examples_of_messages_can_be_read(dimension):
    kind = DIMENSIONS[dimension]
    assert read_quantity(kind.example, dimension) > 0.0
    for unit in kind.common:
        assert read_quantity(f"1 {unit}", dimension) > 0.0


@given(st.text(max_size=60), st.sampled_from(sorted(DIMENSIONS)))
def test_any_text_is_read_or_refused(text, dimension):
    message, number = ".", 0.0
    try:
        number = read_quantity(text, dimension)
    except QuantityError as error:
        message = str(error)
    assert math.isfinite(number)
    assert message.endswith((".", "?"))


@given(st.text(alphabet="0123456789.eE+-*/^()% mNgkfincp²·", max_size=20))
def test_unit_like_text_is_read_or_refused(text):
    for dimension in ("length", "moment", "number"):
        number = 0.0
        with contextlib.suppress(QuantityError):
            number = read_quantity(f"1{text}", dimension)
        assert math.isfinite(number)


@given(
    st.floats(-1e6, 1e6, allow_nan=False),
    st.sampled_from(["length", "mass", "areal", "force", "moment", "inertia", "time"]),
)
def test_written_is_read_back_to_the_bit(number, dimension):
    number = 0.0 if abs(number) < 1e-90 else number
    assert read_quantity(write_quantity(number, dimension), dimension) == number


@given(st.integers(-360_000_000, 360_000_000))
def test_angles_are_kept_to_a_millionth_of_a_degree(millionths):
    angle = math.radians(millionths * 1e-6)
    found = read_quantity(write_quantity(angle, "angle"), "angle")
    assert found == pytest.approx(angle, rel=1e-14, abs=1e-18)


@pytest.mark.parametrize(
    ("number", "dimension", "shown"),
    [
        (1.1684, "length", "1168.4 mm"),
        (0.0, "length", "0 mm"),
        (0.0625, "mass", "62.5 g"),
        (4.2, "frequency", "252 cpm"),
        (math.pi / 4, "angle", "45 deg"),
        (0.48, "percent", "48 %"),
        (0.15, "number", "0.15"),
        (1234.5678, "length", "1234568 mm"),
    ],
)
def test_shows(number, dimension, shown):
    assert format_quantity(number, dimension) == shown


@pytest.mark.parametrize(
    ("text", "degrees", "is_pair"),
    [
        ("0", 0, False),
        ("90", 90, False),
        ("-90", 90, False),
        ("±45", 45, True),
        ("+-45", 45, True),
        ("+/-45", 45, True),
        ("± 30.5", 30.5, True),
        ("±45 deg", 45, True),
        ("45°", 45, False),
        ("-30", -30, False),
        ("\N{MINUS SIGN}30", -30, False),
        (45, 45, False),
    ],
)
def test_reads_flag_angles(text, degrees, is_pair):
    assert read_flag_angle(text) == FlagAngle(math.radians(degrees), is_pair)


@pytest.mark.parametrize(
    "value", ["±0", "±90", "±-45", "91", 10**400, math.nan, "x", "", None, [45], True]
)
def test_refuses_flag_angles(value):
    with pytest.raises(QuantityError):
        read_flag_angle(value)


@given(st.integers(1, 89_999_999), st.booleans())
def test_flag_angles_are_read_back(millionths, is_pair):
    angle = math.radians(millionths / 1e6)
    text = write_flag_angle(angle, is_pair=is_pair)
    assert read_flag_angle(text) == FlagAngle(angle, is_pair)
