"""What designs of a batch share and what differs, as the arrays of the evaluation.

The designs of a batch share a set of ``Conditions`` (materials at angles, mandrels,
finish, bench); what differs stands in ``Layups``, the design axis first.
"""

from collections import namedtuple
from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.design import CRITERIA, Bench, Costs, Cutting, Design, Finish
from model.errors import ModelRangeError
from model.failure import ply_limits
from model.laminate import N_STIFFNESS, ring_stiffness
from model.library import Library, Mandrel
from model.materials import Ply
from model.metrics import METRICS
from model.residual import cooling_stress

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: Longest cell between two points. [m]
CELL = 0.025

# columns of the sheet table; the first are the stiffness in the tube's axes
N_COLUMNS = N_STIFFNESS + 11
PLY, PIECES, DENSITY, C2, S2, CS, STRAIN, PRICE, ROLL, ANGLE, MATERIAL = range(
    N_STIFFNESS, N_COLUMNS
)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A prepreg at an angle; a flag is a piece of one."""

    material: str  #: prepreg
    angle: float  #: fibre angle [rad]
    is_pair: bool  #: a balanced pair of +angle and -angle


def _made(design: Design) -> tuple[Any, ...]:
    """What designs of one batch have to share."""
    shaft = design.shaft
    return (
        design.finish,
        design.bench,
        design.cutting,
        design.costs,
        shaft.trim_tip,
        shaft.trim_butt,
    )


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """What all designs of a batch share."""

    sheets: tuple[Sheet, ...]
    plies: tuple[Ply, ...]  #: cured ply of each sheet
    prices: tuple[float, ...]  #: per area of roll [currency/m²]
    roll_widths: tuple[float, ...]  #: [m]
    mandrels: tuple[Mandrel, ...]
    finish: Finish
    bench: Bench
    cutting: Cutting
    costs: Costs
    trim_tip: float = 0.0  #: [m]
    trim_butt: float = 0.0  #: [m]
    ei_stations: tuple[float, ...] = ()  #: where EI is asked for [m]
    step_length: float = 0.010  #: length over which a diameter step is taken [m]
    cell: float = CELL  #: longest cell between two points [m]
    wanted: frozenset[str] | None = None  #: metrics that are asked for; None for all

    @classmethod
    def of(
        cls,
        library: Library,
        *,
        sheets: Sequence[Sheet],
        mandrels: Sequence[str],
        finish: Finish,
        bench: Bench,
        cutting: Cutting,
        costs: Costs,
        trim_tip: float = 0.0,
        trim_butt: float = 0.0,
        ei_stations: Sequence[float] = (),
        step_length: float = 0.010,
        cell: float = CELL,
        wanted: frozenset[str] | None = None,
    ) -> "Conditions":
        """Look the materials and mandrels up in a library.

        Parameters
        ----------
        library : Library
            Materials and mandrels. [-]
        sheets : sequence of Sheet
            Every prepreg at every angle that a flag may have. [-]
        mandrels : sequence of str
            Names of the mandrels. [-]
        finish, bench, cutting, costs : Finish, Bench, Cutting, Costs
            As in a design. [-]
        trim_tip, trim_butt : float
            Cut off after cure. [m]
        ei_stations : sequence of float
            Stations at which EI is asked for. [m]
        step_length : float
            Length over which the steepest diameter step is taken. [m]
        cell : float
            Longest cell between two points. [m]
        wanted : frozenset of str or None
            Keys of the metrics that are asked for, None for all. Those that cost more
            than they are worth to a search may be NaN if they are not. [-]

        Returns
        -------
        conditions : Conditions
            Ready for ``evaluate_batch``. [-]
        """
        prepregs = [library.prepregs[sheet.material] for sheet in sheets]
        return cls(
            sheets=tuple(sheets),
            plies=tuple(prepreg.cured(finish.resin_bleed) for prepreg in prepregs),
            prices=tuple(prepreg.price for prepreg in prepregs),
            roll_widths=tuple(prepreg.roll_width for prepreg in prepregs),
            mandrels=tuple(library.mandrels[name] for name in mandrels),
            finish=finish,
            bench=bench,
            cutting=cutting,
            costs=costs,
            trim_tip=trim_tip,
            trim_butt=trim_butt,
            ei_stations=tuple(ei_stations),
            step_length=step_length,
            cell=cell,
            wanted=wanted,
        )

    @classmethod
    def for_designs(
        cls,
        library: Library,
        designs: Sequence[Design],
        *,
        ei_stations: Sequence[float] = (),
        step_length: float = 0.010,
        cell: float = CELL,
        wanted: frozenset[str] | None = None,
    ) -> "Conditions":
        """Conditions of designs that are made, tested and paid for alike.

        Parameters
        ----------
        library : Library
            Their materials and mandrels. [-]
        designs : sequence of Design
            At least one; they differ in flags, mandrel, set and length alone. [SI]
        ei_stations, step_length, cell, wanted
            As in ``of``. [m, m, m, -]

        Returns
        -------
        conditions : Conditions
            Ready for ``evaluate_batch``. [-]

        Raises
        ------
        ModelRangeError
            If they are not alike.
        """
        first = designs[0]
        if any(_made(design) != _made(first) for design in designs[1:]):
            raise ModelRangeError("the designs are not made and tested alike")
        flags = [flag for design in designs for flag in design.flags]
        sheets = [Sheet(flag.material, flag.angle, flag.is_pair) for flag in flags]
        return cls.of(
            library,
            sheets=tuple(dict.fromkeys(sheets)),
            mandrels=list(dict.fromkeys(design.shaft.mandrel for design in designs)),
            finish=first.finish,
            bench=first.bench,
            cutting=first.cutting,
            costs=first.costs,
            trim_tip=first.shaft.trim_tip,
            trim_butt=first.shaft.trim_butt,
            ei_stations=ei_stations,
            step_length=step_length,
            cell=cell,
            wanted=wanted,
        )

    @cached_property
    def numbers(self) -> "Numbers":
        """The same as arrays for the compiled evaluation."""
        table = np.zeros((len(self.sheets), N_COLUMNS))
        materials = list(dict.fromkeys(sheet.material for sheet in self.sheets))
        rows = zip(self.sheets, self.plies, self.prices, self.roll_widths, strict=True)
        for row, (sheet, ply, price, roll_width) in enumerate(rows):
            table[row, :N_STIFFNESS] = ring_stiffness(
                ply.E1,
                ply.E2,
                ply.G12,
                ply.nu12,
                sheet.angle,
                is_pair=sheet.is_pair,
                thickness=ply.thickness,
            )
            c, s = np.cos(sheet.angle), np.sin(sheet.angle)
            table[row, N_STIFFNESS:] = [
                ply.thickness,
                2.0 if sheet.is_pair else 1.0,
                ply.density,
                c * c,
                s * s,
                c * s,
                min(ply.strain_tension, ply.strain_compression),
                price,
                roll_width,
                abs(sheet.angle),
                materials.index(sheet.material),
            ]
        drop = self.bench.temperature_drop
        limits = [ply_limits(ply, drop) for ply in self.plies]
        cooling = [
            cooling_stress(ply, sheet.angle, drop, is_pair=sheet.is_pair)
            for sheet, ply in zip(self.sheets, self.plies, strict=True)
        ]
        longest = max(len(mandrel.distance) for mandrel in self.mandrels)
        distance, radius = np.zeros((2, len(self.mandrels), longest))
        breaks = np.array([len(mandrel.distance) for mandrel in self.mandrels])
        for row, mandrel in enumerate(self.mandrels):
            distance[row, : breaks[row]] = mandrel.distance
            radius[row, : breaks[row]] = np.array(mandrel.diameter) / 2.0
        finish = [_number(v) for v in astuple(self.finish)]
        return Numbers(
            sheets=table,
            limits=np.array(limits),
            cooling=np.array(cooling),
            distance=distance,
            radius=radius,
            breaks=breaks.astype(np.int64),
            finish=_FinishNumbers(*finish),
            bench=_BenchNumbers(*(_number(v) for v in astuple(self.bench))),
            cutting=_CuttingNumbers(*(float(v) for v in astuple(self.cutting))),
            costs=_CostNumbers(*(float(v) for v in astuple(self.costs))),
            trim_tip=float(self.trim_tip),
            trim_butt=float(self.trim_butt),
            ei_stations=np.array(self.ei_stations, dtype=float),
            step_length=float(self.step_length),
            cell=float(self.cell),
            wants=np.array(
                [self.wanted is None or m.key in self.wanted for m in METRICS]
            ),
        )


def _number(value: float | str | None) -> float:
    """A value of a frozen dataclass as the compiled evaluation takes it."""
    if value is None:
        return np.nan
    if isinstance(value, str):
        return float(CRITERIA.index(value))
    return float(value)


# the compiled side of the frozen dataclasses: same fields, same order
_FinishNumbers: Any = namedtuple(  # type: ignore[misc]
    "_FinishNumbers", [f.name for f in fields(Finish)]
)
_BenchNumbers: Any = namedtuple(  # type: ignore[misc]
    "_BenchNumbers", [f.name for f in fields(Bench)]
)
_CostNumbers: Any = namedtuple(  # type: ignore[misc]
    "_CostNumbers", [f.name for f in fields(Costs)]
)
_CuttingNumbers: Any = namedtuple(  # type: ignore[misc]
    "_CuttingNumbers", [f.name for f in fields(Cutting)]
)


class Numbers(NamedTuple):
    """Conditions as the compiled evaluation takes them."""

    sheets: Array
    limits: Array  # rows of ply_limits
    cooling: Array  # rows of cooling_stress
    distance: Array
    radius: Array
    breaks: IntArray
    finish: Any
    bench: Any
    cutting: Any
    costs: Any
    trim_tip: float
    trim_butt: float
    ei_stations: Array
    step_length: float
    cell: float
    wants: BoolArray  # by column of METRICS


class Layups(NamedTuple):
    """Flags of many designs as arrays; flags stand in rolling order."""

    length: Array  #: (n,) finished length [m]
    mandrel: IntArray  #: (n,) index into the conditions' mandrels
    mandrel_set: Array  #: (n,) [m]
    sheet: IntArray  #: (n, n_flag) index into the conditions' sheets; -1 for no flag
    start: Array  #: (n, n_flag) [m]
    end: Array  #: (n, n_flag) [m]
    wraps: Array  #: (n, n_flag) [-]
    run_out_tip: Array  #: (n, n_flag) [m]
    run_out_butt: Array  #: (n, n_flag) [m]
    width_tip: Array  #: (n, n_flag) of straight-edged pieces as cut; NaN for none [m]
    width_butt: Array  #: (n, n_flag) [m]
    clock: Array  #: (n, n_flag) of the cut edge; NaN for evenly spread [rad]

    @property
    def n_designs(self) -> int:
        """Number of designs."""
        return len(self.length)


def no_layups(n: int, n_flags: int) -> Layups:
    """Arrays of designs that have no flags yet.

    Parameters
    ----------
    n : int
        Number of designs. [-]
    n_flags : int
        Most flags of a design. [-]

    Returns
    -------
    layups : Layups
        To be filled. [SI]
    """
    shape = (n, n_flags)
    return Layups(
        length=np.zeros(n),
        mandrel=np.zeros(n, dtype=np.int64),
        mandrel_set=np.zeros(n),
        sheet=np.full(shape, -1, dtype=np.int64),
        start=np.zeros(shape),
        end=np.zeros(shape),
        wraps=np.zeros(shape),
        run_out_tip=np.zeros(shape),
        run_out_butt=np.zeros(shape),
        width_tip=np.full(shape, np.nan),
        width_butt=np.full(shape, np.nan),
        clock=np.full(shape, np.nan),
    )


def layups_of(designs: Sequence[Design], conditions: Conditions) -> Layups:
    """Arrays of designs that share their conditions.

    Parameters
    ----------
    designs : sequence of Design
        Designs whose sheets and mandrels stand in the conditions. [SI]
    conditions : Conditions
        What they share. [-]

    Returns
    -------
    layups : Layups
        The same designs as arrays. [SI]
    """
    index = {sheet: i for i, sheet in enumerate(conditions.sheets)}
    mandrel = {m.name: i for i, m in enumerate(conditions.mandrels)}
    n, n_flags = len(designs), max(len(design.flags) for design in designs)
    layups = no_layups(n, n_flags)
    for i, design in enumerate(designs):
        layups.length[i] = design.shaft.length
        layups.mandrel[i] = mandrel[design.shaft.mandrel]
        layups.mandrel_set[i] = design.shaft.mandrel_set
        for k, flag in enumerate(design.flags):
            layups.sheet[i, k] = index[Sheet(flag.material, flag.angle, flag.is_pair)]
            layups.start[i, k], layups.end[i, k] = flag.start, flag.end
            layups.wraps[i, k] = flag.wraps
            layups.run_out_tip[i, k] = flag.run_out_tip
            layups.run_out_butt[i, k] = flag.run_out_butt
            if flag.width_tip is not None and flag.width_butt is not None:
                layups.width_tip[i, k] = flag.width_tip
                layups.width_butt[i, k] = flag.width_butt
            if flag.clock is not None:
                layups.clock[i, k] = flag.clock
    return layups
