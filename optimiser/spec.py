"""The target spec: what the shaft must be, and what the search may use."""

import math
from dataclasses import dataclass
from typing import Annotated

from model import (
    FORBID_EXTRA,
    Bench,
    Costs,
    Cutting,
    Finish,
    Quantity,
    Sheet,
    Whole,
    YesNo,
)

#: a depth or thickness within the wall of a shaft
_DEPTH = Quantity("length", at_least=0.0, at_most=0.010)


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a key is for, in one line; stands beside the type of its field."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What is asked of one metric: a band, a bound, a trade, or several of them."""

    metric: str  #: key of the metric
    low: float = -math.inf  #: least value allowed [SI]
    high: float = math.inf  #: largest value allowed [SI]
    target: float | None = None  #: middle of the band as written [SI]
    tolerance: float | None = None  #: its half width [SI]
    trade: str | None = None  #: "less" or "more" where it is an objective


@dataclass(frozen=True, slots=True, kw_only=True)
class EITarget:
    """A point of the EI profile, with its band."""

    station: float  #: from the tip [m]
    target: float  #: [N·m²]
    tolerance: float  #: half width of the band [N·m²]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A flag that the search may lay, and its choices."""

    name: str
    sheets: tuple[Sheet, ...]  #: every material at every angle
    starts: tuple[float, ...]  #: [m]
    ends: tuple[float, ...]  #: [m]
    wraps: tuple[float, ...]  #: [-]
    run_out_tip: float = 0.0  #: [m]
    run_out_butt: float = 0.0  #: [m]
    optional: bool = False  #: whether it may be left out

    @property
    def n_choices(self) -> int:
        """Number of ways to lay it."""
        ways = len(self.sheets) * len(self.starts) * len(self.ends) * len(self.wraps)
        return ways + 1 if self.optional else ways


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """What the shop can and will roll."""

    __pydantic_config__ = FORBID_EXTRA

    flag_length_min: Annotated[
        float,
        Quantity("length", at_least=0.0, at_most=2.0),
        Meaning("shortest flag"),
    ] = 0.150
    end_spacing_min: Annotated[
        float,
        Quantity("length", at_least=0.0, at_most=0.5),
        Meaning("least distance between two flag ends, shared shaft ends excepted"),
    ] = 0.010
    outer_straight: Annotated[
        bool,
        YesNo(),
        Meaning("the outermost full-length flag lies at 0 degrees, as grinding stock"),
    ] = True
    materials_max: Annotated[
        int, Whole(1, 30), Meaning("most different prepregs in a shaft")
    ] = 6
    wall_min: Annotated[float, _DEPTH, Meaning("thinnest finished wall")] = 0.0006
    diameter_step_max: Annotated[
        float,
        Quantity("length", above=0.0),
        Meaning("largest change of outside diameter within diameter_step_length"),
    ] = 0.0006
    diameter_step_length: Annotated[
        float, Quantity("length", above=0.0), Meaning("see diameter_step_max")
    ] = 0.010
    turns_max: Annotated[
        float, Quantity("number", above=0.0), Meaning("most wraps of one flag")
    ] = 6.0
    single_angle: Annotated[
        bool, YesNo(), Meaning("flags at one angle only, other than 0 and 90, allowed")
    ] = False
    tip_grind_max: Annotated[
        float, _DEPTH, Meaning("deepest radial grinding of the tip, beyond grind")
    ] = 0.00035
    direction_spread_max: Annotated[
        float,
        Quantity("percent", at_least=0.0, at_most=2.0),
        Meaning("largest spread of EI round the clock, over its mean"),
    ] = 0.10
    grind_into_bias: Annotated[
        bool, YesNo(), Meaning("grinding may reach a bias flag")
    ] = False
    reorder: Annotated[
        bool, YesNo(), Meaning("the search may change the rolling order of the places")
    ] = True


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchOptions:
    """How long and how the search runs."""

    __pydantic_config__ = FORBID_EXTRA

    evaluations: Annotated[
        int | None,
        Whole(1, 10**12),
        Meaning("whole evaluations after which it stops; none where only time is set"),
    ] = 150_000
    time: Annotated[
        float | None, Quantity("time", above=0.0), Meaning("time after which it stops")
    ] = None
    seed: Annotated[int, Whole(0, 2**63 - 1), Meaning("same seed, same search")] = 1
    population: Annotated[int, Whole(20, 5_000), Meaning("designs that breed")] = 300
    islands: Annotated[
        int, Whole(1, 1_000), Meaning("searches side by side that exchange designs")
    ] = 1
    exchange: Annotated[
        int,
        Whole(100, 10**9),
        Meaning("evaluations of each island between two exchanges"),
    ] = 10_000
    stall: Annotated[
        float,
        Quantity("percent", at_least=0.0, at_most=1.0),
        Meaning("stops when the hypervolume rose by less over stall_evaluations"),
    ] = 0.0
    stall_evaluations: Annotated[
        int, Whole(1_000, 10**12), Meaning("see stall; no such stop if stall is 0")
    ] = 200_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Spec:
    """A checked target spec."""

    name: str
    lengths: tuple[float, ...]  #: [m]
    mandrels: tuple[str, ...]
    mandrel_sets: tuple[float, ...]  #: [m]
    trim_tip: float  #: [m]
    trim_butt: float  #: [m]
    finish: Finish
    bench: Bench
    cutting: Cutting
    costs: Costs
    targets: tuple[Target, ...]
    ei_targets: tuple[EITarget, ...]
    places: tuple[Place, ...]
    rules: Rules
    search: SearchOptions
    text: str  #: the file as read
    library_path: str | None  #: as the file names it

    @property
    def trades(self) -> tuple[Target, ...]:
        """Targets that are objectives, in the order of the file."""
        return tuple(target for target in self.targets if target.trade)

    @property
    def size(self) -> float:
        """Decimal logarithm of the number of designs, the order left aside."""
        heads = (len(self.lengths), len(self.mandrels), len(self.mandrel_sets))
        ways = [*heads, *(place.n_choices for place in self.places)]
        return sum(math.log10(n) for n in ways)
