"""Three versions of the same formulas agree: loops, plain numpy, compiled."""

from dataclasses import replace

import numpy as np
import pytest

from model import (
    METRICS,
    SHOP_MEASURES,
    Conditions,
    Sheet,
    evaluate,
    evaluate_batch,
    layups_of,
)
from tests.reference import plain_loops, plain_numpy
from tests.reference.designs import EI_STATIONS, random_designs

KEYS = [metric.key for metric in METRICS]
N = 240


def conditions_of(design, library):
    sheets = dict.fromkeys(Sheet(f.material, f.angle, f.is_pair) for f in design.flags)
    return Conditions.of(
        library,
        sheets=tuple(sheets),
        mandrels=[design.shaft.mandrel],
        finish=design.finish,
        bench=design.bench,
        cutting=design.cutting,
        trim_tip=design.shaft.trim_tip,
        trim_butt=design.shaft.trim_butt,
        ei_stations=EI_STATIONS,
    )


@pytest.fixture(scope="module")
def designs(library):
    return random_designs(N, 20, library)


@pytest.fixture(scope="module")
def compiled(designs, library):
    found = []
    for design in designs:
        conditions = conditions_of(design, library)
        found.append(evaluate_batch(layups_of([design], conditions), conditions))
    return found


def test_designs_have_every_feature(designs):
    assert any(d.finish.tip_diameter and d.finish.tip_blend for d in designs)
    assert any(d.finish.tip_diameter and not d.finish.tip_blend for d in designs)
    assert any(f.run_out_butt for d in designs for f in d.flags)
    assert any(d.shaft.trim_tip for d in designs)
    assert any(d.bench.tip_mass_offset for d in designs)
    assert any(f.name == "single" for d in designs for f in d.flags)


def test_plain_numpy_equals_compiled(designs, compiled, library):
    for design, report in zip(designs, compiled, strict=True):
        metrics, EI, shop = plain_numpy.evaluate(design, library, EI_STATIONS)
        np.testing.assert_allclose(report.metrics[0], metrics, rtol=1e-9)
        np.testing.assert_allclose(report.EI[0], EI, rtol=1e-9)
        np.testing.assert_allclose(report.shop[0], shop, rtol=1e-9, atol=1e-13)


def test_loops_equal_compiled(designs, compiled, library):
    for design, report in zip(designs, compiled, strict=True):
        slow = plain_loops.evaluate(design, library, EI_STATIONS)
        metrics = [slow["metrics"][key] for key in KEYS]
        np.testing.assert_allclose(report.metrics[0], metrics, rtol=1e-9)
        np.testing.assert_allclose(report.EI[0], slow["EI_at"], rtol=1e-9)
        shop = [slow["shop"][name] for name in SHOP_MEASURES]
        np.testing.assert_allclose(report.shop[0], shop, rtol=1e-9, atol=1e-13)


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
            # the report keeps only the corners of a piece; between them it is straight
            width = np.array(flag["cut_width"])
            station = np.array(flag["cut_station"])
            jump = np.concatenate([[False], np.diff(station) < 1e-9])
            smooth = ~jump & ~np.concatenate([jump[1:], [False]])
            along = np.interp(station[smooth], fast.cut_station, fast.cut_width)
            assert np.abs(along - width[smooth]).max() < 5e-5
        for point in report.strength:
            worst = slow["envelope"] if point.name == "envelope" else None
            worst = worst or slow["strength"][point.name]
            assert point.margin == pytest.approx(worst["margin"], rel=1e-9)
            assert point.cracking_margin == pytest.approx(
                worst["cracking_margin"], rel=1e-9
            )
            assert point.mode == worst["mode"]


def test_a_batch_equals_its_designs_one_by_one(library):
    designs = random_designs(30, 5, library, plain=True)
    first = designs[0]
    shared = [
        replace(
            d,
            finish=first.finish,
            shaft=replace(
                d.shaft,
                trim_tip=first.shaft.trim_tip,
                trim_butt=first.shaft.trim_butt,
                mandrel_set=first.shaft.trim_tip + 0.01,
            ),
        )
        for d in designs
    ]
    shared = [replace(d, finish=replace(d.finish, tip_diameter=None)) for d in shared]
    sheets = dict.fromkeys(
        Sheet(f.material, f.angle, f.is_pair) for d in shared for f in d.flags
    )
    conditions = replace(
        conditions_of(shared[0], library),
        mandrels=tuple(library.mandrels.values()),
    )
    conditions = Conditions.of(
        library,
        sheets=tuple(sheets),
        mandrels=list(library.mandrels),
        finish=shared[0].finish,
        bench=conditions.bench,
        cutting=conditions.cutting,
        trim_tip=conditions.trim_tip,
        trim_butt=conditions.trim_butt,
    )
    batch = evaluate_batch(layups_of(shared, conditions), conditions)
    for design, row in zip(shared, batch.metrics, strict=True):
        alone = evaluate(design, library).metrics
        values = [np.nan if alone[k] is None else alone[k] for k in KEYS]
        np.testing.assert_allclose(row, values, rtol=1e-12)
