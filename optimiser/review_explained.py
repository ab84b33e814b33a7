"""What explains some designs of a front, in few bytes, for the review page.

To explain a design is to evaluate it some hundred times, so not every design of a front
is explained: all picks are, and others spread over the front until a stated number of
designs or of flags is reached. Both limits count work rather than time, so that a run
always gives the same page.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

import pandas as pd

from model import Design, Library
from optimiser.explain import Explanation, explain
from optimiser.explain_text import explain_json
from optimiser.review import Pick, nearest, spread
from optimiser.spec import Spec
from optimiser.words import ei_column, mm

#: Designs that are explained besides the picks. [-]
BESIDES: Final = 40
#: Flags of all explained designs, as far as picks do not have more; the time that
#: explaining takes grows with them. [-]
MOST_FLAGS: Final = 350
#: Digits that are kept of changes, and of the values that are changed. [-]
_DIGITS, _DIGITS_NOW = 5, 7
#: Decimals of a share in percent: those it is shown with, so it is rounded once. [-]
_SHARE_DECIMALS = 1
#: Decimals that are kept of a change beyond those its metric is shown with. [-]
_FINER = 2


def chosen_to_explain(
    front: pd.DataFrame,
    flags: Mapping[str, int],
    spec: Spec,
    picks: Sequence[Pick],
    besides: int = BESIDES,
    most_flags: int = MOST_FLAGS,
) -> list[str]:
    """Choose the designs of a front that are explained.

    Parameters
    ----------
    front : DataFrame
        One row a design, columns `id` and the metrics' columns. [-]
    flags : mapping of str to int
        How many flags each design has, by id. [-]
    spec : Spec
        Its trades say how far designs are apart. [SI]
    picks : sequence of Pick
        Picks of the front; all of them are chosen. [-]
    besides : int
        How many others are chosen at most. [-]
    most_flags : int
        Others are chosen only until all chosen have so many flags. [-]

    Returns
    -------
    names : list of str
        Their ids, the picks first, then those that lie furthest from the ones before.
        [-]
    """
    picked = [p.design_id for p in picks if p.design_id in flags]
    chosen = list(dict.fromkeys(picked))
    total = sum(flags[name] for name in chosen)
    for name in spread(front, spec, chosen, besides):
        total += flags[name]
        if total > most_flags and chosen:
            break
        chosen.append(name)
    return chosen


def explained_data(
    front: pd.DataFrame,
    designs: Mapping[str, Design],
    spec: Spec,
    library: Library,
    picks: Sequence[Pick],
    columns: Sequence[Mapping[str, Any]],
) -> dict[str, Any]:
    """Explain the picks of a front and designs spread over it.

    Parameters
    ----------
    front : DataFrame
        One row a design, columns `id` and the metrics' columns. [-]
    designs : mapping of str to Design
        By id, in the order of the front. [SI]
    spec : Spec
        What was asked. [SI]
    library : Library
        Materials and mandrels. [-]
    picks : sequence of Pick
        Picks of the front. [-]
    columns : sequence of mapping
        What the page shows of every design, as its `columns_of` gives it. [-]

    Returns
    -------
    data : dict
        JSON values: headings and words once; by id the shares in percent and the
        changes in the units of the columns; and for each design of the front the place
        of the explained one that lies nearest to it. [-]
    """
    flags = {name: len(design.flags) for name, design in designs.items()}
    chosen = chosen_to_explain(front, flags, spec, picks)
    # where shafts differ in length, all are looked at where the shortest is
    shortest = min(chosen, key=lambda name: designs[name].shaft.length)
    first = explain(designs[shortest], library, spec=spec)
    explanations = {
        name: first
        if name == shortest
        else explain(designs[name], library, spec=spec, stations=first.stations)
        for name in chosen
    }
    told = {name: explain_json(found) for name, found in explanations.items()}
    headings = told[shortest]["headings"]
    metrics = _metrics(first, columns)
    moves = {c["move"]: c["said"] for found in told.values() for c in found["changes"]}
    words = _Words()
    places = {name: i for i, name in enumerate(designs)}
    return {
        "shares": [{"key": key, "label": label} for key, label in headings.items()],
        "metrics": metrics,
        "moves": list(moves.values()),
        "designs": {
            name: {
                "shares": [
                    [
                        _rounded(row["share_pct"].get(key), _SHARE_DECIMALS)
                        for key in headings
                    ]
                    for row in found["shares"]
                ],
                "now": _now(explanations[name], metrics),
                "changes": [
                    [
                        int(change["order"]),
                        list(moves).index(change["move"]),
                        words.place(change["to"]),
                        words.place(change["obstacle"]),
                        words.place("; ".join(change["leaves"])),
                        [
                            _short(
                                change["difference"].get(metric["key"]),
                                _DIGITS,
                                metric["decimals"] + _FINER,
                            )
                            for metric in metrics
                        ],
                    ]
                    for change in found["changes"]
                ],
                "notes": [words.place(note) for note in found["notes"]],
            }
            for name, found in told.items()
        },
        "words": words.all,
        "nearest": [places[name] for name in nearest(front, spec, chosen)],
    }


class _Words:
    """Texts that occur again and again, each kept once."""

    def __init__(self) -> None:
        self._places: dict[str, int] = {}

    def place(self, text: str) -> int:
        """Place of a text among all."""
        return self._places.setdefault(text, len(self._places))

    @property
    def all(self) -> list[str]:
        """Texts by place."""
        return list(self._places)


def _metrics(
    explanation: Explanation, columns: Sequence[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """Columns of the page that a change moves, and EI where it is looked at besides."""
    known = set(explanation.moves["what"])
    kept = ("key", "label", "unit", "decimals", "low", "high", "trade", "note")
    found = [
        {name: column[name] for name in kept}
        for column in columns
        if column["key"] in known
    ]
    shown = {column["key"] for column in found}
    usual = [x for x in explanation.stations if ei_column(x) not in shown]
    return found + [
        {
            "key": ei_column(station),
            "label": f"EI at {mm(station)} mm",
            "unit": "N·m²",
            "decimals": 2,
            "low": None,
            "high": None,
            "trade": None,
            "note": "bending stiffness of the wall there",
        }
        for station in usual
    ]


def _now(
    explanation: Explanation, metrics: Sequence[Mapping[str, Any]]
) -> list[float | None]:
    """Values of a design as it is."""
    moves = explanation.moves
    before = dict(zip(moves["what"], moves["before"], strict=True))
    return [
        _short(before.get(metric["key"]), _DIGITS_NOW, metric["decimals"] + 2 * _FINER)
        for metric in metrics
    ]


def _short(value: float | None, digits: int, decimals: int) -> float | None:
    """Number with few digits; whole ones without a decimal point."""
    few = None if value is None else float(f"{value:.{digits}g}")
    return _rounded(few, decimals)


def _rounded(value: float | None, decimals: int) -> float | None:
    """Number with some decimals; whole ones without a decimal point."""
    if value is None or not math.isfinite(value):
        return None
    short = round(value, decimals)
    return int(short) if short.is_integer() else short
