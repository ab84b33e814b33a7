"""Fields of the files people write: how the text beside a key becomes a value.

A `Reader` stands beside the type of a dataclass field, ``Annotated[float,
Quantity("length", above=0.0)]``, and does the whole reading of that value; `reading`
makes whole tables of TOML files with them, `tables` the rows of CSV files.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Any, Final

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema

from model.errors import nearest
from model.units import (
    DIMENSIONS,
    FlagAngle,
    QuantityError,
    format_quantity,
    read_flag_angle,
    read_quantity,
)

#: most values of a {from, to, step}
CHOICE_VALUES: Final = 2000

#: longest value shown in a message
_SHOWN_LENGTH = 60


def quoted(text: str) -> str:
    """Text in the quotes it has in a file.

    Parameters
    ----------
    text : str
        Any text. [-]

    Returns
    -------
    text : str
        The same in double quotes, what cannot be printed escaped. [-]
    """
    return json.dumps(text, ensure_ascii=not text.isprintable())


def show_value(value: object) -> str:
    """Value of a file much as its author wrote it, cut where it is long.

    Parameters
    ----------
    value : object
        As read by the TOML reader. [-]

    Returns
    -------
    text : str
        One line. [-]

    Examples
    --------
    >>> show_value({"from": "40 mm", "to": True})
    '{ from = "40 mm", to = true }'
    """
    text = _render(value)
    if len(text) > _SHOWN_LENGTH:
        return f"{text[: _SHOWN_LENGTH - 4]} ..."
    return text


def _render(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, int) and abs(value) > 10**_SHOWN_LENGTH:
        return "a number of many digits"
    if isinstance(value, list):
        return f"[{', '.join(_render(item) for item in value[:_SHOWN_LENGTH])}]"
    if isinstance(value, dict):
        inside = ", ".join(f"{key} = {_render(item)}" for key, item in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    return str(value)


@dataclass(frozen=True, slots=True)
class Reader:
    """How one value of a file is read; stands beside the type of a field."""

    def read(self, value: object) -> object:
        """Read a value, or say what is wrong with it.

        Parameters
        ----------
        value : object
            As it stands in the file. [-]

        Returns
        -------
        read : object
            The value for the field. [SI]

        Raises
        ------
        ValueError
            With a message for the user.
        """
        raise NotImplementedError

    def hint(self) -> str:
        """Say what is allowed, for a value that is missing.

        Returns
        -------
        sentence : str
            Sentence for the user. [-]
        """
        raise NotImplementedError

    def __get_pydantic_core_schema__(
        self,
        source: Any,
        handler: GetCoreSchemaHandler,
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)


@dataclass(frozen=True, slots=True)
class Quantity(Reader):
    """A quantity with its unit, or a plain number for the dimension "number"."""

    dimension: str  #: key of `model.units.DIMENSIONS`
    at_least: float | None = None  #: least value allowed [SI]
    at_most: float | None = None  #: largest value allowed [SI]
    above: float | None = None  #: bound that is itself not allowed [SI]
    below: float | None = None  #: bound that is itself not allowed [SI]

    def read(self, value: object) -> float:
        """Read a quantity (see `Reader.read`)."""
        return self.checked(read_quantity(value, self.dimension))

    def checked(self, number: float) -> float:
        """Hold a number against the bounds.

        Parameters
        ----------
        number : float
            Quantity. [SI]

        Returns
        -------
        number : float
            The same. [SI]

        Raises
        ------
        QuantityError
            If it is out of bounds.
        """
        if (self.at_least is not None and number < self.at_least) or (
            self.above is not None and number <= self.above
        ):
            raise QuantityError(f"too small. Give a value {self.range_text()}.")
        if (self.at_most is not None and number > self.at_most) or (
            self.below is not None and number >= self.below
        ):
            raise QuantityError(f"too large. Give a value {self.range_text()}.")
        return number

    def range_text(self) -> str:
        """Say which values are allowed.

        Returns
        -------
        text : str
            Such as "between 0 mm and 1168 mm"; empty without bounds. [-]
        """

        def shown(bound: float) -> str:
            return format_quantity(bound, self.dimension)

        if self.at_least is not None and self.at_most is not None:
            return f"between {shown(self.at_least)} and {shown(self.at_most)}"
        parts = []
        if self.at_least is not None:
            parts.append(f"of at least {shown(self.at_least)}")
        if self.above is not None:
            parts.append(f"above {shown(self.above)}")
        if self.at_most is not None:
            parts.append(f"up to {shown(self.at_most)}")
        if self.below is not None:
            parts.append(f"below {shown(self.below)}")
        return " and ".join(parts)

    def hint(self) -> str:
        """Say what is allowed (see `Reader.hint`)."""
        kind = DIMENSIONS[self.dimension]
        example = f'"{kind.example}"' if kind.shown else kind.example
        return f"Give {kind.noun} such as {example}."


@dataclass(frozen=True, slots=True)
class Text(Reader):
    """A name or another short text on one line, not empty."""

    def read(self, value: object) -> str:
        """Read a text (see `Reader.read`)."""
        if not isinstance(value, str):
            raise QuantityError('not a text. Write it in quotes, such as "a name".')
        if not value.strip():
            raise QuantityError("empty. Write a name.")
        if not value.isprintable():
            raise QuantityError("has a line break or a control character.")
        return value.strip()

    def hint(self) -> str:
        """Say what is allowed (see `Reader.hint`)."""
        return "Write a name in quotes."


@dataclass(frozen=True, slots=True)
class OneOf(Reader):
    """A word out of a short list."""

    words: tuple[str, ...]  #: the words allowed

    def read(self, value: object) -> str:
        """Read a word (see `Reader.read`)."""
        if value in self.words:
            return str(value)
        if isinstance(value, str):
            near = nearest(value, self.words)
            if near is not None and len(self.words) > 2:
                raise QuantityError(f"not known. Did you mean '{near}'?")
        raise QuantityError(f"not known. {self.hint()}")

    def hint(self) -> str:
        """Say what is allowed (see `Reader.hint`)."""
        return f"Give {' or '.join(quoted(word) for word in self.words)}."


@dataclass(frozen=True, slots=True)
class YesNo(Reader):
    """A switch: true or false."""

    def read(self, value: object) -> bool:
        """Read a switch (see `Reader.read`)."""
        if not isinstance(value, bool):
            raise QuantityError(f"not a switch. {self.hint()}")
        return value

    def hint(self) -> str:
        """Say what is allowed (see `Reader.hint`)."""
        return "Write true or false, without quotes."


@dataclass(frozen=True, slots=True)
class Whole(Reader):
    """A whole number within bounds."""

    at_least: int  #: least value allowed
    at_most: int  #: largest value allowed

    def read(self, value: object) -> int:
        """Read a whole number (see `Reader.read`)."""
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int):
            raise QuantityError(f"not a whole number. {self.hint()}")
        if not self.at_least <= value <= self.at_most:
            size = "too small" if value < self.at_least else "too large"
            raise QuantityError(f"{size}. {self.hint()}")
        return value

    def hint(self) -> str:
        """Say what is allowed (see `Reader.hint`)."""
        return f"Give a whole number from {self.at_least} to {self.at_most}."


@dataclass(frozen=True, slots=True)
class AngleText(Reader):
    """Fibre angle of a flag: "0", "90", "±45" or a single signed angle."""

    def read(self, value: object) -> FlagAngle:
        """Read a fibre angle (see `Reader.read`)."""
        return read_flag_angle(value)

    def hint(self) -> str:
        """Say what is allowed (see `Reader.hint`)."""
        return 'Give degrees in quotes: "0", "90" or a pair such as "±45".'


@dataclass(frozen=True, slots=True)
class Choice(Reader):
    """One value, a list of values or, for quantities, {from, to, step}; gives a tuple.

    Values of a list keep their order. A {from, to, step} runs from `from` in steps
    that stay below `to` and ends with `to` itself, also where the last step is short.
    """

    item: Reader  #: how each value is read

    def read(self, value: object) -> tuple[object, ...]:
        """Read the values (see `Reader.read`)."""
        if isinstance(value, list):
            return self._list(value)
        if isinstance(value, dict):
            return self._range(value)
        return (self.item.read(value),)

    def hint(self) -> str:
        """Say what is allowed (see `Reader.hint`)."""
        return self.item.hint()

    def _list(self, values: list[object]) -> tuple[object, ...]:
        if not values:
            raise QuantityError("an empty list. Give at least one value.")
        read: list[object] = []
        problems = []
        for value in values:
            try:
                item = self.item.read(value)
            except ValueError as error:
                problems.append(f"{show_value(value)}: {error}")
                continue
            if item in read:
                problems.append(f"{show_value(value)}: stands twice.")
            read.append(item)
        if problems:
            raise QuantityError(" ".join(problems))
        return tuple(read)

    def _range(self, table: dict[str, object]) -> tuple[float, ...]:
        form = 'Write { from = "...", to = "...", step = "..." }.'
        if not isinstance(self.item, Quantity):
            raise QuantityError("a range is for quantities only. Give a list.")
        unknown = [key for key in table if key not in {"from", "to", "step"}]
        missing = [key for key in ("from", "to", "step") if key not in table]
        if unknown or missing:
            words = [f"'{key}' is not known here" for key in unknown]
            words += [f"'{key}' is missing" for key in missing]
            raise QuantityError(f"{', '.join(words)}. {form}")
        numbers = {}
        problems = []
        for key, value in table.items():
            item = self.item
            reader = Quantity(item.dimension, above=0.0) if key == "step" else item
            try:
                numbers[key] = reader.read(value)
            except ValueError as error:
                problems.append(f"{key} = {show_value(value)}: {error}")
        if problems:
            raise QuantityError(" ".join(problems))
        first, last, step = numbers["from"], numbers["to"], numbers["step"]
        if last < first:
            raise QuantityError("'to' lies below 'from', so there is no value.")
        n_steps = (last - first) / step
        if n_steps > CHOICE_VALUES - 1:
            raise QuantityError(
                f"more than {CHOICE_VALUES} values. Give a larger step or a shorter "
                "range."
            )
        # rounding drops the dust of adding steps, so 100 mm + 3 x 5 mm is 115 mm
        inner = [round(first + i * step, 10) for i in range(math.ceil(n_steps - 1e-9))]
        return (*inner, last)


@dataclass(frozen=True, slots=True)
class Cell(Reader):
    """A number in a table whose column name carries the unit."""

    unit: str  #: unit of the column, empty for a plain number
    dimension: str  #: key of `model.units.DIMENSIONS`
    at_least: float | None = None  #: least value allowed, in the column's unit
    at_most: float | None = None  #: largest value allowed, in the column's unit
    above: float | None = None  #: bound that is itself not allowed, same unit
    optional: bool = False  #: whether the cell may be empty (gives None)

    def read(self, value: object) -> float | None:
        """Read a cell (see `Reader.read`)."""
        text = str(value).strip()
        if not text:
            if self.optional:
                return None
            raise QuantityError(f"empty. {self.hint()}")
        try:
            number = float(text)
        except ValueError:
            comma = ", with a point for the decimals" if "," in text else ""
            raise QuantityError(f"not a number. {self.hint()[:-1]}{comma}.") from None
        if not math.isfinite(number):
            raise QuantityError(f"not a finite number. {self.hint()}")
        if (
            (self.at_least is not None and number < self.at_least)
            or (self.at_most is not None and number > self.at_most)
            or (self.above is not None and number <= self.above)
        ):
            raise QuantityError(f"out of range. {self.hint()}")
        return read_quantity(f"{text} {self.unit}".strip(), self.dimension)

    def hint(self) -> str:
        """Say what is allowed (see `Reader.hint`)."""
        of_unit = f" of {self.unit}" if self.unit else ""
        if self.at_least is not None and self.at_most is not None:
            return f"Give a number{of_unit} from {self.at_least:g} to {self.at_most:g}."
        if self.above is not None and self.at_most is not None:
            limits = f" above {self.above:g} and up to {self.at_most:g}"
        elif self.above is not None:
            limits = f" above {self.above:g}"
        elif self.at_least is not None:
            limits = f" of at least {self.at_least:g}"
        else:
            limits = ""
        return f"Give a number{of_unit}{limits}."
