"""Tables, pictures and renderings for a notebook, and the worked example."""

import importlib.util
from xml.etree import ElementTree

import pytest

from model import InputError, read_design
from optimiser.explain_text import share_headings
from optimiser.notebook import (
    figure,
    front_of,
    open_shaft,
    plot_along,
    plot_flag_map,
    plot_moves,
    plot_profiles,
    plot_shares,
    show,
)
from tests.conftest import SCENARIOS
from tests.unit.shown_shafts import a_spec, long_design, the_library, usual_design

pytestmark = pytest.mark.usefixtures("brisk")

DESIGN = SCENARIOS / "designs" / "fairway-60.toml"


@pytest.fixture(scope="module")
def shaft(tmp_path_factory):
    spec = a_spec(tmp_path_factory.mktemp("spec"))
    return show(usual_design(), the_library(), spec=spec)


def test_a_design_is_tables(shaft):
    flags, metrics = shaft.flags, shaft.metrics
    assert list(flags.index) == list(range(1, 9))
    assert flags.at[2, "end_mm"] == pytest.approx(300.0)
    assert flags["mass_g"].sum() < metrics.at["weight_g", "value"]
    assert metrics.at["frequency_cpm", "low"] == pytest.approx(240.0)
    assert set(shaft.profile.columns) >= {"station_mm", "ei_n_m2", "margin"}
    assert any("weight" in line for line in shaft.misses) == (
        metrics.at["weight_g", "state"] != "in"
    )


@pytest.mark.parametrize("design", [usual_design(), long_design()])
def test_a_design_renders(design, library):
    html = show(design, library)._repr_html_()
    drawing = html[html.index("<svg") : html.index("</svg>") + 6]
    root = ElementTree.fromstring(drawing)
    polygons = root.findall("{http://www.w3.org/2000/svg}polygon")
    assert len(polygons) == len(design.flags)
    width = float(root.get("width"))
    for polygon in polygons:
        for corner in polygon.get("points").split():
            assert 0.0 <= float(corner.split(",")[0]) <= width
    assert "no substitute" in html


def test_names_are_no_markup(library):
    html = show(usual_design("<script>alert(1)</script>"), library)._repr_html_()
    assert "<script" not in html


def test_a_change_leaves_the_first_as_it_is(shaft, tmp_path):
    before = shaft.metrics["value"].copy()
    changed = shaft.changed("body: wraps += 0.5", remove=["butt hoop"])
    assert len(changed.flags) == 7
    assert changed.metrics.at["weight_g", "value"] > 0.0
    assert (shaft.metrics["value"].dropna() == before.dropna()).all()
    path = changed.save(tmp_path / "x.toml")
    assert read_design(path).flags == changed.design.flags
    with pytest.raises(InputError, match="there already"):
        shaft.save(path)
    with pytest.raises(InputError, match="Did you mean 'body'"):
        shaft.changed("bodi: wraps = 3")


def test_pictures_are_drawn_on_axes_that_are_given(shaft):
    page = figure(8.0)
    axes = page.subplots(6, 1)
    explanation = shaft.explanation
    assert plot_shares(axes[0], explanation, share_headings(explanation)) is axes[0]
    assert plot_along(axes[1], explanation) is axes[1]
    assert plot_moves(axes[2], explanation, ("weight", "torque")) is axes[2]
    assert plot_flag_map(axes[3], shaft.report, shaft.mandrel) is axes[3]
    assert plot_profiles(axes[4:], [shaft.report])[0] is axes[4]
    # a bar a share above nought, and none that reaches past 100 %
    for bar in axes[0].patches:
        assert bar.get_x() + bar.get_width() <= 100.0 + 1e-6


def test_the_worked_example_runs(tmp_path, capsys):
    path = SCENARIOS / "example_morning.py"
    named = importlib.util.spec_from_file_location("example_morning", path)
    example = importlib.util.module_from_spec(named)
    named.loader.exec_module(example)
    example.main(tmp_path, evaluations=800)
    out = capsys.readouterr().out
    assert "designs, torque from" in out
    assert "Frequency" in out
    for name in ("tradeoff.png", "shares.png", "profiles.png", "half_a_wrap_more.toml"):
        assert (tmp_path / name).stat().st_size > 500
    front = front_of(tmp_path / "run")
    assert (front.index == front["id"]).all()
    shaft = open_shaft(tmp_path / "run", str(front.index[0]))
    assert shaft.metrics.at["weight_g", "value"] == pytest.approx(
        float(front["weight_g"].iloc[0])
    )
    assert "invented" in path.read_text(encoding="utf-8")
