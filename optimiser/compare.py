"""Two designs side by side: flags, settings, metrics and pieces that differ."""

from __future__ import annotations

import tomllib
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from model import design_to_text
from optimiser.beside import BesideRow, beside_rows, strange_bench
from optimiser.spec_words import known_keys
from optimiser.words import NONE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from model import Design, FlagReport, Report
    from optimiser.spec import Spec

#: a piece is cut otherwise when a length or width moves by half its last digit [m]
_SAME_CUT: Final = 5e-5
#: places this near along an edge are the two sides of a step [m]
_SIDE: Final = 1e-9
_TABLES: Final = ("shaft", "finish", "bench", "cutting", "costs")


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One key that differs, as each design file writes it."""

    table: str  #: shaft, finish, bench, cutting, costs or flag
    key: str
    a: str
    b: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagPair:
    """A flag of one design and its like in the other, if there is one."""

    name: str  #: in the second design where it is in both
    place_a: int | None  #: in the rolling order, from 1
    place_b: int | None
    is_moved: bool  #: past other flags that both designs have
    changes: tuple[Change, ...]

    @property
    def words(self) -> str:
        """What differs, in short; empty where nothing does."""
        if self.place_b is None:
            return "only in A"
        if self.place_a is None:
            return "only in B"
        said = [change.key for change in self.changes]
        if self.is_moved:
            said.append(f"place {self.place_a} to {self.place_b}")
        return ", ".join(said)


@dataclass(frozen=True, slots=True, kw_only=True)
class PiecePair:
    """Pieces of a flag that are cut otherwise in the two designs."""

    name: str
    a: FlagReport | None
    b: FlagReport | None
    widest: float  #: largest difference of width along the piece; nan for one alone [m]


@dataclass(frozen=True, slots=True, kw_only=True)
class Differences:
    """Two designs and what differs between them."""

    a: Report
    b: Report
    spec: Spec | None  #: whose bands both are held against
    settings: tuple[Change, ...]
    flags: tuple[FlagPair, ...]  #: all, in the second design's rolling order
    metrics: tuple[tuple[BesideRow, BesideRow], ...]
    pieces: tuple[PiecePair, ...]  #: those cut otherwise
    notes: tuple[str, ...]

    @property
    def changed_flags(self) -> tuple[FlagPair, ...]:
        """Flags that are not the same in both."""
        return tuple(pair for pair in self.flags if pair.words)


def compare_designs(a: Report, b: Report, spec: Spec | None = None) -> Differences:
    """Say what differs between two designs.

    Parameters
    ----------
    a, b : Report
        Evaluated designs. [SI]
    spec : Spec or None
        Its bands are shown beside the metrics. [SI]

    Returns
    -------
    differences : Differences
        Flags are like each other by their names, or by all but their names. [SI]
    """
    texts_a, texts_b = _texts(a.design), _texts(b.design)
    like = _alike(texts_a["flag"], texts_b["flag"])
    flags = _flag_pairs(texts_a["flag"], texts_b["flag"], like)
    old = {row.what: row for row in beside_rows(a, spec)}
    notes = []
    if a.design.bench != b.design.bench:
        notes.append("the designs have other [bench] values; metrics compare less well")
    for letter, report in (("A", a), ("B", b)):
        notes += [f"{letter}: {warning}" for warning in report.warnings]
        if spec is not None and (strange := strange_bench(report.design, spec)):
            notes.append(f"{letter}: {strange}")
    if a.currency != b.currency:
        notes.append("the costs are in different currencies")
    return Differences(
        a=a,
        b=b,
        spec=spec,
        settings=_settings(texts_a, texts_b),
        flags=flags,
        metrics=tuple(
            (old[row.what], row) for row in beside_rows(b, spec) if row.what in old
        ),
        pieces=_piece_pairs(a, b, flags),
        notes=tuple(notes),
    )


def _texts(design: Design) -> dict[str, Any]:
    """Tables of a design as its file writes them."""
    return tomllib.loads(design_to_text(design))


def _written(value: Any) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {text}" for key, text in value.items())
    return NONE if value is None else str(value)


def _settings(a: dict[str, Any], b: dict[str, Any]) -> tuple[Change, ...]:
    """Keys of the tables that differ; what a file leaves out is at its default."""
    default = {(key.table, key.name): key.default for key in known_keys()}
    found = []
    for table in _TABLES:
        ours, theirs = a.get(table, {}), b.get(table, {})
        for key in dict.fromkeys([*ours, *theirs]):
            if ours.get(key) != theirs.get(key):
                usual = default.get((table, key), "none")
                found.append(
                    Change(
                        table=table,
                        key=key,
                        a=_written(ours.get(key, usual)),
                        b=_written(theirs.get(key, usual)),
                    )
                )
    return tuple(found)


def _alike(
    a: Sequence[Mapping[str, Any]], b: Sequence[Mapping[str, Any]]
) -> dict[int, int]:
    """Find the like of each flag of the second design, by places from 0."""
    left: defaultdict[str, list[int]] = defaultdict(list)
    for i, flag in enumerate(a):
        left[flag["name"]].append(i)
    like = {}
    for j, flag in enumerate(b):
        if left[flag["name"]]:
            like[j] = left[flag["name"]].pop(0)
    rest = [i for places in left.values() for i in places]
    for j, flag in enumerate(b):
        if j in like:
            continue
        for i in sorted(rest):  # one that was only given another name
            if {**a[i], "name": ""} == {**flag, "name": ""}:
                like[j] = i
                rest.remove(i)
                break
    return like


def _flag_pairs(
    a: Sequence[Mapping[str, Any]],
    b: Sequence[Mapping[str, Any]],
    like: Mapping[int, int],
) -> tuple[FlagPair, ...]:
    """Pair the flags; one that only the first design has follows the one before it."""
    still = _longest_rise([like[j] for j in sorted(like)])
    pairs = []
    for j, flag in enumerate(b):
        i = like.get(j)
        changes = []
        if i is not None:
            keys = dict.fromkeys([*a[i], *flag])
            changes = [
                Change(
                    table="flag",
                    key=key.replace("_", "-"),
                    a=_written(a[i].get(key)),
                    b=_written(flag.get(key)),
                )
                for key in keys
                if a[i].get(key) != flag.get(key)
            ]
        pairs.append(
            FlagPair(
                name=str(flag["name"]),
                place_a=None if i is None else i + 1,
                place_b=j + 1,
                is_moved=i is not None and i not in still,
                changes=tuple(changes),
            )
        )
    for i, flag in enumerate(a):
        if i in like.values():
            continue
        alone = FlagPair(
            name=str(flag["name"]),
            place_a=i + 1,
            place_b=None,
            is_moved=False,
            changes=(),
        )
        before = [k for k, pair in enumerate(pairs) if pair.place_a == i]
        pairs.insert(before[0] + 1 if before else 0, alone)
    return tuple(pairs)


def _longest_rise(places: Sequence[int]) -> set[int]:
    """Most places that stand in rising order; the others have been moved."""
    ends: list[int] = []  # last place of the best rise of each length
    chains: list[tuple[int, ...]] = []
    for place in places:
        k = bisect_left(ends, place)
        chain = ((*chains[k - 1], place)) if k else (place,)
        ends[k : k + 1] = [place]
        chains[k : k + 1] = [chain]
    return set(chains[-1]) if chains else set()


def _piece_pairs(
    a: Report, b: Report, flags: Sequence[FlagPair]
) -> tuple[PiecePair, ...]:
    """Pieces that are cut otherwise, also where only what lies below has changed."""
    found = []
    for pair in flags:
        old = None if pair.place_a is None else a.flags[pair.place_a - 1]
        new = None if pair.place_b is None else b.flags[pair.place_b - 1]
        widest = float("nan")
        if old is not None and new is not None:
            widest = _widest(old, new)
            same = (old.material, old.is_pair, old.pieces, old.splices) == (
                new.material,
                new.is_pair,
                new.pieces,
                new.splices,
            )
            if (
                same
                and old.angle == new.angle
                and abs(old.cut_length - new.cut_length) < _SAME_CUT
                and widest < _SAME_CUT
            ):
                continue
        found.append(PiecePair(name=pair.name, a=old, b=new, widest=widest))
    return tuple(found)


def _widest(a: FlagReport, b: FlagReport) -> float:
    """Largest difference of width at the same distance along two pieces."""
    (x, wide), (y, broad) = _edge(a), _edge(b)
    along = np.union1d(x, y)
    along = along[along <= min(x[-1], y[-1])]
    return float(np.abs(np.interp(along, x, wide) - np.interp(along, y, broad)).max())


def _edge(flag: FlagReport) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Distance along a piece and its width; the sides of a step a hair apart."""
    along = np.asarray(flag.cut_station - flag.cut_station[0], dtype=np.float64)
    along = np.round(along, 9)
    along[1:][np.diff(along) == 0.0] += _SIDE
    return along, np.asarray(flag.cut_width, dtype=np.float64)
