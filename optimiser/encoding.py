"""How the choices of a spec become the numbers of genomes, and genomes designs."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from model import (
    Conditions,
    Design,
    Flag,
    Layups,
    Library,
    Shaft,
    Sheet,
    evaluate_batch,
)
from optimiser.decoding import (
    END,
    GENES,
    HEAD,
    RANK,
    SAME,
    SET,
    START,
    Tables,
    decode,
)
from optimiser.spec import Spec

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Choices of an end that count as its neighbours, to either side.
_NEAREST = 2


@dataclass(frozen=True)
class Encoding:
    """The choices of a spec, and what all its designs share."""

    spec: Spec
    conditions: Conditions
    tables: Tables

    @property
    def n_genes(self) -> int:
        """Integers in a genome."""
        return HEAD + GENES * len(self.spec.places)

    @property
    def n_choices(self) -> IntArray:
        """Number of values that each gene can take, shape (n_genes,)."""
        t = self.tables
        n_places = len(self.spec.places)
        heads = [len(t.length), len(t.breaks), len(t.mandrel_set)]
        per_place = np.stack(
            [
                np.where(t.optional, 2, 1),
                t.n_sheet,
                t.n_start,
                t.n_end,
                t.n_wraps,
                np.full(n_places, n_places),
            ],
            axis=1,
        )
        return np.concatenate([heads, per_place.ravel()]).astype(np.int64)

    def decode(self, genomes: IntArray) -> tuple[Layups, IntArray]:
        """Arrays of the designs, and the place of each of their flags.

        Parameters
        ----------
        genomes : ndarray, shape (n, n_genes)
            Integers. [-]

        Returns
        -------
        layups : Layups
            The designs. [SI]
        place : ndarray, shape (n, n_flag)
            Place of each flag in rolling order; -1 for no flag. [-]
        """
        return decode(genomes, self.tables)

    def neighbours(self, genome: IntArray) -> IntArray:
        """Genomes that differ from one by a single choice, or by two places' order.

        Parameters
        ----------
        genome : ndarray, shape (n_genes,)
            Integers. [-]

        Returns
        -------
        genomes : ndarray, shape (n, n_genes)
            Not settled. Of ends and the mandrel set only the nearest choices. [-]
        """
        n_places = len(self.spec.places)
        choices = self.n_choices
        genes, values = [], []
        for gene in range(self.n_genes):
            kind = (gene - HEAD) % GENES if gene >= HEAD else -1
            if kind == RANK:
                continue
            there = np.arange(choices[gene])
            if kind in (START, END) or gene == SET:
                there = there[np.abs(there - genome[gene]) <= _NEAREST]
            there = there[there != genome[gene]]
            genes += [gene] * len(there)
            values += there.tolist()
        one = np.repeat(genome[None, :], len(genes), axis=0)
        one[np.arange(len(genes)), genes] = values
        if not self.tables.reorder or n_places < 2:
            return one
        a, b = np.triu_indices(n_places, 1)
        a, b = HEAD + GENES * a + RANK, HEAD + GENES * b + RANK
        two = np.repeat(genome[None, :], len(a), axis=0)
        row = np.arange(len(a))
        two[row, a], two[row, b] = genome[b], genome[a]
        return np.concatenate([one, two])

    def measure(self, genomes: IntArray) -> tuple[Array, Array]:
        """Metrics and EI at the spec's points of some genomes.

        Parameters
        ----------
        genomes : ndarray, shape (n, n_genes)
            Integers. [-]

        Returns
        -------
        metrics, EI : ndarray, shape (n, n_metric) and (n, n_ei)
            All metrics in the order of METRICS, EI at the spec's points. [SI]
        """
        every = replace(self.conditions, wanted=None)
        report = evaluate_batch(self.decode(genomes)[0], every)
        return report.metrics, report.EI

    def design(self, genome: IntArray, name: str) -> Design:
        """One genome as a design.

        Parameters
        ----------
        genome : ndarray, shape (n_genes,)
            Integers. [-]
        name : str
            Name of the design. [-]

        Returns
        -------
        design : Design
            The shaft. [SI]
        """
        spec = self.spec
        layups, place = self.decode(genome[None, :])
        flags = []
        for k in np.flatnonzero(layups.sheet[0] >= 0):
            sheet = self.conditions.sheets[layups.sheet[0, k]]
            chosen = spec.places[place[0, k]]
            flags.append(
                Flag(
                    name=chosen.name,
                    material=sheet.material,
                    angle=sheet.angle,
                    is_pair=sheet.is_pair,
                    start=float(layups.start[0, k]),
                    end=float(layups.end[0, k]),
                    wraps=float(layups.wraps[0, k]),
                    run_out_tip=chosen.run_out_tip,
                    run_out_butt=chosen.run_out_butt,
                )
            )
        return Design(
            name=name,
            shaft=Shaft(
                length=float(layups.length[0]),
                mandrel=spec.mandrels[layups.mandrel[0]],
                mandrel_set=float(layups.mandrel_set[0]),
                trim_tip=spec.trim_tip,
                trim_butt=spec.trim_butt,
            ),
            finish=spec.finish,
            flags=tuple(flags),
            bench=spec.bench,
            cutting=spec.cutting,
            costs=spec.costs,
        )


def encode(spec: Spec, library: Library) -> Encoding:
    """Number the choices of a spec.

    Parameters
    ----------
    spec : Spec
        A checked target spec. [SI]
    library : Library
        Materials and mandrels. [-]

    Returns
    -------
    encoding : Encoding
        Choices and shared conditions. [-]
    """
    sheets = tuple(dict.fromkeys(s for place in spec.places for s in place.sheets))
    conditions = Conditions.of(
        library,
        sheets=sheets,
        mandrels=spec.mandrels,
        finish=spec.finish,
        bench=spec.bench,
        cutting=spec.cutting,
        costs=spec.costs,
        trim_tip=spec.trim_tip,
        trim_butt=spec.trim_butt,
        ei_stations=[target.station for target in spec.ei_targets],
        step_length=spec.rules.diameter_step_length,
        # the spread round the clock is a rule
        wanted=frozenset({"direction_spread", *(t.metric for t in spec.targets)}),
    )
    return Encoding(spec, conditions, _tables(spec, conditions))


def _padded(rows: list[tuple[float, ...]]) -> tuple[IntArray, Array]:
    counts = np.array([len(row) for row in rows], dtype=np.int64)
    table = np.zeros((len(rows), max(counts)))
    for i, row in enumerate(rows):
        table[i, : len(row)] = sorted(row)
    return counts, table


def _tables(spec: Spec, conditions: Conditions) -> Tables:
    sheets = conditions.sheets
    index = {sheet: i for i, sheet in enumerate(sheets)}
    materials = list(dict.fromkeys(sheet.material for sheet in sheets))
    places = spec.places
    n_sheet = np.array([len(place.sheets) for place in places], dtype=np.int64)
    sheet = np.zeros((len(places), max(n_sheet)), dtype=np.int64)
    for i, place in enumerate(places):
        sheet[i, : len(place.sheets)] = [index[s] for s in place.sheets]
    n_start, start = _padded([place.starts for place in places])
    n_end, end = _padded([place.ends for place in places])
    n_wraps, wraps = _padded([place.wraps for place in places])
    lengths = np.array(sorted(spec.lengths))
    sets = np.array(sorted(spec.mandrel_sets))
    set_low = np.zeros((len(lengths), len(conditions.mandrels)), dtype=np.int64)
    set_high = set_low.copy()
    for j, mandrel in enumerate(conditions.mandrels):
        for i, length in enumerate(lengths):
            fits = (sets >= spec.trim_tip - SAME) & (
                sets + length + spec.trim_butt <= mandrel.distance[-1] + SAME
            )
            where = np.flatnonzero(fits)
            # none fits: an empty range, which no genome is settled to
            set_low[i, j] = where[0] if len(where) else 0
            set_high[i, j] = where[-1] if len(where) else -1
    numbers = conditions.numbers
    tip_low, tip_high, butt_low, butt_high = _end_radii(spec)
    rules = spec.rules
    return Tables(
        n_sheet=n_sheet,
        sheet=sheet,
        n_start=n_start,
        start=start,
        n_end=n_end,
        end=end,
        n_wraps=n_wraps,
        wraps=wraps,
        optional=np.array([place.optional for place in places]),
        run_out_tip=np.array([place.run_out_tip for place in places]),
        run_out_butt=np.array([place.run_out_butt for place in places]),
        at_tip=np.array([_at_end(p.run_out_tip, spec.trim_tip) for p in places]),
        at_butt=np.array([_at_end(p.run_out_butt, spec.trim_butt) for p in places]),
        length=lengths,
        mandrel_set=sets,
        set_low=set_low,
        set_high=set_high,
        turn=np.array(
            [
                ply.thickness * (2.0 if s.is_pair else 1.0)
                for ply, s in zip(conditions.plies, sheets, strict=True)
            ]
        ),
        straight=np.array([_is_straight(s) for s in sheets]),
        material=np.array(
            [materials.index(s.material) for s in sheets], dtype=np.int64
        ),
        distance=numbers.distance,
        radius=numbers.radius,
        breaks=numbers.breaks,
        mandrels=np.arange(len(numbers.breaks)),
        tip_low=tip_low,
        tip_high=tip_high,
        butt_low=butt_low,
        butt_high=butt_high,
        flag_length_min=rules.flag_length_min,
        end_spacing_min=rules.end_spacing_min,
        outer_straight=rules.outer_straight,
        materials_max=rules.materials_max,
        reorder=rules.reorder,
        diameter_step_max=rules.diameter_step_max,
        taper=rules.diameter_step_length * _steepest(spec, conditions),
    )


def _at_end(run_out: float, trim: float) -> float:
    """Share of its wraps that a flag cut longer by the trim has at the shaft's end."""
    return min(trim / run_out, 1.0) if run_out > 0.0 else 1.0


def _steepest(spec: Spec, conditions: Conditions) -> Array:
    """Steepest growth of diameter of each mandrel, where a shaft may lie on it."""
    first = min(spec.mandrel_sets) - spec.trim_tip
    last = max(spec.mandrel_sets) + max(spec.lengths) + spec.trim_butt
    steepest = []
    for mandrel in conditions.mandrels:
        distance = np.array(mandrel.distance)
        slope = np.diff(mandrel.diameter) / np.diff(distance)
        used = (distance[:-1] < last) & (distance[1:] > first)
        steepest.append(np.max(slope[used], initial=0.0))
    return np.array(steepest)


def _is_straight(sheet: Sheet) -> bool:
    return not sheet.is_pair and abs(sheet.angle) < 1e-9


def _end_radii(spec: Spec) -> tuple[float, float, float, float]:
    """Range of build radius at tip and butt that the bands on diameters leave."""
    grind = spec.finish.grind
    bands = {target.metric: target for target in spec.targets}
    low = {"tip_diameter": 0.0, "butt_diameter": 0.0}
    high = {"tip_diameter": np.inf, "butt_diameter": np.inf}
    for key in low:
        if key in bands:
            low[key] = bands[key].low / 2.0 + grind
            high[key] = bands[key].high / 2.0 + grind
    if spec.finish.tip_diameter is not None:
        # the tip is ground to size, so the build needs stock but not too much
        at_tip = spec.finish.tip_diameter / 2.0 + grind
        low["tip_diameter"] = at_tip
        high["tip_diameter"] = at_tip + spec.rules.tip_grind_max
    return (
        float(low["tip_diameter"]),
        float(high["tip_diameter"]),
        float(low["butt_diameter"]),
        float(high["butt_diameter"]),
    )
