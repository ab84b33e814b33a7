"""The table of accuracy: what is computed here, beside what others say it is.

A check is a function that yields cases, each a number of ours, the number it should be
and how far apart they may lie. Its row shows the case that comes nearest to its limit.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final


class AccuracyWord(StrEnum):
    """Words of the table."""

    # what stands behind a reference
    EXACT = "exact"  #: a closed form, or a limit that theory demands
    PUBLISHED = "published"  #: a printed example, table, equation or definition
    LIBRARY = "library"  #: a general library computes it independently
    SOLID = "recorded"  #: a finite-element study kept with the package
    PRACTICE = "practice"  #: common practice of the trade, without a source
    # how it came here
    READ = "read"  #: seen in the source's own text
    MEMORY = "from memory"  #: the source named is where it should stand
    DERIVED = "derived"  #: worked out from the equation or model named
    COMPUTED = "computed"  #: a program's answer
    UNSOURCED = "no source"  #: common practice
    # what came of it
    PASSED = "ok"
    OUT = "OUT"
    NOT_INSTALLED = "not installed"


#: Printed digits are rounded; a hair is left for values that fall on half a digit.
_HALF_DIGIT: Final = 0.5 * 1.02


class MissingLibraryError(Exception):
    """A library that serves as a reference is not installed."""


@dataclass(frozen=True, slots=True)
class Case:
    """One number of ours beside the number it should be."""

    ours: float  #: [any]
    reference: float  #: [as ours]
    allowed: float  #: largest difference [as ours]

    @property
    def error(self) -> float:
        """Difference; infinite where ours is no number."""
        difference = abs(self.ours - self.reference)
        return difference if math.isfinite(difference) else math.inf

    @property
    def use(self) -> float:
        """Share of the allowed difference that is used up."""
        return self.error / self.allowed if self.allowed > 0.0 else math.inf


def printed(ours: float, text: str) -> Case:
    """A case whose reference is printed to so many digits.

    Parameters
    ----------
    ours : float
        Our value. [any]
    text : str
        The reference as printed, such as "23.65" or "1.739e9". [as ours]

    Returns
    -------
    case : Case
        Half a unit of the last digit is allowed. [as ours]

    Examples
    --------
    >>> printed(23.6521, "23.65").use < 1.0, printed(23.656, "23.65").use < 1.0
    (True, False)
    """
    digits, _, exponent = text.lower().partition("e")
    decimals = len(digits.partition(".")[2])
    unit = 10.0 ** (int(exponent or 0) - decimals)
    return Case(float(ours), float(text), _HALF_DIGIT * unit)


def within(ours: float, reference: float, share: float) -> Case:
    """A case whose reference is known to many digits.

    Parameters
    ----------
    ours, reference : float
        Our value and the value it should be. [any]
    share : float
        Allowed difference over the reference. [-]

    Returns
    -------
    case : Case
        The two. [any]
    """
    return Case(float(ours), float(reference), share * abs(float(reference)))


@dataclass(frozen=True, slots=True)
class AccuracyRow:
    """A line of the table."""

    group: str  #: heading it stands under
    quantity: str  #: what is computed
    source: str  #: what it is held against
    kind: str  #: exact, published, library, solid, practice
    mark: str  #: read, from memory, derived
    n_cases: int  #: numbers compared
    error: float | None  #: of the case nearest to its limit, over its reference [-]
    allowed: float | None  #: largest error allowed of that case [-]
    verdict: str  #: ok, OUT, not installed


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A line of the table, before it is computed."""

    group: str
    quantity: str
    source: str
    kind: str
    mark: str
    cases: Callable[[], Iterable[Case]]

    def run(self) -> AccuracyRow:
        """Compute the line.

        Returns
        -------
        row : AccuracyRow
            The case that uses most of what is allowed speaks for all. [-]
        """
        try:
            cases = list(self.cases())
        except MissingLibraryError:
            return self._row(0, None, None, AccuracyWord.NOT_INSTALLED)
        worst = max(cases, key=lambda case: case.use)
        scale = abs(worst.reference) or 1.0
        verdict = AccuracyWord.PASSED if worst.use <= 1.0 else AccuracyWord.OUT
        return self._row(
            len(cases), worst.error / scale, worst.allowed / scale, verdict
        )

    def _row(
        self, n_cases: int, error: float | None, allowed: float | None, verdict: str
    ) -> AccuracyRow:
        return AccuracyRow(
            self.group,
            self.quantity,
            self.source,
            self.kind,
            self.mark,
            n_cases,
            error,
            allowed,
            verdict,
        )


@dataclass(frozen=True, slots=True)
class Checks:
    """Lines of the table under one heading; a decorator adds one."""

    group: str  #: the heading
    lines: list[Check] = field(default_factory=list)

    def line(
        self, quantity: str, source: str, *, kind: str, mark: str = AccuracyWord.DERIVED
    ) -> Callable[[Callable[[], Iterable[Case]]], Callable[[], Iterable[Case]]]:
        """Add a line whose cases the decorated function yields.

        Parameters
        ----------
        quantity : str
            What is computed. [-]
        source : str
            What it is held against. [-]
        kind, mark : str
            `AccuracyWord`s. [-]

        Returns
        -------
        decorator : callable
            Gives the function back unchanged. [-]
        """

        def add(cases: Callable[[], Iterable[Case]]) -> Callable[[], Iterable[Case]]:
            self.lines.append(
                Check(
                    group=self.group,
                    quantity=quantity,
                    source=source,
                    kind=kind,
                    mark=mark,
                    cases=cases,
                )
            )
            return cases

        return add
