"""Three versions of the same formulas agree: loops, plain numpy, compiled."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from model import (
    METRICS,
    SHOP_MEASURES,
    Conditions,
    InputError,
    evaluate,
    evaluate_batch,
    layups_of,
)
from tests.reference import plain_loops, plain_numpy
from tests.reference.designs import (
    EI_STATIONS,
    random_designs,
    stations_of,
    unmakeable_designs,
)

KEYS = [metric.key for metric in METRICS]
#: Columns that plain numpy gives too.
CORE = [KEYS.index(key) for key in plain_numpy.KEYS]
#: Metrics that are a ratio less one, which may be nearly nothing.
MARGINS = [KEYS.index(key) for key in ("durability", "flattening", "impact")]
N = 240
#: The report leaves out corners of a piece shallower than this. [m]
WIDTH_ROUNDING = 1e-5


def conditions_of(design, library, stations):
    return Conditions.for_designs(library, [design], ei_stations=stations)


def same(found, expected):
    """All metrics agree, in their order."""
    found, expected = np.array([found, expected], dtype=float)
    found[MARGINS] += 1.0
    expected[MARGINS] += 1.0
    np.testing.assert_allclose(found, expected, rtol=1e-9)


def batch_of_one(design, library, stations=None):
    conditions = conditions_of(design, library, stations or stations_of(design))
    return evaluate_batch(layups_of([design], conditions), conditions)


@pytest.fixture(scope="module")
def designs(library):
    return random_designs(N, 20, library)


@pytest.fixture(scope="module")
def unmakeable(library):
    return unmakeable_designs(40, 21, library)


@pytest.fixture(scope="module")
def compiled(designs, unmakeable, library):
    return [(d, batch_of_one(d, library)) for d in [*designs, *unmakeable]]


def test_designs_have_every_feature(designs, compiled, library):
    finishes = [d.finish for d in designs]
    assert any(f.tip_diameter and f.tip_blend for f in finishes)
    assert any(f.tip_diameter and not f.tip_blend for f in finishes)
    for name in ("grind", "coating", "resin_bleed", "tip_taper"):
        assert any(getattr(f, name) for f in finishes), name
    flags = [(d, f) for d in designs for f in d.flags]
    assert any(d.shaft.trim_tip and f.run_out_tip and f.start == 0 for d, f in flags)
    assert any(f.run_out_butt and f.end < d.shaft.length for d, f in flags)
    assert any(f.is_pair for _, f in flags)
    assert any(f.angle == pytest.approx(np.pi / 2) for _, f in flags)
    assert any(f.angle < 0 for _, f in flags)
    assert any(f.wraps % 0.5 for _, f in flags)
    assert {d.shaft.mandrel for d in designs} == set(library.mandrels)
    assert any(d.bench.tip_mass_offset and d.bench.tip_mass_inertia for d in designs)
    cut = [f for _, f in flags if f.width_tip is not None]
    assert {f.is_pair for f in cut} == {True, False}
    assert any(f.width_tip < f.width_butt for f in cut)
    assert any(f.clock is None for _, f in flags)
    assert any(f.clock for _, f in flags)
    ground = [f for d, f in flags if d.finish.tip_diameter]
    assert any(f.clock for f in ground)
    benches = [d.bench for d in designs]
    criteria = {(b.strength_criterion, b.temperature_drop > 0.0) for b in benches}
    assert len(criteria) == 4
    for drop in (0.0, 60.0):
        assert any(
            d.bench.temperature_drop == drop
            and d.bench.strength_criterion == "quadratic"
            and not any(f.name == "single" for f in d.flags)
            for d in designs
        )
    assert any(f.name == "single" and d.bench.temperature_drop for d, f in flags)
    for name in ("impact_moment", "frequency_clamp_compliance", "torque_clamp_at"):
        assert any(getattr(b, name) for b in benches), name
    values = np.array([report.metrics[0] for _, report in compiled])
    assert (np.nanstd(values, axis=0) > 0.0).all(), "a metric is always the same"
    assert np.isnan(values).any()
    shop = np.array([report.shop[0] for _, report in compiled])
    assert (shop > 0).any(axis=0).all(), "a shop measure is always nothing"


def test_plain_numpy_equals_compiled(compiled, library):
    for design, report in compiled:
        metrics, EI, shop = plain_numpy.evaluate(design, library, stations_of(design))
        found = report.metrics[0, CORE]
        bench = design.bench
        if bench.strength_criterion == "quadratic" or bench.temperature_drop:
            # left to the loops
            at = plain_numpy.KEYS.index("durability")
            assert np.isnan(metrics[at])
            found[at] = np.nan
        np.testing.assert_allclose(found, metrics, rtol=1e-9)
        np.testing.assert_allclose(report.EI[0], EI, rtol=1e-9)
        np.testing.assert_allclose(report.shop[0], shop, rtol=1e-9, atol=1e-13)


def test_loops_equal_compiled(compiled, library):
    # they take long over a design; every other one has all that designs have too
    for design, report in compiled[::2]:
        slow = plain_loops.evaluate(design, library, stations_of(design))
        same(report.metrics[0], [slow["metrics"][key] for key in KEYS])
        np.testing.assert_allclose(report.EI[0], slow["EI_at"], rtol=1e-9)
        shop = [slow["shop"][name] for name in SHOP_MEASURES]
        np.testing.assert_allclose(report.shop[0], shop, rtol=1e-9, atol=1e-13)


def test_unmakeable_designs_are_refused(unmakeable, library):
    for design in unmakeable:
        with pytest.raises(InputError, match=r"tip_diameter|wider than its roll"):
            evaluate(design, library)


@pytest.mark.parametrize("cell", [0.015, 0.060])
def test_loops_equal_the_report_at_other_cells(designs, library, cell):
    for design in designs[::24]:
        slow = plain_loops.evaluate(design, library, cell=cell)["metrics"]
        fast = evaluate(design, library, cell=cell).metrics
        values = [np.nan if fast[key] is None else fast[key] for key in KEYS]
        same(values, [slow[key] for key in KEYS])


def test_loops_equal_the_report(designs, library):
    for design in designs[::4]:
        slow = plain_loops.evaluate(design, library)
        report = evaluate(design, library)
        for name, values in slow["profile"].items():
            fast = getattr(report.profile, name)
            np.testing.assert_allclose(fast, values, rtol=1e-9, atol=1e-13)
        for fast, flag in zip(report.flags, slow["flags"], strict=True):
            for name in ("area_net", "area_gross", "mass", "mass_cut", "cost"):
                value = getattr(fast, name)
                assert value == pytest.approx(flag[name], rel=1e-9), name
            assert fast.cut_length == pytest.approx(flag["cut_length"], rel=1e-12)
            assert (fast.pieces, fast.splices) == (flag["pieces"], flag["splices"])
            # the report keeps only the corners of a piece; between them it is straight
            width = np.array(flag["cut_width"])
            station = np.array(flag["cut_station"])
            for x, w in zip(fast.cut_station, fast.cut_width, strict=True):
                at = np.abs(station - x) < 1e-12
                assert np.abs(width[at] - w).min() < 1e-9 * w + 1e-13
            jump = np.concatenate([[False], np.diff(station) < 1e-9])
            smooth = ~jump & ~np.concatenate([jump[1:], [False]])
            along = np.interp(station[smooth], fast.cut_station, fast.cut_width)
            assert np.abs(along - width[smooth]).max() < WIDTH_ROUNDING
        for point in report.strength:
            slow_point = {**slow["strength"], "envelope": slow["envelope"]}[point.name]
            if slow_point["station"] is None:
                assert (point.station, point.margin, point.flag) == (None, None, None)
                continue
            assert point.station == pytest.approx(slow_point["station"], abs=1e-9)
            for name in ("margin", "cracking_margin"):
                value = 1.0 + getattr(point, name)
                assert value == pytest.approx(1.0 + slow_point[name], rel=1e-9), name
            # all straight flags share one hoop strain: which of them cracks is a tie
            for name in ("flag", "mode", "cracking_mode"):
                assert getattr(point, name) == slow_point[name], name


def test_what_is_not_wanted_may_be_missing(designs, library):
    """All that is given is the same as if everything were wanted."""
    optional = (
        "cantilever_deflection",
        "torsion_strength",
        "torsion_product",
        "flattening",
        "crush_load",
        "direction_spread",
    )
    for design in designs[::12]:
        every = conditions_of(design, library, EI_STATIONS)
        layups = layups_of([design], every)
        whole = evaluate_batch(layups, every).metrics[0]
        for wanted in ((), *((key,) for key in optional)):
            some = replace(every, wanted=frozenset(wanted))
            found = evaluate_batch(layups, some).metrics[0]
            given = ~np.isnan(found)
            np.testing.assert_array_equal(found[given], whole[given])
            at = [
                i for i, key in enumerate(KEYS) if key not in optional or key in wanted
            ]
            np.testing.assert_array_equal(given[at], ~np.isnan(whole[at]))


@pytest.mark.parametrize("is_ground", [False, True])
def test_a_batch_equals_its_designs_one_by_one(library, is_ground):
    """Nothing is left over in the arrays from the design before."""
    designs = random_designs(40, 5, library)
    first = next(d for d in designs if bool(d.finish.tip_diameter) == is_ground)
    shared = [
        replace(
            d,
            finish=first.finish,
            bench=first.bench,
            costs=first.costs,
            shaft=replace(
                d.shaft,
                trim_tip=first.shaft.trim_tip,
                trim_butt=first.shaft.trim_butt,
                mandrel_set=first.shaft.trim_tip + 0.01,
            ),
        )
        for d in designs
    ]
    coupled = [any(f.name == "single" for f in d.flags) for d in shared]
    assert any(a and not b for a, b in pairwise(coupled))
    conditions = Conditions.for_designs(library, shared, ei_stations=EI_STATIONS)
    batch = evaluate_batch(layups_of(shared, conditions), conditions)
    for i, design in enumerate(shared):
        alone = batch_of_one(design, library, EI_STATIONS)
        np.testing.assert_allclose(batch.metrics[i], alone.metrics[0], rtol=1e-12)
        np.testing.assert_allclose(batch.EI[i], alone.EI[0], rtol=1e-12)
        np.testing.assert_allclose(batch.shop[i], alone.shop[0], rtol=1e-12, atol=1e-15)
