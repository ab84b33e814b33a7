"""Tables of the layup sheet: what they hold is what was computed."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model import Report
from optimiser.setup_words import bench_setup
from optimiser.sheet_csv import csv_tables
from optimiser.sheet_tables import (
    check_diameters,
    cut_points,
)
from optimiser.spec import Spec
from optimiser.words import edge_text, mm
from tests.unit.shown_shafts import (
    LENGTH,
    the_library,
    usual_design,
)

HALF_SHOWN = 0.05 + 1e-9  # half of the last digit of a length [mm]


@given(st.floats(-0.05, 2.0))
def test_rounding_moves_no_length_by_more_than_half_a_tenth(length: float) -> None:
    assert abs(float(mm(length)) - length * 1e3) <= HALF_SHOWN


def test_csv_lengths_are_within_half_a_tenth(report: Report) -> None:
    tables = csv_tables(report)
    flags = tables["flags.csv"]
    for column, values in {
        "start_mm": [flag.start for flag in report.flags],
        "end_mm": [flag.end for flag in report.flags],
        "cut_length_mm": [flag.cut_length for flag in report.flags],
        "mandrel_start_mm": [0.070 + flag.cut_station[0] for flag in report.flags],
        "mandrel_end_mm": [0.070 + flag.cut_station[-1] for flag in report.flags],
        "width_tip_end_mm": [flag.cut_width[0] for flag in report.flags],
        "width_butt_end_mm": [flag.cut_width[-1] for flag in report.flags],
    }.items():
        np.testing.assert_allclose(
            flags[column], np.array(values) * 1e3, rtol=0, atol=HALF_SHOWN
        )
    widths = tables["cut_widths.csv"]
    for order, flag in enumerate(report.flags, start=1):
        rows = widths[widths["order"] == order]
        points = cut_points(flag)
        for column, values in {
            "station_mm": [point.station for point in points],
            "along_piece_mm": [point.along for point in points],
            "width_mm": [point.width for point in points],
        }.items():
            np.testing.assert_allclose(
                rows[column], np.array(values) * 1e3, rtol=0, atol=HALF_SHOWN
            )


def test_csv_totals_are_the_reports(report: Report) -> None:
    tables = csv_tables(report)
    for name in ("flags.csv", "materials.csv"):
        table = tables[name]
        n = len(table)
        assert table["cost"].sum() == pytest.approx(
            report.metrics["material_cost"], abs=n * 0.5e-4
        )
        for column, total, digit in (
            ("area_net_m2", sum(f.area_net for f in report.flags), 1e-6),
            ("area_gross_m2", sum(f.area_gross for f in report.flags), 1e-6),
            ("mass_cut_g", sum(f.mass_cut for f in report.flags) * 1e3, 1e-4),
            ("mass_g", sum(f.mass for f in report.flags) * 1e3, 1e-4),
        ):
            assert table[column].sum() == pytest.approx(total, abs=n * 0.5 * digit)
        assert table["pieces"].sum() == sum(f.pieces for f in report.flags)


def test_flags_and_paint_weigh_what_the_shaft_weighs(report: Report) -> None:
    # the finish adds paint to what the flags leave: 60 g/m² outside the tip parallel
    profile = report.profile
    outside = profile.station >= 0.076
    skin = np.trapezoid(
        math.pi * profile.outer_diameter[outside], profile.station[outside]
    )
    flags = csv_tables(report)["flags.csv"]["mass_g"].sum()
    weight = report.metrics["weight"]
    assert weight is not None
    assert flags + 60.0 * skin == pytest.approx(weight * 1e3, abs=0.02)


def test_width_of_the_innermost_flag(report: Report) -> None:
    # common practice: a flag of n turns on a bare mandrel of diameter d is
    # n pi (d + n t) wide, a piece of a pair n pi (d + 2 n t)
    library = the_library()
    mandrel = library.mandrels["slim-5"]
    thickness = library.prepregs["high-85"].cured(0.01).thickness
    rows = csv_tables(report)["cut_widths.csv"]
    rows = rows[rows["flag"] == "torque pair"]
    diameter = np.interp(
        rows["station_mm"] * 1e-3 + 0.070, mandrel.distance, mandrel.diameter
    )
    width = 2.5 * math.pi * (diameter + 2 * 2.5 * thickness)
    np.testing.assert_allclose(rows["width_mm"], width * 1e3, rtol=0, atol=HALF_SHOWN)


def test_cut_points_describe_the_whole_edge(report: Report) -> None:
    for flag in report.flags:
        points = cut_points(flag)
        assert points[0].along == 0.0
        assert points[-1].along == pytest.approx(flag.cut_length)
        x = np.array([point.station for point in points])
        step = np.diff(x) == 0.0
        x[1:][step] += 1e-9  # both sides of a step
        edge = np.interp(flag.cut_station, x, [point.width for point in points])
        stands_twice = np.isin(
            flag.cut_station, flag.cut_station[1:][np.diff(flag.cut_station) == 0.0]
        )
        off = np.abs(edge - flag.cut_width)[~stands_twice]
        assert off.max(initial=0.0) <= 2.1e-5


def test_points_on_a_straight_edge_are_left_out(report: Report) -> None:
    flag = dataclasses.replace(
        report.flags[0],
        cut_station=np.array([0.0, 0.1, 0.2, 0.3, 0.3, 0.4]),
        cut_width=np.array([0.010, 0.011, 0.012, 0.013, 0.015, 0.015]),
    )
    assert [(p.station, p.width) for p in cut_points(flag)] == [
        (0.0, 0.010),
        (0.3, 0.013),
        (0.3, 0.015),
        (0.4, 0.015),
    ]


def test_inspector_measures_clear_of_steps(report: Report) -> None:
    # the butt hoop starts, without a run-out, at exactly 500 mm
    rows = check_diameters(report)
    stations = [row.station for row in rows]
    assert stations[0] == 0.0
    assert stations[-1] == LENGTH
    assert 0.500 not in stations
    assert 0.505 in stations
    assert 0.071 in stations  # in the tip parallel, 5 mm before it ends
    assert {0.1, 0.2, 0.3, 0.4, 0.6, 0.7, 0.8, 0.9, 1.0} <= set(stations)
    mandrel = the_library().mandrels["slim-5"]
    for row in rows:
        assert row.on_mandrel == pytest.approx(0.070 + row.station)
        bore = np.interp(row.on_mandrel, mandrel.distance, mandrel.diameter)
        assert row.bore == pytest.approx(float(bore), abs=1e-9)
    ground = {row.station: row.ground for row in rows}
    assert ground[0.0] == pytest.approx(0.0085)
    assert ground[0.071] == pytest.approx(0.0085)
    by_station = {row.station: row for row in rows}
    for station in (0.4, 0.7, LENGTH):  # grinding takes 0.05 mm of radius
        row = by_station[station]
        assert row.build - row.ground == pytest.approx(1e-4, abs=1e-9)
    assert ground[LENGTH] == pytest.approx(report.metrics["butt_diameter"])


def test_bench_table_has_the_bands_of_the_spec(report: Report, spec: Spec) -> None:
    table = csv_tables(report, spec)["bench.csv"].set_index("quantity")
    assert table.loc["frequency_cpm", ["accept_from", "accept_to"]].tolist() == [
        240,
        260,
    ]
    assert np.isnan(table.loc["torque_deg", "accept_from"])
    assert table.loc["torque_deg", "accept_to"] == pytest.approx(6.4)
    assert table.loc["ei_at_200.0_mm_n_m2", "accept_to"] == 28.0
    assert np.isnan(table.loc["balance_point_mm", "accept_from"])


def test_set_ups_follow_the_design() -> None:
    design = usual_design()
    bench = dataclasses.replace(
        design.bench,
        frequency_clamp=0.178,
        tip_mass=0.260,
        tip_mass_offset=0.030,
        tip_mass_inertia=2e-4,
        tip_load=2.0 * 9.80665,
    )
    design = dataclasses.replace(design, bench=bench)
    assert bench_setup(design, "frequency") == (
        "last 178.0 mm of the butt clamped, 260 g at the tip, its centre 30.0 mm "
        "beyond the tip, inertia 2 kg cm²"
    )
    assert "2 kgf at 932.0 mm from the tip" in bench_setup(design, "tip_deflection")


def test_edges_of_bands_keep_their_digits() -> None:
    # shown to 0.1 g, an edge of 57.25 g would let 57.2 g through
    assert edge_text(57.25, 1) == "57.25"
    assert edge_text(4.0, 2) == "4.00"
