"""One shaft as designed: flags on a mandrel, its finish, and how it is tested.

The dataclasses hold SI numbers settled to 0.1 µm and 1e-6 deg, so that a design
written to a file and read again is equal to the bit and keeps its id.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
from dataclasses import dataclass
from typing import Annotated, Any, Final

from pydantic import AfterValidator, ValidationInfo

from model.errors import suggestion
from model.fields import OneOf, Quantity, Text, Whole
from model.library import Library
from model.records import FORBID_EXTRA, readers

#: decimals to which numbers of a design are settled, in SI; 0.1 µm for lengths
_DECIMALS: Final = {"length": 7}
_OTHER_DECIMALS: Final = 12
#: decimals of an angle in degrees
_ANGLE_DECIMALS: Final = 6


def _settle(item: object) -> None:
    """Round the numbers of a frozen dataclass to what its file form can hold."""
    for name, reader in readers(type(item)).items():
        value = getattr(item, name)
        if not isinstance(reader, Quantity) or value is None:
            continue
        if reader.dimension == "angle":
            settled = math.radians(round(math.degrees(value), _ANGLE_DECIMALS))
        else:
            decimals = _DECIMALS.get(reader.dimension, _OTHER_DECIMALS)
            settled = round(float(value), decimals)
        object.__setattr__(item, name, settled + 0.0)


def _known_mandrel(name: str, info: ValidationInfo) -> str:
    """Look a mandrel up in the library handed down while a file is read."""
    library = getattr(info.context, "library", None)
    if isinstance(library, Library) and name not in library.mandrels:
        raise ValueError(f"no such mandrel. {suggestion(name, library.mandrels)}")
    return name


#: Ways to say when a ply fails.
CRITERIA: Final = ("maximum strain", "quadratic")

_LENGTH: Final = Quantity("length", at_least=0.0)
_SHORT: Final = Quantity("length", at_least=0.0, at_most=0.2)
_MONEY: Final = Quantity("number", at_least=0.0, at_most=1e6)
_ON_BENCH: Final = Quantity("length", at_least=0.0, at_most=2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """One prepreg flag as it lies in the finished shaft."""

    name: str  #: what the shop calls it
    material: str  #: key in the library's prepregs
    angle: float  #: fibre angle from the shaft axis, not negative for a pair [rad]
    is_pair: bool  #: a +angle and a -angle piece rolled together [-]
    start: Annotated[float, Quantity("length")]  #: end nearer the tip [m]
    end: Annotated[float, Quantity("length")]  #: end nearer the butt [m]
    #: turns, of each piece of a pair; 0 where the widths of the piece are given [-]
    wraps: Annotated[float, Quantity("number")] = 0.0
    #: width of a straight-edged piece, as cut, at its end nearer the tip [m]
    width_tip: Annotated[float | None, Quantity("length")] = None
    #: and at its end nearer the butt; both or none are given [m]
    width_butt: Annotated[float | None, Quantity("length")] = None
    run_out_tip: Annotated[float, Quantity("length")] = 0.0  #: diagonal, tip end [m]
    run_out_butt: Annotated[float, Quantity("length")] = 0.0  #: diagonal, butt end [m]
    #: position of the cut edge round the shaft, if stated [rad]
    clock: Annotated[float | None, Quantity("angle")] = None

    def __post_init__(self) -> None:
        _settle(self)
        angle = math.radians(round(math.degrees(self.angle), _ANGLE_DECIMALS))
        object.__setattr__(self, "angle", angle + 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shaft:
    """The finished bare shaft, where it sits on its mandrel, what is cut off."""

    __pydantic_config__ = FORBID_EXTRA

    #: finished length [m]
    length: Annotated[float, Quantity("length", at_least=0.1, at_most=2.0)]
    mandrel: Annotated[str, Text(), AfterValidator(_known_mandrel)]  #: its key
    mandrel_set: Annotated[float, _LENGTH]  #: small end of the mandrel to the tip [m]
    trim_tip: Annotated[float, _SHORT] = 0.0  #: cut off the tip after cure [m]
    trim_butt: Annotated[float, _SHORT] = 0.0  #: cut off the butt after cure [m]

    def __post_init__(self) -> None:
        _settle(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """What is done to the cured blank."""

    __pydantic_config__ = FORBID_EXTRA

    #: radial depth ground off the whole length [m]
    grind: Annotated[float, Quantity("length", at_least=0.0, at_most=2e-3)] = 0.0
    #: diameter the tip parallel is ground to, if it is [m]
    tip_diameter: Annotated[
        float | None, Quantity("length", at_least=3e-3, at_most=20e-3)
    ] = None
    tip_parallel: Annotated[float, _LENGTH] = 0.0  #: length ground to it [m]
    #: length over which the limit rises to the build [m]
    tip_blend: Annotated[float, _LENGTH] = 0.0
    #: growth of diameter per length over the tip parallel [-]
    tip_taper: Annotated[float, Quantity("number", at_least=0.0, at_most=0.1)] = 0.0
    #: paint outside the tip parallel; diameters exclude it [kg/m²]
    coating: Annotated[float, Quantity("areal", at_least=0.0, at_most=1.0)] = 0.0
    #: resin lost in cure, of the prepreg's mass [-]
    resin_bleed: Annotated[float, Quantity("number", at_least=0.0, at_most=0.3)] = 0.0

    def __post_init__(self) -> None:
        _settle(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """Distances and loads of the bench tests; the defaults are common practice."""

    __pydantic_config__ = FORBID_EXTRA

    frequency_clamp: Annotated[float, _ON_BENCH] = 0.127  #: of the butt, clamped [m]
    #: mass on the tip [kg]
    tip_mass: Annotated[float, Quantity("mass", at_least=0.0, at_most=2.0)] = 0.205
    #: its centre beyond the tip [m]
    tip_mass_offset: Annotated[
        float, Quantity("length", at_least=-0.2, at_most=0.2)
    ] = 0.0
    #: its inertia about its own centre [kg·m²]
    tip_mass_inertia: Annotated[
        float, Quantity("inertia", at_least=0.0, at_most=0.1)
    ] = 0.0
    #: how much the clamp gives under the bending moment on it [rad/(N·m)]
    frequency_clamp_compliance: Annotated[
        float, Quantity("compliance", at_least=0.0, at_most=0.1)
    ] = 0.0
    torque_clamp: Annotated[float, _ON_BENCH] = 0.127  #: of the butt, clamped [m]
    #: where the clamp begins, from the tip; stands for torque_clamp where given [m]
    torque_clamp_at: Annotated[float | None, _ON_BENCH] = None
    torque_grip: Annotated[float, _ON_BENCH] = 0.040  #: of the tip, gripped [m]
    #: couple on the tip, 1 lbf ft [N·m]
    torque_moment: Annotated[float, Quantity("moment", above=0.0)] = 1.355817948331
    butt_hold: Annotated[float, _ON_BENCH] = 0.075  #: holding down, from the butt [m]
    butt_support: Annotated[float, _ON_BENCH] = 0.215  #: below, from the butt [m]
    #: load of the butt deflection, 2.7 kgf [N]
    butt_load: Annotated[float, Quantity("force", above=0.0)] = 2.7 * 9.80665
    butt_load_at: Annotated[float, _ON_BENCH] = 1.039  #: from the butt [m]
    tip_hold: Annotated[float, _ON_BENCH] = 0.012  #: holding down, from the tip [m]
    tip_support: Annotated[float, _ON_BENCH] = 0.152  #: below, from the tip [m]
    #: load of the tip deflection, 1.3 kgf [N]
    tip_load: Annotated[float, Quantity("force", above=0.0)] = 1.3 * 9.80665
    tip_load_at: Annotated[float, _ON_BENCH] = 0.932  #: from the tip [m]
    cantilever_clamp: Annotated[float, _ON_BENCH] = 0.127  #: of the butt, clamped [m]
    #: load of the cantilever deflection, 1 kgf [N]
    cantilever_load: Annotated[float, Quantity("force", above=0.0)] = 9.80665
    cantilever_load_at: Annotated[float, _ON_BENCH] = 0.0  #: from the tip [m]
    #: bending moment the wall must bear [N·m]
    strength_moment: Annotated[float, Quantity("moment", above=0.0)] = 30.0
    strength_tip_support: Annotated[float, _ON_BENCH] = 0.015  #: from the tip [m]
    strength_from: Annotated[float, _ON_BENCH] = 0.090  #: full moment, from the tip [m]
    strength_a: Annotated[float, _ON_BENCH] = 0.175  #: point A, from the tip [m]
    strength_b: Annotated[float, _ON_BENCH] = 0.525  #: point B, from the tip [m]
    strength_to: Annotated[float, _ON_BENCH] = 0.175  #: full moment, from the butt [m]
    strength_butt_support: Annotated[float, _ON_BENCH] = 0.025  #: from the butt [m]
    #: what fails a ply
    strength_criterion: Annotated[str, OneOf(CRITERIA)] = CRITERIA[0]
    #: from cure to use; its residual strains count where it is given [K]
    temperature_drop: Annotated[
        float, Quantity("warming", at_least=0.0, at_most=250.0)
    ] = 0.0
    #: largest bending moment of an impact at the head; none is looked at if 0 [N·m]
    impact_moment: Annotated[
        float, Quantity("moment", at_least=0.0, at_most=1000.0)
    ] = 0.0
    impact_at: Annotated[float, _ON_BENCH] = 0.035  #: where it acts, from the tip [m]
    impact_to: Annotated[float, _ON_BENCH] = 0.350  #: where it has vanished [m]
    torsion_grip: Annotated[float, _ON_BENCH] = 0.050  #: of either end, gripped [m]
    #: width of a ring that is crushed [m]
    crush_width: Annotated[float, Quantity("length", above=0.0, at_most=0.2)] = 0.010
    #: load such a ring must bear; not asked for if 0 [N]
    crush_load: Annotated[float, Quantity("force", at_least=0.0)] = 0.0
    #: span of the machine that reads the EI profile [m]
    profile_span: Annotated[float, Quantity("length", above=0.0, at_most=1.0)] = 0.200
    #: its load in mid-span, 20 kgf [N]
    profile_load: Annotated[float, Quantity("force", above=0.0)] = 20.0 * 9.80665
    profile_first: Annotated[float, _ON_BENCH] = 0.130  #: its first site [m]
    #: and the distance of its sites [m]
    profile_step: Annotated[float, Quantity("length", at_least=0.005, at_most=1.0)] = (
        0.100
    )

    def __post_init__(self) -> None:
        _settle(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cutting:
    """How pieces lie on the roll."""

    __pydantic_config__ = FORBID_EXTRA

    #: room left round each piece [m]
    gap: Annotated[float, Quantity("length", at_least=0.0, at_most=0.1)] = 0.003
    #: width not used at each edge of the roll [m]
    roll_edge: Annotated[float, Quantity("length", at_least=0.0, at_most=0.2)] = 0.010
    #: fibre angle from which a piece wider than the roll may be spliced [rad]
    splice_from: Annotated[
        float, Quantity("angle", at_least=0.0, at_most=math.pi / 2)
    ] = math.radians(80.0)
    #: shafts that are cut together, which share what is left where their rows end [-]
    batch: Annotated[int, Whole(1, 100_000)] = 100

    def __post_init__(self) -> None:
        _settle(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """What a shaft costs beside its prepreg, in the library's currency."""

    __pydantic_config__ = FORBID_EXTRA

    #: cutting and rolling a flag, a pair being one [currency]
    labour_per_flag: Annotated[float, _MONEY] = 0.0
    #: all other work on a shaft: wrapping tape, cure, extraction, finish [currency]
    labour_per_shaft: Annotated[float, _MONEY] = 0.0
    #: tape, release agent, coating, abrasives [currency]
    consumables_per_shaft: Annotated[float, _MONEY] = 0.0
    #: share of the shafts made that is not sold; the others bear their cost [-]
    scrap: Annotated[float, Quantity("number", at_least=0.0, at_most=0.9)] = 0.0

    def __post_init__(self) -> None:
        _settle(self)

    def per_shaft(self, n_flags: int) -> float:
        """Cost of a shaft made, beside its prepreg.

        Parameters
        ----------
        n_flags : int
            Its flags. [-]

        Returns
        -------
        cost : float
            Labour and consumables, scrap not counted. [currency]
        """
        labour = self.labour_per_flag * n_flags + self.labour_per_shaft
        return labour + self.consumables_per_shaft


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """One shaft: everything needed to evaluate it but the library."""

    name: str  #: a label
    shaft: Shaft  #: the bare shaft
    finish: Finish = Finish()  #: grinding, coating, bleed
    flags: tuple[Flag, ...]  #: in rolling order
    bench: Bench = Bench()  #: how it is tested
    cutting: Cutting = Cutting()  #: how its pieces are cut
    costs: Costs = Costs()  #: what it costs beside its prepreg
    library: str | None = None  #: folder of its library, from the design's own folder


#: Words that change what is predicted; all others are names.
_WORDS_THAT_COUNT: Final = frozenset({"strength_criterion"})


def design_id(design: Design, library: Library) -> str:
    """Short hash of a design's content and of the library rows it uses.

    Parameters
    ----------
    design : Design
        Any design. [SI]
    library : Library
        Where its materials and mandrel are. [SI]

    Returns
    -------
    id : str
        Ten hexadecimal digits; names play no part. [-]

    Notes
    -----
    Values at their defaults are left out, so a key added to the files in a later
    version leaves the ids of older designs as they are.
    """
    content: dict[str, Any] = {
        "shaft": _content(design.shaft),
        "finish": _content(design.finish),
        "bench": _content(design.bench),
        "cutting": _content(design.cutting),
        "flags": [
            {
                **_content(flag),
                "material": _content(library.prepregs[flag.material]),
            }
            for flag in design.flags
        ],
        "mandrel": _content(library.mandrels[design.shaft.mandrel]),
    }
    costs = _content(design.costs)
    if costs:
        content["costs"] = costs
    canonical = json.dumps(content, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(canonical.encode()).hexdigest()[:10]


def _content(item: Any) -> dict[str, Any]:
    """Numbers of a dataclass that differ from its defaults, texts left out."""
    found: dict[str, Any] = {}
    for field in dataclasses.fields(item):
        value = getattr(item, field.name)
        if dataclasses.is_dataclass(value):
            found[field.name] = _content(value)
        elif isinstance(value, str) and field.name not in _WORDS_THAT_COUNT:
            continue
        elif value != field.default:
            found[field.name] = value
    return found
