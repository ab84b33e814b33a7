"""The door for files: readers, documents, CSV rows, faults."""

import math
import pickle
from dataclasses import dataclass
from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import AfterValidator, Field, ValidationInfo

from model.errors import Fault, InputError, nearest, suggestion
from model.fields import (
    AngleText,
    Cell,
    Choice,
    OneOf,
    Quantity,
    Text,
    Whole,
    YesNo,
    show_value,
)
from model.reading import parse_document
from model.records import FORBID_EXTRA, key_names
from model.tables import read_rows
from model.units import FlagAngle


def below_limit(value: float, info: ValidationInfo) -> float:
    if value > info.context:
        raise ValueError("past the limit.")
    return value


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    __pydantic_config__ = FORBID_EXTRA
    width: Annotated[float, Quantity("length", above=0.0), AfterValidator(below_limit)]
    count: Annotated[int, Whole(1, 9), Field(alias="class")] = 1


def faults_of(text, read):
    document = parse_document(text, "file.toml")
    read(document)
    with pytest.raises(InputError) as caught:
        document.close()
    return [str(fault) for fault in caught.value.faults]


def test_a_table_becomes_a_dataclass():
    document = parse_document('format = 1\n[box]\nwidth = "3 mm"\nclass = 2', "f")
    box = document.table("box", Box, context=1.0)
    document.close()
    assert box == Box(width=0.003, count=2)
    assert key_names(Box) == ("width", "class")
    assert key_names(Box, required=True) == ("width",)


def test_context_reaches_the_checks():
    faults = faults_of(
        'format = 1\n[box]\nwidth = "3 m"',
        lambda document: document.table("box", Box, context=1.0),
    )
    assert faults == ['[box], width = "3 m": past the limit.']


def test_faults_come_in_the_order_of_the_file_missing_keys_last():
    faults = faults_of(
        "format = 1\n[box]\nclass = 0\ncolour = 1",
        lambda document: document.table("box", Box, context=1.0),
    )
    assert faults == [
        "[box], class = 0: too small. Give a whole number from 1 to 9.",
        "[box], colour = 1: unknown key. Allowed: class, width.",
        '[box], width: missing. Give a length such as "1168 mm".',
    ]


def test_a_misspelt_key_is_reported_once():
    faults = faults_of(
        'format = 1\n[box]\nwidht = "3 mm"',
        lambda document: document.table("box", Box, context=1.0),
    )
    assert faults == ["[box], widht = \"3 mm\": unknown key. Did you mean 'width'?"]


def test_faults_of_an_array_of_tables_count_from_one():
    faults = faults_of(
        'format = 1\n[[box]]\nwidth = "1 mm"\n[[box]]\nname = "b"\nwidth = 1',
        lambda document: document.tables("box", Box, context=1.0),
    )
    assert faults[0].startswith('box 2 "b", name = "b": unknown key.')
    assert faults[1].startswith('box 2 "b", width = 1: has no unit.')


def test_input_error_reads_well_and_can_be_pickled():
    error = InputError(
        "a.toml",
        [Fault("[shaft]", "length", "46", "no unit."), Fault("", None, None, "x")],
    )
    assert str(error) == "a.toml: 2 problems\n  [shaft], length = 46: no unit.\n  x"
    copy = pickle.loads(pickle.dumps(error))
    assert (copy.source, copy.faults) == (error.source, error.faults)


@pytest.mark.parametrize(
    ("reader", "value", "read"),
    [
        (Choice(Quantity("length")), "5 mm", (0.005,)),
        (Choice(Quantity("length")), ["5 mm", "1 in"], (0.005, 0.0254)),
        (
            Choice(Quantity("number")),
            {"from": 1, "to": 2, "step": 0.5},
            (1.0, 1.5, 2.0),
        ),
        (Choice(Text()), ["a", "b"], ("a", "b")),
        (Choice(AngleText()), "±45", (FlagAngle(math.radians(45), is_pair=True),)),
        (OneOf(("less", "more")), "less", "less"),
        (YesNo(), True, True),
        (Whole(0, 10), 3.0, 3),
        (Cell("%", "percent"), " 0.85 ", 0.0085),
        (Cell("GPa", "modulus", optional=True), "", None),
    ],
)
def test_readers(reader, value, read):
    assert reader.read(value) == read


def test_range_steps_are_free_of_dust_and_end_with_the_last_value():
    reader = Choice(Quantity("length"))
    steps = reader.read({"from": "500 mm", "to": "1067 mm", "step": "5 mm"})
    assert steps[:3] == (0.5, 0.505, 0.51)
    assert steps[-2:] == (1.065, 1.067)
    assert len(set(steps)) == len(steps) == 115
    assert reader.read({"from": "5 mm", "to": "5 mm", "step": "1 mm"}) == (0.005,)


@pytest.mark.parametrize(
    ("reader", "value", "part"),
    [
        (Choice(Quantity("length")), [], "an empty list"),
        (Choice(Quantity("length")), ["5 mm", 5], "5: has no unit"),
        (Choice(Quantity("length")), ["5 mm", "0.5 cm"], '"0.5 cm": stands twice'),
        (Choice(Quantity("length")), {"from": "5 mm"}, "'to' is missing"),
        (
            Choice(Quantity("length")),
            {"from": "5 mm", "to": "9 mm", "steps": "1 mm", "step": "1 mm"},
            "'steps' is not known here",
        ),
        (
            Choice(Quantity("length")),
            {"from": "9 mm", "to": "5 mm", "step": "1 mm"},
            "'to' lies below 'from'",
        ),
        (
            Choice(Quantity("length")),
            {"from": "5 mm", "to": "9 mm", "step": "0 mm"},
            'step = "0 mm": too small',
        ),
        (
            Choice(Quantity("length")),
            {"from": "0 mm", "to": "1 m", "step": "0.1 mm"},
            "more than 2000 values",
        ),
        (
            Choice(Quantity("length", at_most=1.0)),
            {"from": "0 mm", "to": "2 m", "step": "5 mm"},
            'to = "2 m": too large. Give a value up to 1000 mm.',
        ),
        (
            Choice(Quantity("length")),
            {"from": "0 mm", "to": "1e90 m", "step": "1e-90 m"},
            "more than 2000 values",
        ),
        (Choice(Text()), {"from": 1, "to": 2, "step": 1}, "quantities only"),
        (OneOf(("less", "more")), "lesser", 'not known. Give "less" or "more".'),
        (YesNo(), "yes", "Write true or false"),
        (Whole(1, 9), 2.5, "not a whole number"),
        (Whole(1, 9), True, "not a whole number"),
        (Whole(1, 9), 10, "too large"),
        (Text(), "a\nb", "line break"),
        (
            Quantity("length", at_least=0.0, at_most=1.0),
            "2 m",
            "between 0 mm and 1000 mm",
        ),
        (Quantity("number", above=0.0, below=1.0), 1, "above 0 and below 1"),
    ],
)
def test_readers_refuse(reader, value, part):
    with pytest.raises(ValueError, match=r".") as caught:
        reader.read(value)
    assert part in str(caught.value)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("46 in", '"46 in"'),
        (1.5, "1.5"),
        (True, "true"),
        ([1, "a"], '[1, "a"]'),
        ({}, "{}"),
        ("x" * 100, f'"{"x" * 55} ...'),
        ("bell\a", '"bell\\u0007"'),
    ],
)
def test_values_are_shown_as_written(value, shown):
    assert show_value(value) == shown


def test_nearest_name():
    names = ["slim-4", "slim-5", "driver-5"]
    assert nearest("Slim5", names) == "slim-5"
    assert nearest("iron", names) is None
    assert suggestion("iron", names) == "Allowed: driver-5, slim-4, slim-5."
    assert suggestion("iron", []) == "There is nothing to choose from."
    many = suggestion("iron", [f"x{i}" for i in range(20)])
    assert many.endswith(" and 12 more.")


def test_rows_find_their_columns_by_name():
    faults = []
    rows = read_rows(
        "class,width\n2,3 mm\n\n1,4 mm\n,,\n",
        "boxes.csv",
        BoxRow,
        key_column="class",
        faults=faults,
    )
    assert faults == []
    assert [row.item.width for row in rows.rows] == [0.003, 0.004]
    assert [row.where for row in rows.rows] == [
        'boxes.csv, row 2 "2"',
        'boxes.csv, row 4 "1"',
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxRow:
    __pydantic_config__ = FORBID_EXTRA
    width: Annotated[float, Quantity("length")]
    kind: Annotated[str, Text(), Field(alias="class")]


@given(st.text(max_size=200))
def test_any_text_without_its_table_is_an_input_error(text):
    def read():
        document = parse_document(text, "file.toml")
        document.table("box", Box, context=1.0)
        document.close()

    with pytest.raises(InputError, match=r"^file.toml: \d+ problem"):
        read()


@given(st.text(alphabet='abc,;"\n\r\t 1.', max_size=80))
def test_any_text_is_a_table_or_gives_faults(text):
    faults = []
    rows = read_rows(
        "width,class\n" + text, "t.csv", BoxRow, key_column="class", faults=faults
    )
    assert rows.rows or faults
