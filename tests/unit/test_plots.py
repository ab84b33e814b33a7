"""Pictures: what stands where, in which unit, under which name."""

import dataclasses
import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.colors import to_rgb
from matplotlib.container import ErrorbarContainer
from matplotlib.image import imread
from matplotlib.patches import Polygon
from matplotlib.text import Annotation, Text

from model import Report
from optimiser.flagmap import KIND_COLOURS, flag_map, kind_of
from optimiser.plots import (
    figure,
    plot_flag_map,
    plot_history,
    plot_profiles,
    plot_tradeoff,
    save_png,
)
from optimiser.spec import Spec
from tests.unit.shown_shafts import (
    LENGTH,
    a_flag,
    a_report,
    long_design,
    small_front,
    the_library,
    usual_design,
)


@pytest.fixture
def ax() -> Axes:
    return figure(5.0).subplots()


def scatters(ax: Axes) -> list[PathCollection]:
    return [item for item in ax.collections if isinstance(item, PathCollection)]


def test_tradeoff_shows_every_design_in_shown_units(ax: Axes) -> None:
    assert plot_tradeoff(ax, small_front(), currency="USD") is ax
    points = scatters(ax)[0]
    front = small_front()
    np.testing.assert_array_equal(
        points.get_offsets(), front[["material_cost", "torque_deg"]].to_numpy()
    )
    np.testing.assert_array_equal(points.get_array(), front["durability"])
    assert ax.get_xlabel() == "Material cost [USD]"
    assert ax.get_ylabel() == "Torque [deg]"
    sizes = pd.Series(points.get_sizes())
    assert sizes.idxmin() == front["weight_g"].idxmin()


def test_tradeoff_marks_and_names_the_picks(ax: Axes) -> None:
    plot_tradeoff(ax, small_front(), picks={"k": "Best compromise", "c": "Cheapest"})
    rings = scatters(ax)[1]
    np.testing.assert_array_equal(rings.get_offsets(), [[8.0, 5.0], [10.0, 3.5]])
    labels = [item for item in ax.texts if isinstance(item, Annotation)]
    assert {label.get_text(): label.xy for label in labels} == {
        "Cheapest": (8.0, 5.0),
        "Best compromise": (10.0, 3.5),
    }


def test_tradeoff_labels_stay_clear_of_each_other(ax: Axes) -> None:
    # three designs close together at the edge, where labels have least room
    front = small_front().assign(
        material_cost=[16.0, 15.99, 15.98, 8.0, 12.0],
        torque_deg=[3.0, 3.005, 3.01, 5.0, 4.0],
    )
    names = {"c": "Cheapest", "t": "Least torque", "d": "Nearest the middle of bands"}
    plot_tradeoff(ax, front, picks=names)
    page = ax.get_figure(root=True)
    assert page is not None
    page.draw_without_rendering()
    labels = [item for item in ax.texts if isinstance(item, Annotation)]
    for label in labels:
        label.get_window_extent()
    boxes = [Text.get_window_extent(label) for label in labels]
    frame = ax.get_window_extent()
    for i, box in enumerate(boxes):
        assert frame.x0 <= box.x0
        assert box.x1 <= frame.x1
        assert not any(box.overlaps(other) for other in boxes[:i])


def test_tradeoff_leaves_out_what_does_not_fit(ax: Axes) -> None:
    front = small_front()
    front.loc[1, "torque_deg"] = math.nan
    plot_tradeoff(ax, front, picks={"t": "Least torque"})
    assert len(scatters(ax)[0].get_offsets()) == 4
    assert not [item for item in ax.texts if isinstance(item, Annotation)]


@pytest.mark.parametrize("rows", [0, 1])
def test_tradeoff_of_hardly_any_design(ax: Axes, rows: int, tmp_path: Path) -> None:
    plot_tradeoff(ax, small_front().iloc[:rows], picks={"c": "The only one"})
    page = ax.get_figure(root=True)
    assert page is not None
    save_png(page, tmp_path / "a.png")
    said = [text.get_text() for text in ax.texts]
    assert said == (["The only one"] if rows else ["no design to show"])


def test_profiles_show_stiffness_and_the_asked_ei(report: Report, spec: Spec) -> None:
    bending, twisting = figure(7.0).subplots(2, 1)
    plot_profiles([bending, twisting], [report], spec, {report.design_id: "Cheapest"})
    line, twist = bending.lines[0], twisting.lines[0]
    np.testing.assert_allclose(line.get_xdata(), report.profile.station * 1e3)
    np.testing.assert_array_equal(line.get_ydata(), report.profile.EI)
    np.testing.assert_array_equal(twist.get_ydata(), report.profile.GJ)
    assert line.get_label() == f"Cheapest ({report.design_id})"
    assert "N·m²" in bending.get_ylabel()
    (bars,) = (c for c in bending.containers if isinstance(c, ErrorbarContainer))
    (segment,) = bars.lines[2][0].get_segments()
    np.testing.assert_allclose(segment, [[200.0, 24.0], [200.0, 28.0]])


def test_profiles_of_many_designs_differ_in_colour_and_dash(report: Report) -> None:
    axes = figure(7.0).subplots(2, 1)
    plot_profiles(list(axes), [report] * 6)
    looks = {(line.get_color(), line.get_linestyle()) for line in axes[0].lines}
    assert len({colour for colour, _ in looks}) == 6


def test_map_lies_where_the_flags_lie(report: Report) -> None:
    layout = flag_map(report, the_library().mandrels["slim-5"])
    # trims of 10 and 15 mm lengthen flags that reach the ends
    assert (layout.start, layout.end) == pytest.approx((-0.010, LENGTH + 0.015))
    rows = {row.name: row for row in layout.rows}
    assert [row.order for row in layout.rows] == list(range(1, 9))
    expected = {
        "torque pair": [(-0.010, 0), (-0.010, 1), (1.082, 1), (1.082, 0)],
        "tip hoop": [(-0.010, 0), (-0.010, 1), (0.260, 1), (0.300, 0)],
        "butt bias": [(0.620, 0), (0.680, 1), (1.082, 1), (1.082, 0)],
        "butt hoop": [(0.500, 0), (0.500, 1), (1.082, 1), (1.082, 0)],
    }
    for name, corners in expected.items():
        np.testing.assert_allclose(rows[name].outline, corners, atol=1e-9)
    # the mandrel's table less its set
    mandrel = the_library().mandrels["slim-5"]
    inside = [
        (x - 0.070, d)
        for x, d in zip(mandrel.distance, mandrel.diameter, strict=True)
        if -0.010 < x - 0.070 < 1.082
    ]
    assert len(inside) > 1
    np.testing.assert_allclose(layout.breaks, inside)
    assert (layout.tip_parallel, layout.tip_blend) == (0.076, 0.050)


def test_map_draws_each_flag_to_scale(ax: Axes, report: Report) -> None:
    plot_flag_map(ax, report, the_library().mandrels["slim-5"])
    layout = flag_map(report)
    filled = [p for p in ax.patches if isinstance(p, Polygon) and p.get_hatch()]
    assert len(filled) == len(layout.rows)
    for row, patch in zip(layout.rows, filled, strict=True):
        stations = patch.get_xy()[:4, 0]
        np.testing.assert_allclose(stations, [x * 1e3 for x, _ in row.outline])
        assert to_rgb(patch.get_facecolor()[:3]) == to_rgb(KIND_COLOURS[row.kind])
    hatches = {patch.get_hatch() for patch in filled}
    assert len(hatches) == 3  # straight, bias, hoop
    said = " ".join(text.get_text() for text in ax.texts)
    for row in layout.rows:
        assert row.label in said


def test_kinds_are_told_apart_by_lightness() -> None:
    # relative luminance, WCAG 2.1 (W3C, 2018), definition of "relative luminance"
    def luminance(colour: str) -> float:
        parts = [
            c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
            for c in to_rgb(colour)
        ]
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]

    light = sorted(luminance(colour) for colour in KIND_COLOURS.values())
    assert all(b > 1.12 * a for a, b in pairwise(light))


@pytest.mark.parametrize(
    ("angle", "kind"), [(0, "straight"), (30, "bias"), (-45, "bias"), (90, "hoop")]
)
def test_kinds(angle: float, kind: str) -> None:
    assert kind_of(math.radians(angle)) == kind


def test_map_of_long_names_stays_on_the_page(tmp_path: Path) -> None:
    report = a_report(long_design())
    page = figure(1.6 + 0.42 * 14)
    ax = page.subplots()
    plot_flag_map(ax, report)
    page.draw_without_rendering()
    edge = page.bbox
    boxes = [text.get_window_extent() for text in ax.get_yticklabels()]
    for box in [*boxes, *(text.get_window_extent() for text in ax.texts)]:
        assert edge.x0 <= box.x0
        assert box.x1 <= edge.x1 + 1.0
    for upper, lower in pairwise(boxes):
        assert not upper.overlaps(lower)
    assert ax.get_window_extent().width > 0.55 * edge.width
    save_png(page, tmp_path / "map.png")


def test_map_shows_the_sign_of_a_lone_bias_piece(ax: Axes) -> None:
    usual = usual_design()
    flags = [
        dataclasses.replace(usual.flags[0], is_pair=False),
        a_flag("back", "high-85", -45, 0.0, LENGTH, 2.5),
        *usual.flags[1:],
    ]
    plot_flag_map(ax, a_report(dataclasses.replace(usual, flags=tuple(flags))))
    filled = [p for p in ax.patches if isinstance(p, Polygon) and p.get_hatch()]
    assert [patch.get_hatch() for patch in filled[:2]] == ["//", "\\\\"]


def test_history(ax: Axes) -> None:
    history = pd.DataFrame(
        {
            "evaluations": [1, 2, 3],
            "hypervolume": [0.0, 0.2, 0.3],
            "feasible": [0, 7, 9],
        }
    )
    plot_history(ax, history)
    other = next(a for a in ax.figure.axes if a is not ax)
    assert list(ax.lines[0].get_ydata()) == [0.0, 0.2, 0.3]
    assert list(other.lines[0].get_ydata()) == [0, 7, 9]


def test_pictures_are_sharp_at_900_px_and_the_same_each_time(
    report: Report, tmp_path: Path
) -> None:
    for name in ("a.png", "b.png"):
        page = figure(5.0)
        plot_flag_map(page.subplots(), report)
        save_png(page, tmp_path / name)
    assert imread(tmp_path / "a.png").shape[1] >= 2 * 800
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
