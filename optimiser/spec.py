"""The target spec: what the shaft must be, and what the search may use.

`read_spec` reports every fault of a file at once. Tables that a design has too
([shaft], [finish], [bench], [cutting]) are read as in a design; in [shaft] and
[[place]] a value may be a list or {from, to, step} and is then a choice.
"""

import math
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Annotated, Any, cast, get_type_hints

from pydantic import AfterValidator, ValidationInfo

from model import (
    FORBID_EXTRA,
    METRIC,
    METRICS,
    AngleText,
    Bench,
    Choice,
    Cutting,
    Document,
    Finish,
    FlagAngle,
    Library,
    Metric,
    OneOf,
    Quantity,
    RunOuts,
    RunOutText,
    Shaft,
    Sheet,
    Text,
    Whole,
    YesNo,
    check_bench,
    check_bleed,
    check_finish,
    format_quantity,
    mandrel_fault,
    open_document,
    parse_document,
    read_quantity,
    show_value,
    suggestion,
)

_SAME = 1e-7
_LENGTH = Quantity("length", at_least=0.0)


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

    flag_length_min: Annotated[float, _LENGTH, Meaning("shortest flag")] = 0.150
    end_spacing_min: Annotated[
        float,
        _LENGTH,
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
    wall_min: Annotated[float, _LENGTH, Meaning("thinnest finished wall")] = 0.0006
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
        float, _LENGTH, Meaning("deepest radial grinding of the tip, beyond grind")
    ] = 0.00035
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
        int, Whole(1, 10**12), Meaning("whole evaluations after which it stops")
    ] = 150_000
    time: Annotated[
        float | None, Quantity("time", above=0.0), Meaning("time after which it stops")
    ] = None
    seed: Annotated[int, Whole(0, 2**63 - 1), Meaning("same seed, same search")] = 1
    population: Annotated[int, Whole(20, 20_000), Meaning("designs that breed")] = 300


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


# ----------------------------------------------------------------- tables as written


@dataclass(frozen=True, slots=True)
class _Context:
    library: Library
    lengths: tuple[float, ...] | None = None
    rules: Rules | None = None


def _context(info: ValidationInfo) -> _Context:
    return cast("_Context", info.context)


def _known_mandrels(names: tuple[str, ...], info: ValidationInfo) -> tuple[str, ...]:
    mandrels = _context(info).library.mandrels
    problems = [
        f"{show_value(name)}: no such mandrel. {suggestion(name, mandrels)}"
        for name in names
        if name not in mandrels
    ]
    if problems:
        raise ValueError(" ".join(problems))
    return names


def _known_materials(names: tuple[str, ...], info: ValidationInfo) -> tuple[str, ...]:
    prepregs = _context(info).library.prepregs
    problems = [
        f"{show_value(name)}: no such prepreg. {suggestion(name, prepregs)}"
        for name in names
        if name not in prepregs
    ]
    if problems:
        raise ValueError(" ".join(problems))
    return names


def _rollable_angles(
    angles: tuple[FlagAngle, ...], info: ValidationInfo
) -> tuple[FlagAngle, ...]:
    rules = _context(info).rules
    if rules is None or rules.single_angle:
        return angles
    for angle in angles:
        straight = math.isclose(angle.angle % (math.pi / 2), 0.0, abs_tol=1e-9)
        if not angle.is_pair and not straight:
            degrees = f"{math.degrees(angle.angle):g}"
            raise ValueError(
                f'"{degrees}" is a single angle, which twists the shaft as it bends. '
                f'Give "±{abs(math.degrees(angle.angle)):g}", or set single_angle = '
                "true in [rules]."
            )
    return angles


def _on_shaft(stations: tuple[float, ...], info: ValidationInfo) -> tuple[float, ...]:
    lengths = _context(info).lengths
    if lengths is None:
        return stations
    longest = max(lengths)
    if max(stations) > longest + _SAME:
        butt = format_quantity(longest, "length")
        raise ValueError(f"past the butt end ({butt}). Give values up to {butt}.")
    starts = info.data.get("start")
    if info.field_name == "end" and starts is not None:
        least = min(starts)
        rules = _context(info).rules
        shortest = rules.flag_length_min if rules else 0.0
        if max(stations) - least < max(shortest, _SAME) - _SAME:
            raise ValueError(
                "no choice of start and end is long enough: the longest flag is "
                f"{format_quantity(max(max(stations) - least, 0.0), 'length')}, the "
                f"shortest allowed {format_quantity(shortest, 'length')} "
                "(flag_length_min in [rules])."
            )
    return stations


def _not_too_many(wraps: tuple[float, ...], info: ValidationInfo) -> tuple[float, ...]:
    rules = _context(info).rules
    if rules is not None and max(wraps) > rules.turns_max + 1e-9:
        raise ValueError(
            f"{max(wraps):g} wraps are more than the {rules.turns_max:g} that "
            f"turns_max in [rules] allows. Give values up to {rules.turns_max:g}."
        )
    return wraps


@dataclass(frozen=True, slots=True, kw_only=True)
class _ShaftTable:
    __pydantic_config__ = FORBID_EXTRA

    length: Annotated[
        tuple[float, ...], Choice(Quantity("length", at_least=0.3, at_most=2.0))
    ]
    mandrel: Annotated[tuple[str, ...], Choice(Text()), AfterValidator(_known_mandrels)]
    mandrel_set: Annotated[tuple[float, ...], Choice(_LENGTH)]
    trim_tip: Annotated[float, _LENGTH] = 0.0
    trim_butt: Annotated[float, _LENGTH] = 0.0


def _run_out_fits(run_out: Any, info: ValidationInfo) -> Any:
    starts, ends = info.data.get("start"), info.data.get("end")
    if starts is None or ends is None:
        return run_out
    room = max(ends) - min(starts)
    both = run_out.tip + run_out.butt
    if both > room + _SAME:
        raise ValueError(
            f"both ends together take {format_quantity(both, 'length')} of a flag "
            f"that is at most {format_quantity(room, 'length')} long."
        )
    return run_out


_NO_RUN_OUT = RunOuts(0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _PlaceTable:
    __pydantic_config__ = FORBID_EXTRA

    name: Annotated[str, Text()]
    material: Annotated[
        tuple[str, ...], Choice(Text()), AfterValidator(_known_materials)
    ]
    angle: Annotated[
        tuple[FlagAngle, ...], Choice(AngleText()), AfterValidator(_rollable_angles)
    ]
    start: Annotated[tuple[float, ...], Choice(_LENGTH), AfterValidator(_on_shaft)]
    end: Annotated[tuple[float, ...], Choice(_LENGTH), AfterValidator(_on_shaft)]
    wraps: Annotated[
        tuple[float, ...],
        Choice(Quantity("number", above=0.0, at_most=50.0)),
        AfterValidator(_not_too_many),
    ]
    run_out: Annotated[RunOuts, RunOutText(), AfterValidator(_run_out_fits)] = (
        _NO_RUN_OUT
    )
    optional: Annotated[bool, YesNo()] = False

    def place(self) -> Place:
        sheets = tuple(
            Sheet(material, angle.angle, angle.is_pair)
            for material in self.material
            for angle in self.angle
        )
        return Place(
            name=self.name,
            sheets=sheets,
            starts=self.start,
            ends=self.end,
            wraps=self.wraps,
            run_out_tip=self.run_out.tip,
            run_out_butt=self.run_out.butt,
            optional=self.optional,
        )


# -------------------------------------------------------------------------- reading


def read_spec(path: Path, library: Library) -> Spec:
    """Read a target spec.

    Parameters
    ----------
    path : Path
        File to read. [-]
    library : Library
        Where materials and mandrels are looked up. [-]

    Returns
    -------
    spec : Spec
        Checked. [SI]

    Raises
    ------
    InputError
        With every fault of the file.
    """
    return _spec(open_document(path), library)


def spec_from_text(text: str, source: str, library: Library) -> Spec:
    """Read a target spec from its text.

    Parameters
    ----------
    text : str
        What a spec file holds. [-]
    source : str
        What to call it in messages. [-]
    library : Library
        Where materials and mandrels are looked up. [-]

    Returns
    -------
    spec : Spec
        Checked. [SI]

    Raises
    ------
    InputError
        With every fault of the text.
    """
    return _spec(parse_document(text, source), library)


def named_library(path: Path) -> Path | None:
    """Folder of the library that a spec names.

    Parameters
    ----------
    path : Path
        Spec file. [-]

    Returns
    -------
    folder : Path or None
        None where it names none, so that the packaged library serves. [-]

    Raises
    ------
    InputError
        If the file cannot be read.
    """
    text = open_document(path).value("library", Text(), required=False)
    return None if text is None else path.parent / str(text)


def _spec(document: Document, library: Library) -> Spec:
    name = document.value("name", Text())
    library_path = document.value("library", Text(), required=False)
    context = _Context(library)
    shaft = document.table("shaft", _ShaftTable, context=context)
    finish = document.table("finish", Finish, context=context)
    rules = document.table("rules", Rules)
    bench = document.table("bench", Bench)
    cutting = document.table("cutting", Cutting)
    search = document.table("search", SearchOptions)
    lengths = shaft.length if shaft is not None else None
    targets, ei_targets = _targets(document, lengths)
    context = _Context(library, lengths, rules)
    tables = document.tables("place", _PlaceTable, context=context)
    places = tuple(table.place() for table in tables)
    if shaft is not None:
        _check_mandrels(document, shaft, library)
    if finish is not None:
        check_finish(document, finish, min(lengths) if lengths else None)
        materials = (sheet.material for place in places for sheet in place.sheets)
        check_bleed(document, finish, library, materials)
    if bench is not None:
        check_bench(document, bench)
        if lengths is not None:
            _check_tests_fit(document, targets, bench, min(lengths))
    _check_places(document, places, lengths, rules)
    document.close()
    if (
        shaft is None
        or finish is None
        or rules is None
        or bench is None
        or cutting is None
        or search is None
    ):
        raise AssertionError("a table without faults is never None")
    return Spec(
        name=str(name),
        lengths=shaft.length,
        mandrels=shaft.mandrel,
        mandrel_sets=shaft.mandrel_set,
        trim_tip=shaft.trim_tip,
        trim_butt=shaft.trim_butt,
        finish=finish,
        bench=bench,
        cutting=cutting,
        targets=targets,
        ei_targets=ei_targets,
        places=places,
        rules=rules,
        search=search,
        text=document.text,
        library_path=library_path,
    )


_TARGET_KEYS = ("target", "tolerance", "at_least", "at_most", "trade")


def _targets(
    document: Document, lengths: tuple[float, ...] | None
) -> tuple[tuple[Target, ...], tuple[EITarget, ...]]:
    raw = document.take("targets")
    if raw is None:
        document.fault(
            "", None, None, "no table [targets]; say what the shaft must be."
        )
        return (), ()
    if not isinstance(raw, dict):
        document.fault("", "targets", show_value(raw), "not a table of metrics.")
        return (), ()
    n_faults = len(document.faults)
    found = []
    points: tuple[EITarget, ...] = ()
    for key, value in raw.items():
        if key == "ei_at":
            points = _ei_targets(document, value, lengths)
            continue
        if key not in METRIC:
            names = [*METRIC, "ei_at"]
            document.fault(
                "[targets]",
                key,
                show_value(value),
                f"no such metric. {suggestion(key, names)}",
            )
            continue
        target = _target(document, METRIC[key], value)
        if target is not None:
            found.append(target)
    if len(document.faults) == n_faults and not any(t.trade for t in found):
        document.fault(
            "[targets]",
            None,
            None,
            'no metric is traded. Give one at least a trade = "less" or "more", such '
            'as material_cost = { trade = "less" }.',
        )
    return tuple(found), points


def _quantity(
    document: Document, where: str, key: str, value: object, dimension: str
) -> float | None:
    try:
        return read_quantity(value, dimension)
    except ValueError as error:
        document.fault(where, key, show_value(value), str(error))
        return None


def _tolerance(
    document: Document, where: str, value: object, dimension: str, target: float | None
) -> float | None:
    """Half width of a band, absolute or as a percentage of the target."""
    if isinstance(value, str) and value.strip().endswith("%") and dimension != "number":
        share = _quantity(document, where, "tolerance", value, "percent")
        if share is None or target is None:
            return None
        width = share * abs(target)
    else:
        absolute = _quantity(document, where, "tolerance", value, dimension)
        if absolute is None:
            return None
        width = absolute
    if width <= 0.0:
        document.fault(
            where,
            "tolerance",
            show_value(value),
            "not above nought. Give a half width.",
        )
        return None
    return width


def _target(document: Document, metric: Metric, raw: object) -> Target | None:
    where = f"[targets] {metric.key}"
    if not isinstance(raw, dict):
        document.fault(
            "[targets]",
            metric.key,
            show_value(raw),
            "write a table, such as { target = ..., tolerance = ... } or "
            '{ trade = "less" }.',
        )
        return None
    before = len(document.faults)
    for key in raw:
        if key not in _TARGET_KEYS:
            document.fault(
                where,
                key,
                show_value(raw[key]),
                f"unknown key. {suggestion(key, _TARGET_KEYS)}",
            )
    values = {
        key: _quantity(document, where, key, raw[key], metric.dimension)
        for key in ("target", "at_least", "at_most")
        if key in raw
    }
    tolerance = None
    if "tolerance" in raw:
        tolerance = _tolerance(
            document, where, raw["tolerance"], metric.dimension, values.get("target")
        )
    for given, other in (("target", "tolerance"), ("tolerance", "target")):
        if given in raw and other not in raw:
            document.fault(
                where, other, None, f"missing beside {given}. Give both, or bounds."
            )
    trade = raw.get("trade")
    if "trade" in raw:
        try:
            OneOf(("less", "more")).read(trade)
        except ValueError as error:
            document.fault(where, "trade", show_value(trade), str(error))
    if not raw:
        document.fault(where, None, None, "asks for nothing. Give a band or a trade.")
    if len(document.faults) > before:
        return None
    low, high = -math.inf, math.inf
    target = values.get("target")
    if target is not None and tolerance is not None:
        low, high = target - tolerance, target + tolerance
    at_least, at_most = values.get("at_least"), values.get("at_most")
    if at_least is not None:
        low = max(low, at_least)
    if at_most is not None:
        high = min(high, at_most)
    if low > high:
        document.fault(
            where,
            None,
            None,
            f"nothing lies in its band: at least {metric.shown(low)} and at most "
            f"{metric.shown(high)}.",
        )
        return None
    return Target(
        metric=metric.key,
        low=low,
        high=high,
        target=target,
        tolerance=tolerance,
        trade=cast("str | None", trade),
    )


def _ei_targets(
    document: Document, raw: object, lengths: tuple[float, ...] | None
) -> tuple[EITarget, ...]:
    if not isinstance(raw, list):
        document.fault(
            "[targets]", "ei_at", show_value(raw), "write [[targets.ei_at]] for each."
        )
        return ()
    points = []
    for i, item in enumerate(raw):
        where = f"[[targets.ei_at]] {i + 1}"
        if not isinstance(item, dict):
            document.fault(where, None, show_value(item), "not a table.")
            continue
        keys = ("station", "target", "tolerance")
        for key in item:
            if key not in keys:
                document.fault(
                    where,
                    key,
                    show_value(item[key]),
                    f"unknown key. {suggestion(key, keys)}",
                )
        for key in keys:
            if key not in item:
                document.fault(where, key, None, "missing.")
        station = target = tolerance = None
        if "station" in item:
            station = _quantity(document, where, "station", item["station"], "length")
        if "target" in item:
            target = _quantity(
                document, where, "target", item["target"], "bending_stiffness"
            )
            if target is not None and target <= 0.0:
                document.fault(
                    where, "target", show_value(item["target"]), "not above nought."
                )
                target = None
        if "tolerance" in item:
            tolerance = _tolerance(
                document, where, item["tolerance"], "bending_stiffness", target
            )
        if station is not None and lengths is not None:
            butt = min(lengths)
            if not 0.0 <= station <= butt + _SAME:
                document.fault(
                    where,
                    "station",
                    show_value(item["station"]),
                    f"off the shaft. Give a value between 0 mm and "
                    f"{format_quantity(butt, 'length')}.",
                )
                station = None
        if station is not None and target is not None and tolerance is not None:
            points.append(EITarget(station=station, target=target, tolerance=tolerance))
    return tuple(points)


# ------------------------------------------------------------------- what must fit


def _check_mandrels(document: Document, shaft: _ShaftTable, library: Library) -> None:
    """At least one set must fit on some mandrel, for every length."""
    for length in shaft.length:
        messages = []
        for name in shaft.mandrel:
            for offset in (min(shaft.mandrel_set), max(shaft.mandrel_set)):
                one = Shaft(
                    length=length,
                    mandrel=name,
                    mandrel_set=offset,
                    trim_tip=shaft.trim_tip,
                    trim_butt=shaft.trim_butt,
                )
                messages.append(mandrel_fault(library.mandrels[name], one))
        fits_one = False
        for name in shaft.mandrel:
            least = shaft.trim_tip
            most = library.mandrels[name].length - length - shaft.trim_butt
            fits_one = fits_one or any(
                least - _SAME <= offset <= most + _SAME for offset in shaft.mandrel_set
            )
        if not fits_one:
            document.fault(
                "[shaft]",
                "mandrel_set",
                show_value(document.raw("shaft", "mandrel_set")),
                str(next(message for message in messages if message)),
            )
            return


#: Metrics of a bench test, with the fields of Bench that reach farthest.
_REACH = {
    "frequency": ("frequency_clamp",),
    "torque": ("torque_clamp", "torque_grip"),
    "tip_deflection": ("tip_load_at",),
    "butt_deflection": ("butt_load_at",),
    "flex_point_ratio": ("tip_load_at", "butt_load_at"),
}


def _check_tests_fit(
    document: Document, targets: tuple[Target, ...], bench: Bench, length: float
) -> None:
    for target in targets:
        names = _REACH.get(target.metric, ())
        reach = [getattr(bench, name) for name in names]
        needed = sum(reach) if target.metric == "torque" else max(reach, default=0.0)
        if not names or needed <= length - _SAME:
            continue
        farthest = max(names, key=lambda name: float(getattr(bench, name)))
        document.fault(
            "[targets]",
            target.metric,
            None,
            f"its test does not fit: {farthest} is "
            f"{format_quantity(getattr(bench, farthest), 'length')}, the shaft "
            f"{format_quantity(length, 'length')} long. Set {farthest} in [bench], or "
            "leave the target out.",
        )


def _check_places(
    document: Document,
    places: tuple[Place, ...],
    lengths: tuple[float, ...] | None,
    rules: Rules | None,
) -> None:
    seen: set[str] = set()
    for place in places:
        if place.name in seen:
            document.fault(
                f'place "{place.name}"',
                "name",
                show_value(place.name),
                "stands twice. Give each place a name of its own.",
            )
        seen.add(place.name)
    if lengths is None or not places or document.faults:
        return
    longest = max(lengths)
    if not any(min(place.starts) <= _SAME for place in places):
        document.fault(
            "", "place", None, "no place reaches the tip. Give one a start of 0 mm."
        )
    if not any(max(place.ends) >= longest - _SAME for place in places):
        butt = format_quantity(longest, "length")
        document.fault(
            "", "place", None, f"no place reaches the butt. Give one an end of {butt}."
        )
    if rules is not None and rules.outer_straight:
        full = [
            place
            for place in places
            if min(place.starts) <= _SAME
            and max(place.ends) >= longest - _SAME
            and any(not s.is_pair and abs(s.angle) < 1e-9 for s in place.sheets)
        ]
        if not full:
            document.fault(
                "",
                "place",
                None,
                'no full-length place at angle "0", which outer_straight in [rules] '
                "asks for. Give one, or set outer_straight = false.",
            )


# ------------------------------------------------------------------------- showing


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a spec's optional tables, for people."""

    table: str
    name: str
    default: str
    meaning: str


def known_keys() -> tuple[Key, ...]:
    """Every key of [rules], [bench], [cutting] and [search].

    Returns
    -------
    keys : tuple of Key
        With defaults as they are written, and meanings. [-]
    """
    return tuple(
        Key(
            table=table,
            name=name,
            default=_written(cls, name, getattr(cls(), name)),
            meaning=_meaning(cls, name),
        )
        for table, cls in (
            ("rules", Rules),
            ("bench", Bench),
            ("cutting", Cutting),
            ("search", SearchOptions),
        )
        for name in (field.name for field in fields(cls))
    )


#: Meanings of the keys that a design has too.
_BENCH_MEANING = {
    "frequency_clamp": "length of the butt clamped in the frequency test",
    "tip_mass": "mass on the tip in the frequency test",
    "tip_mass_offset": "its centre beyond the tip",
    "tip_mass_inertia": "its moment of inertia about its own centre",
    "torque_clamp": "length of the butt clamped in the torque test",
    "torque_grip": "length of the tip gripped in the torque test",
    "torque_moment": "couple of the torque test",
    "butt_hold": "butt deflection: holding down, from the butt",
    "butt_support": "butt deflection: support from below, from the butt",
    "butt_load": "butt deflection: load",
    "butt_load_at": "butt deflection: station of the load, from the butt",
    "tip_hold": "tip deflection: holding down, from the tip",
    "tip_support": "tip deflection: support from below, from the tip",
    "tip_load": "tip deflection: load",
    "tip_load_at": "tip deflection: station of the load, from the tip",
    "strength_moment": "bending moment that the wall must bear",
    "strength_tip_support": "the moment rises from nought here, from the tip",
    "strength_from": "the moment is full from here (point T), from the tip",
    "strength_a": "point A, from the tip",
    "strength_b": "point B, from the tip",
    "strength_to": "the moment is full up to here (point C), from the butt",
    "strength_butt_support": "the moment has fallen to nought here, from the butt",
    "gap": "cutting gap between pieces on the roll",
    "roll_edge": "edge of the roll that is not used",
    "splice_from": "pieces at this fibre angle or above may be spliced",
}


def _meaning(cls: type, name: str) -> str:
    hints = get_type_hints(cls, include_extras=True)
    for extra in getattr(hints[name], "__metadata__", ()):
        if isinstance(extra, Meaning):
            return extra.text
    return _BENCH_MEANING[name]


def _written(cls: type, name: str, value: object) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "true" if value else "false"
    hints = get_type_hints(cls, include_extras=True)
    for extra in getattr(hints[name], "__metadata__", ()):
        if isinstance(extra, Quantity) and extra.dimension != "number":
            return format_quantity(cast("float", value), extra.dimension)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _span(values: tuple[float, ...], dimension: str) -> str:
    if len(values) == 1:
        return format_quantity(values[0], dimension)
    low, high = (
        format_quantity(min(values), dimension),
        format_quantity(max(values), dimension),
    )
    return f"{low} to {high} ({len(values)})"


def describe_target(target: Target) -> str:
    """Say in words what a target asks for.

    Parameters
    ----------
    target : Target
        Any target. [SI]

    Returns
    -------
    text : str
        Such as "between 250.0 cpm and 254.0 cpm". [-]
    """
    metric = METRIC[target.metric]
    parts = []
    low, high = math.isfinite(target.low), math.isfinite(target.high)
    if low and high:
        parts.append(f"{metric.shown(target.low)} to {metric.shown(target.high)}")
    elif low:
        parts.append(f"at least {metric.shown(target.low)}")
    elif high:
        parts.append(f"at most {metric.shown(target.high)}")
    if target.trade:
        parts.append(f"traded, {target.trade} is better")
    return "; ".join(parts)


def describe_spec(spec: Spec) -> str:
    """Say what a spec holds.

    Parameters
    ----------
    spec : Spec
        A checked spec. [SI]

    Returns
    -------
    text : str
        Lines for the terminal. [-]
    """
    lines = [
        f"target spec {spec.name}",
        "",
        f"  length       {_span(spec.lengths, 'length')}",
        f"  mandrel      {', '.join(spec.mandrels)}",
        f"  mandrel set  {_span(spec.mandrel_sets, 'length')}",
        "",
        "targets",
    ]
    order = {metric.key: i for i, metric in enumerate(METRICS)}
    lines += [
        f"  {METRIC[target.metric].label:<26} {describe_target(target)}"
        for target in sorted(spec.targets, key=lambda t: order[t.metric])
    ]
    for point in spec.ei_targets:
        low, high = point.target - point.tolerance, point.target + point.tolerance
        label = f"EI at {format_quantity(point.station, 'length')}"
        lines.append(f"  {label:<26} {low:.2f} to {high:.2f} N·m²")
    lines += ["", f"places ({len(spec.places)})"]
    width = max(len(place.name) for place in spec.places)
    for place in spec.places:
        materials = {sheet.material for sheet in place.sheets}
        angles = {(sheet.angle, sheet.is_pair) for sheet in place.sheets}
        lines.append(
            f"  {place.name:<{width}}  {len(materials)} material(s) x {len(angles)} "
            f"angle(s), start {_span(place.starts, 'length')}, "
            f"end {_span(place.ends, 'length')}, "
            f"wraps {_span(place.wraps, 'number')}"
            f"{', may be left out' if place.optional else ''}"
        )
    lines.append(f"  about 10^{spec.size:.0f} designs, times the rolling orders")
    for table, value in (
        ("rules", spec.rules),
        ("bench", spec.bench),
        ("cutting", spec.cutting),
        ("search", spec.search),
    ):
        lines += ["", f"{table} (* set in the file, others by default)"]
        cls = type(value)
        for key in known_keys():
            if key.table != table:
                continue
            text = _written(cls, key.name, getattr(value, key.name))
            mark = " " if text == key.default else "*"
            lines.append(f" {mark}{key.name:<22} {text:<12} {key.meaning}")
    return "\n".join(lines)
