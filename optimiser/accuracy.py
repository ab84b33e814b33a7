"""The table of accuracy as people read it, and its rows about the search.

`ACCURACY_CHECKS` holds every row; the rows about one shaft come from `model`.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any, Final

import moocore
import numpy as np

from model import (
    ACCURACY_CHECKS as SHAFT_CHECKS,
)
from model import (
    AccuracyRow,
    AccuracyWord,
    Case,
    Checks,
    within,
)

SEARCH: Final = Checks("Search")

_NOTE: Final = (
    "Worst error: of the case that comes nearest to what is allowed, over its "
    "reference.\n"
    "A printed number allows half a unit of its last digit. Recorded solids: ours is "
    "computed\nnow, the solid's figure is kept with the package."
)


def _hypervolume(points: Any, reference: Sequence[float]) -> float:
    """As the search measures its archive."""
    F = np.asarray(points, dtype=float)
    return float(moocore.hypervolume(F, ref=np.asarray(reference, dtype=float)))


@SEARCH.line(
    "Hypervolume of small sets", "unions of boxes, by hand", kind=AccuracyWord.EXACT
)
def _small_sets() -> Iterator[Case]:
    yield within(_hypervolume([(1, 5), (2, 3), (4, 2), (5, 1)], (6, 6)), 16.0, 1e-12)
    unit = [(0, 0, 1), (0, 1, 0), (1, 0, 0)]
    yield within(_hypervolume(unit, (2, 2, 2)), 7.0, 1e-12)


@SEARCH.line(
    "Hypervolume of ZDT1, ZDT2 at (1.1, 1.1), 20,001 points",
    "integrals: 1.21 - 1/3, 1.21 - 2/3",
    kind=AccuracyWord.EXACT,
)
def _fronts() -> Iterator[Case]:
    x = np.linspace(0.0, 1.0, 20_001)
    for y, exact in (
        (1.0 - np.sqrt(x), 1.21 - 1.0 / 3.0),
        (1.0 - x**2, 1.21 - 2.0 / 3.0),
    ):
        yield within(_hypervolume(np.stack([x, y], axis=1), (1.1, 1.1)), exact, 1e-4)


@SEARCH.line(
    "Hypervolume of DTLZ2, three objectives, at 1.1",
    "an eighth of a ball: 1.1^3 - pi/6, two grids extrapolated",
    kind=AccuracyWord.EXACT,
)
def _ball() -> Iterator[Case]:
    # a grid of points leaves out a layer under the ball as thick as its step
    found = []
    for n in (51, 101):
        a, b = np.meshgrid(*[np.linspace(0.0, math.pi / 2.0, n)] * 2)
        ball = [np.cos(a) * np.cos(b), np.cos(a) * np.sin(b), np.sin(a)]
        front = np.stack([f.ravel() for f in ball], axis=1)
        found.append(_hypervolume(front, (1.1, 1.1, 1.1)))
    yield within(2.0 * found[1] - found[0], 1.1**3 - math.pi / 6.0, 1e-3)


#: Every row, in the order they are shown.
ACCURACY_CHECKS: Final = (*SHAFT_CHECKS, *SEARCH.lines)


def accuracy_rows() -> tuple[AccuracyRow, ...]:
    """Compute the whole table.

    Returns
    -------
    rows : tuple of AccuracyRow
        In the order they are shown. [-]
    """
    return tuple(check.run() for check in ACCURACY_CHECKS)


def is_accurate(rows: Sequence[AccuracyRow]) -> bool:
    """Whether no row is out; a library that is missing is no fault.

    Parameters
    ----------
    rows : sequence of AccuracyRow
        The table. [-]

    Returns
    -------
    is_accurate : bool
        True if none is. [-]
    """
    return all(row.verdict != AccuracyWord.OUT for row in rows)


def accuracy_json(rows: Sequence[AccuracyRow]) -> dict[str, Any]:
    """The table as JSON values.

    Parameters
    ----------
    rows : sequence of AccuracyRow
        The table. [-]

    Returns
    -------
    data : dict
        Whether it holds, and its rows. [-]
    """
    return {
        "ok": is_accurate(rows),
        "rows": [
            {
                "group": row.group,
                "quantity": row.quantity,
                "reference": row.source,
                "kind": str(row.kind),
                "mark": str(row.mark),
                "cases": row.n_cases,
                "worst_error_pct": _percent(row.error),
                "allowed_pct": _percent(row.allowed),
                "verdict": str(row.verdict),
            }
            for row in rows
        ],
    }


def _percent(share: float | None) -> float | None:
    # JSON knows no infinity: a row that gave no number is out all the same
    return 100.0 * share if share is not None and math.isfinite(share) else None


def accuracy_text(rows: Sequence[AccuracyRow]) -> str:
    """The table for a terminal, its references numbered below it.

    Parameters
    ----------
    rows : sequence of AccuracyRow
        The table. [-]

    Returns
    -------
    text : str
        Lines. [-]
    """
    references = list(dict.fromkeys((row.source, str(row.mark)) for row in rows))
    number = {reference: i for i, reference in enumerate(references, start=1)}
    heads = ("", "kind", "cases", "worst error", "allowed", "verdict", "reference")
    cells = [
        (
            f"  {row.quantity}",
            str(row.kind),
            str(row.n_cases) if row.n_cases else "-",
            _shown(row.error),
            _shown(row.allowed),
            str(row.verdict),
            f"[{number[row.source, str(row.mark)]}]",
        )
        for row in rows
    ]
    widths = [max(len(line[i]) for line in [heads, *cells]) for i in range(len(heads))]

    def line(texts: Sequence[str]) -> str:
        # words to the left, numbers to the right
        sides = "<<>>><<"
        parts = zip(texts, sides, widths, strict=True)
        return "  ".join(f"{text:{side}{width}}" for text, side, width in parts)

    lines = [line(heads).rstrip()]
    shown = zip(rows, cells, strict=True)
    for group, members in groupby(shown, key=lambda member: member[0].group):
        lines += [group, *(line(texts).rstrip() for _, texts in members)]
    lines += ["", _NOTE, "", "References"]
    digits = len(str(len(references)))
    lines += [
        f"  {f'[{i}]':>{digits + 2}} {source} ({mark})"
        for i, (source, mark) in enumerate(references, start=1)
    ]
    counts = Counter(str(row.verdict) for row in rows)
    verdicts = ", ".join(f"{n} {verdict}" for verdict, n in counts.items())
    n_cases = sum(row.n_cases for row in rows)
    lines += ["", f"{len(rows)} rows, {n_cases} cases: {verdicts}"]
    return "\n".join(lines)


def _shown(share: float | None) -> str:
    return "-" if share is None else f"{100.0 * share:.2g} %"
