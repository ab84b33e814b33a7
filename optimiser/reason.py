"""Why no design keeps all that is asked: bands in conflict, and what stands in the way.

All of it is tried, in short searches from the nearest designs. Each band is let go by
itself while all others are held: where they can be kept then, it is one of those in
conflict, and how near it came is what can be reached. Each limit of places and rules
that most of the nearest designs sit at is let go a little: where the miss shrinks more
than by searching on, it binds. What trying did not confirm is not said.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model import Library, evaluate_batch
from optimiser.decoding import MANDREL
from optimiser.encoding import Encoding, encode
from optimiser.limits import Limit, limits_of, moved
from optimiser.misses import band_asked, band_value, misses
from optimiser.problem import Demand
from optimiser.search import Search
from optimiser.settling import settled
from optimiser.spec import Spec
from optimiser.state import State

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Evaluations of one short search: a share of the run's, within bounds.
_SHARE, _LEAST, _MOST = 0.02, 200, 600
_POPULATION = 40
#: A short search ends after so many generations without a new design.
_BARREN = 4
#: Designs that count as the nearest; a limit matters where this share sits at it.
_NEAREST, _SITTING = 40, 0.6
#: First it is searched on until the miss keeps this share of itself, or so often.
_SETTLED, _ROUNDS_MOST = 0.95, 6
#: How near a band comes is looked at for so many times as long, or for this share of
#: the run's evaluations if that is more, up to so many; and so again while it comes
#: nearer.
_LONGER, _NEARER_SHARE, _NEARER_MOST = 3, 0.005, 8_000
#: At most so many bands and limits are tried.
_BANDS_MOST, _LIMITS_MOST = 8, 6
#: A first look at a limit is a quarter of a short search, where these are no more than
#: so many; else it is shorter, so that all take as much as so many would.
_LOOK, _LOOKS_MOST = 0.25, 16
#: Bands are tried that are missed, or kept by no more than this of their unit.
_TIGHT = 0.6
#: A band let go is still worth a little, so that what is reached is its nearest.
_LET_GO = 0.1
#: At first it is not known how far off that is; so many units should not be in the way.
_FAR = 30.0
#: A miss shrinks where at most this share of it is left, and this much goes.
_SHRUNK, _SHRUNK_BY = 0.85, 0.03
_KEPT = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """A band, and how near a design came that keeps all others."""

    band: str  #: key of the metric, or "EI point 1"
    name: str  #: in words
    asked: str
    reached: str  #: with its unit
    value: float  #: the same [SI]
    off: float  #: how far outside the band, in its own unit [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class Binding:
    """A limit that was let go, whereupon the miss shrank."""

    what: str
    tried: str  #: how it was let go
    share: float  #: of the nearest designs that sit at it [-]
    left: float  #: share of the miss that is left; 0 where all bands are kept [-]


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """Why a search has found nothing, as far as trying shows it."""

    spec: str
    evaluations: int  #: that it took
    #: genomes of designs that keep all, found while looking for the reason
    keeping: tuple[tuple[int, ...], ...]
    can_be_built: bool  #: whether the end diameters alone can be kept
    can_be_rolled: bool  #: whether the rules can be, if those are let go
    nearest: tuple[str, ...]  #: what the nearest design misses
    conflict: tuple[Reached, ...]  #: each let go by itself, all others kept
    together: tuple[Reached, ...]  #: where no single one is enough: all let go at once
    rules: tuple[str, ...]  #: what the nearest misses, where that is rules alone
    binding: tuple[Binding, ...]


class _Tried(NamedTuple):
    """Designs of a short search, the nearest first, against the spec's own demand."""

    encoding: Encoding
    genomes: IntArray
    G: Array  #: (n, n_band) beyond each band or rule; 0 within
    metrics: Array
    EI: Array

    @property
    def miss(self) -> float:
        """What the nearest of them misses in all; infinite where there is none."""
        return float(self.G[0].sum()) if len(self.G) else np.inf


def explain(
    spec: Spec,
    library: Library,
    genomes: IntArray,
    *,
    evaluations: int,
    is_over: Callable[[], bool] = lambda: False,
) -> Explanation | None:
    """Find out by trying why a spec has no design.

    Parameters
    ----------
    spec : Spec
        The spec. [SI]
    library : Library
        Its library. [-]
    genomes : ndarray, shape (n, n_genes)
        The nearest designs of a search, none where nothing could be built. [-]
    evaluations : int
        What that search took; short searches take a share of it. [-]
    is_over : callable
        Asked between two of them; True gives it up. [-]

    Returns
    -------
    explanation : Explanation or None
        None where it was given up. [-]
    """
    n = int(np.clip(_SHARE * evaluations, _LEAST, _MOST))
    n_nearer = max(_LONGER * n, int(min(_NEARER_SHARE * evaluations, _NEARER_MOST)))
    lab = _Laboratory(spec, library, n, n_nearer, is_over)
    try:
        return lab.explain(genomes)
    except _GivenUpError:
        return None


class _GivenUpError(Exception):
    """Somebody wants an end."""


class _Laboratory:
    """Short searches, and what they have cost."""

    def __init__(
        self,
        spec: Spec,
        library: Library,
        n: int,
        n_nearer: int,
        is_over: Callable[[], bool],
    ) -> None:
        options = replace(spec.search, population=_POPULATION, seed=0)
        self.spec, self.library = replace(spec, search=options), library
        self.demand = Demand.of(spec)
        self.names = self.demand.band_names
        self.n, self.is_over = n, is_over
        self.n_nearer = n_nearer
        self.spent = 0
        #: genomes that keep all that is asked, as they turn up
        self.keeping: dict[tuple[int, ...], None] = {}
        #: end diameters are no more than bands, since they cannot be kept
        self.is_loose = False

    # --------------------------------------------------------------- short searches

    def encoding(self, spec: Spec, library: Library, *loose: str) -> Encoding:
        """Choices of a spec; end diameters that are let go are not built to."""
        encoding = encode(spec, library)
        t = encoding.tables
        if self.is_loose or "tip_diameter" in loose:
            t = t._replace(tip_low=-np.inf, tip_high=np.inf)
        if self.is_loose or "butt_diameter" in loose:
            t = t._replace(butt_low=-np.inf, butt_high=np.inf)
        return replace(encoding, tables=t)

    def search(
        self,
        encoding: Encoding,
        genomes: IntArray,
        demand: Demand,
        n: int,
        *,
        own: bool = False,
        seed: int | None = None,
    ) -> _Tried:
        """Search on from some designs, and measure what comes.

        It is measured against what the spec asks, or against the own demand. With a
        seed it looks for kinds of designs that it does not have.
        """
        if self.is_over():
            raise _GivenUpError
        options = replace(encoding.spec.search, seed=seed or 0)
        seeded = replace(encoding, spec=replace(encoding.spec, search=options))
        search = Search(seeded, demand=demand, has_nursery=seed is not None)
        rng = np.random.default_rng(0)
        begun, kept = settled(genomes, encoding.tables, rng)
        search.begin(begun[kept])
        barren, before = 0, -1

        def on_generation(state: State) -> bool:
            nonlocal barren, before
            now = state.progress.evaluations
            barren = barren + 1 if now == before else 0
            before = now
            return barren < _BARREN and state.progress.feasible == 0

        search.run(on_generation, evaluations=search.state.progress.evaluations + n)
        self.spent += search.state.progress.evaluations
        state = search.state
        genomes = state.archive.join(state.living).genomes
        return self.look(encoding, genomes, demand if own else self.demand)

    def look(self, encoding: Encoding, genomes: IntArray, demand: Demand) -> _Tried:
        """Measure designs against a demand."""
        genomes = np.unique(genomes, axis=0) if len(genomes) else genomes
        report = evaluate_batch(encoding.decode(genomes)[0], encoding.conditions)
        G = np.maximum(demand.score(report).G, 0.0)
        miss = G.sum(axis=1)
        if demand is self.demand and encoding.spec is self.spec:
            kept = genomes[miss <= 0.0].tolist()
            self.keeping |= dict.fromkeys(map(tuple, kept))
        order = np.argsort(miss, kind="stable")
        return _Tried(
            encoding, genomes[order], G[order], report.metrics[order], report.EI[order]
        )

    def softened(self, bands: list[int], by: Array) -> Demand:
        """The demand with some bands worth little."""
        unit, ei_unit = self.demand.unit.copy(), self.demand.ei_unit.copy()
        for band, excess in zip(bands, by, strict=True):
            scale = max(excess / _LET_GO, 1.0)
            if band < len(unit):
                unit[band] *= scale
            else:
                ei_unit[band - len(unit)] *= scale
        return replace(self.demand, unit=unit, ei_unit=ei_unit)

    # ------------------------------------------------------------------- explaining

    def explain(self, genomes: IntArray) -> Explanation:
        can_be_built = len(genomes) > 0
        self.is_loose = not can_be_built
        encoding = self.encoding(self.spec, self.library)
        if not can_be_built:
            genomes = self._out_of_nothing()
        base = self._settled(encoding, genomes)
        conflict: list[Reached] = []
        together: list[Reached] = []
        binding: list[Binding] = []
        nearest: list[str] = []
        rules: list[str] = []
        if len(base.genomes):
            nearest = self._misses(base)
        if base.miss > _KEPT:
            if len(base.genomes):
                conflict, together = self._conflict(base)
                if not base.G[0, self._bands()].any():
                    rules = nearest
            binding = self._binding(base)
        return Explanation(
            spec=self.spec.name,
            evaluations=self.spent,
            keeping=tuple(self.keeping),
            can_be_built=can_be_built,
            can_be_rolled=len(base.genomes) > 0,
            nearest=tuple(nearest),
            conflict=tuple(conflict),
            together=tuple(together),
            rules=tuple(rules),
            binding=tuple(binding),
        )

    def _settled(self, encoding: Encoding, genomes: IntArray) -> _Tried:
        """Search on until it hardly gets nearer."""
        tried = self.search(encoding, genomes, self.demand, self.n)
        for _ in range(_ROUNDS_MOST):
            before = tried.miss
            tried = self.search(encoding, tried.genomes, self.demand, self.n)
            if tried.miss > _SETTLED * before:
                break
        return tried

    def _out_of_nothing(self) -> IntArray:
        """Designs to begin with: the nearest on each mandrel.

        A search stays with the mandrel that its first designs do best on.
        """
        found = []
        for i, name in enumerate(self.spec.mandrels):
            encoding = self.encoding(replace(self.spec, mandrels=(name,)), self.library)
            nothing = np.zeros((0, encoding.n_genes), dtype=np.int64)
            tried = self._settled(encoding, nothing)
            found.append(tried.genomes[:_POPULATION])
            found[-1][:, MANDREL] = i
        return np.concatenate(found)

    def _misses(self, tried: _Tried) -> list[str]:
        layups, _ = tried.encoding.decode(tried.genomes[:1])
        report = evaluate_batch(layups, tried.encoding.conditions)
        return misses(report, self.demand, self.spec)

    def _bands(self) -> list[int]:
        """Columns of what the targets ask, rules left aside."""
        n_metric = len(self.demand.unit)
        # the last of the metrics is the rule on the spread round the clock
        points = range(n_metric, n_metric + len(self.demand.ei_unit))
        return [*range(n_metric - 1), *points]

    def _conflict(self, base: _Tried) -> tuple[list[Reached], list[Reached]]:
        """Bands that free all others when let go; else those missed, together."""
        close = self._close(base)
        bands = [j for j in self._bands() if close[j] > -_TIGHT]
        bands = sorted(bands, key=lambda j: -close[j])[:_BANDS_MOST]
        found = []
        for j in bands:
            tried = self._let_go(base, [j])
            if tried is not None:
                found.append(self._reached(tried, j))
        missed = [j for j in bands if base.G[0, j] > _KEPT]
        if found or len(missed) < 2:
            return found, []
        tried = self._let_go(base, missed)
        if tried is None:
            return [], []
        # what the nearest misses need not all be let go; the least missed first
        for j in missed[::-1]:
            fewer = [k for k in missed if k != j]
            if len(fewer) > 1 and (less := self._let_go(tried, fewer)) is not None:
                missed, tried = fewer, less
        return [], [self._reached(tried, j) for j in missed]

    def _close(self, base: _Tried) -> Array:
        """How near the nearest designs come to each edge; above nought for a miss."""
        layups, _ = base.encoding.decode(base.genomes[:_NEAREST])
        report = evaluate_batch(layups, base.encoding.conditions)
        close: Array = self.demand.score(report).G.max(axis=0)
        return close

    def _let_go(self, base: _Tried, bands: list[int]) -> _Tried | None:
        """Designs that keep all but some bands, nearest to those first, if any do."""
        kept = self._nearer(base, bands, self.n, seed=0, least=_FAR)
        if kept is None:
            return None
        # where it frees the others, how near it comes is worth longer looks
        for seed in range(1, 1 + _ROUNDS_MOST):
            more = self._nearer(kept, bands, self.n_nearer, seed=seed)
            if more is None or more.miss >= kept.miss:
                break
            before, kept = kept.miss, more
            if kept.miss > _SETTLED * before:
                break
        return kept

    def _nearer(
        self, start: _Tried, bands: list[int], n: int, *, seed: int, least: float = 1.0
    ) -> _Tried | None:
        """Search with some bands worth little; those that keep the others, if any.

        Once from what there is, in which what keeps the others may give way to what all
        but keeps them, and once from nothing, since what comes nearest to some bands is
        often of another kind than what comes nearest to all.
        """
        loose = [self.names[j] for j in bands]
        encoding = self.encoding(self.spec, self.library, *loose)
        demand = self.softened(bands, np.maximum(start.G[0, bands], least))
        found = [
            self.search(encoding, start.genomes[:_POPULATION], demand, n),
            self.search(encoding, start.genomes[:0], demand, n, seed=seed),
        ]
        kept = [one for tried in found if (one := _keeping(tried, bands)) is not None]
        return min(kept, key=lambda one: one.miss, default=None)

    def _reached(self, tried: _Tried, j: int) -> Reached:
        name, asked = band_asked(self.names[j], self.spec)
        value, shown = band_value(
            self.names[j], self.spec, tried.metrics[0], tried.EI[0]
        )
        return Reached(
            band=self.names[j],
            name=name,
            asked=asked,
            reached=shown,
            value=value,
            off=float(tried.G[0, j]),
        )

    def _binding(self, base: _Tried) -> list[Binding]:
        """Limits that most of the nearest sit at, and that let the miss shrink."""
        encoding = base.encoding
        near = base.genomes[:_NEAREST]
        every = replace(encoding, conditions=replace(encoding.conditions, wanted=None))
        layups, place = encoding.decode(near)
        report = evaluate_batch(layups, every.conditions)
        limits = limits_of(encoding, self.library, near, layups, place, report)
        if len(near):
            limits = [limit for limit in limits if limit.share >= _SITTING]
        start = base.genomes[:_POPULATION]
        # a short look at each, then a longer one at those that promise most
        few = int(_LOOK * self.n * min(1.0, _LOOKS_MOST / max(len(limits), 1)))
        looks = [self._without(limit, encoding, start, few) for limit in limits]
        order = np.argsort([look.miss for look in looks], kind="stable")
        # what can be had without letting anything go: by searching on as long, and by
        # bringing designs found beyond a limit back to it
        control = self.search(encoding, start, self.demand, self.n + few)
        misses = [base.miss, control.miss]
        tried = []
        for i in order[:_LIMITS_MOST]:
            look = looks[i]
            misses.append(self._brought_back(look, encoding))
            if look.miss > _KEPT:
                look = self._without(limits[i], look.encoding, look.genomes, self.n)
                misses.append(self._brought_back(look, encoding))
            tried.append((limits[i], look.miss))
        miss = min(misses)
        found = []
        for limit, left in tried:
            is_built = bool(np.isinf(miss) and np.isfinite(left))
            if is_built or (left <= _SHRUNK * miss and miss - left >= _SHRUNK_BY):
                found.append(
                    Binding(
                        what=limit.what,
                        tried=limit.tried,
                        share=limit.share if len(near) else 1.0,
                        left=0.0 if is_built else left / miss,
                    )
                )
        return sorted(found, key=lambda one: one.left)

    def _brought_back(self, tried: _Tried, encoding: Encoding) -> float:
        """What the nearest of designs beyond a limit miss once they are within it."""
        genomes = moved(tried.genomes[:_NEAREST], tried.encoding, encoding)
        rng = np.random.default_rng(0)
        genomes, kept = settled(genomes, encoding.tables, rng)
        self.spent += int(kept.sum())
        return self.look(encoding, genomes[kept], self.demand).miss

    def _without(self, limit: Limit, old: Encoding, start: IntArray, n: int) -> _Tried:
        """Designs with a limit let go; rules are part of the demand."""
        new = self.encoding(limit.spec, limit.library)
        genomes = moved(start[:_POPULATION], old, new)
        # by the spec's own units, which would else grow with a rule that is let go
        demand = replace(Demand.of(limit.spec), unit=self.demand.unit)
        return self.search(new, genomes, demand, n, own=True)


def _keeping(tried: _Tried, bands: list[int]) -> _Tried | None:
    """Those that keep all but some bands; None where there are none."""
    others = np.delete(tried.G, bands, axis=1).sum(axis=1)
    keep = np.flatnonzero(others <= _KEPT)
    if len(keep) == 0:
        return None
    return _Tried(
        tried.encoding,
        tried.genomes[keep],
        tried.G[keep],
        tried.metrics[keep],
        tried.EI[keep],
    )
