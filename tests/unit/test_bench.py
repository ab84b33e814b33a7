"""The bench command: what it predicts, prints and writes, and how it ends."""

import csv
import json

import numpy as np
import pytest

from model import (
    Machine,
    bench_readings,
    design_from_text,
    evaluate,
    machine_of,
    machine_readings,
    read_design,
    wall_stiffness,
)
from model.laminate import ring_stiffness, tube_section
from optimiser.bench_text import bench_page, page_json, page_text, write_page
from optimiser.cli import main
from tests.conftest import SCENARIOS

DESIGN = SCENARIOS / "designs" / "fairway-60.toml"
MEASURED = "station_mm,ei_n_m2\n130,32\n330,25\n530,26.5\n930,68\n"


@pytest.fixture(scope="module")
def report(library):
    return evaluate(read_design(DESIGN, library), library)


@pytest.fixture(scope="module")
def wall(report):
    return wall_stiffness(report)


@pytest.fixture
def measured(tmp_path):
    path = tmp_path / "measured.csv"
    path.write_text(MEASURED, encoding="utf-8")
    return path


def test_the_wall_at_the_butt(report, wall, library):
    """Rings rolled by hand at the butt, where the ground flags are three (derived)."""
    profile = report.profile
    r = profile.inner_diameter[-1] / 2.0
    Q, r_in, r_out = [], [], []
    for flag in report.design.flags:
        if flag.end < report.design.shaft.length:
            continue
        ply = library.prepregs[flag.material].cured(report.design.finish.resin_bleed)
        plane = ply.E1, ply.E2, ply.G12, ply.nu12
        Q.append(ring_stiffness(*plane, flag.angle, is_pair=flag.is_pair))
        r_in.append([r])
        r += flag.wraps * ply.thickness * (2 if flag.is_pair else 1)
        r_out.append([r])
    finished = profile.outer_diameter[-1] / 2.0
    assert r - finished == pytest.approx(report.design.finish.grind, abs=1e-9)
    r_in, r_out = np.minimum(r_in, finished), np.minimum(r_out, finished)
    # it differs from the ring sums, which take one shear strain for all plies
    section = tube_section(Q, r_in, r_out)
    assert wall.kGA[-1] == pytest.approx(section.kGA[0], rel=0.15)
    assert wall.kGA[-1] != pytest.approx(section.kGA[0], rel=0.01)
    hoop = np.array(Q)[:, 2]

    def bent(about):
        return sum(hoop * ((r_out - about) ** 3 - (r_in - about) ** 3)[:, 0]) / 3.0

    # hoop bending leaves the surface unstretched about which it is softest
    least = min(bent(at) for at in np.linspace(r_in[0, 0], finished, 20_001))
    assert wall.D22[-1] == pytest.approx(least, rel=1e-6)
    assert wall.radius[-1] == pytest.approx((r_in[0, 0] + finished) / 2.0)


def test_drops_stay_behind_the_metrics(report, wall):
    found = bench_readings(report, wall, machine_of(report.design.bench))
    for key, drop in found.drops.items():
        assert drop.linear == report.metrics[key]
        share = drop.linear / drop.reach
        # about 1 % at a tenth and 4 % at a fifth of the reach
        assert 1.0 - drop.large / drop.linear == pytest.approx(share**2, rel=0.3)
    assert found.flex_point_ratio > report.metrics["flex_point_ratio"]


def test_machine_of_a_bench(report):
    assert machine_of(report.design.bench) == Machine()
    assert machine_of(report.design.bench, 0.3) == Machine(span=0.3)


def test_readings_integrate_over_the_span(report, wall):
    """A short span reads the wall at the site; a long one the mean of its span."""
    short = Machine(span=0.02)
    for flattening in (False, True):
        (near,) = machine_readings(
            report, wall, short, stations=(0.53,), flattening=flattening
        )
        bending = near.reading / (1.0 - near.shear_share - near.flattening_share)
        assert bending == pytest.approx(near.EI, rel=1e-3)


# -------------------------------------------------------------------------- command


def test_text_shows_every_test_and_its_set_up(capsys):
    assert main(["bench", str(DESIGN)]) == 0
    out = capsys.readouterr().out
    for words in (
        "Frequency",
        "Torque",
        "40.0 mm of the tip gripped",
        "by large-deflection theory (-3.3 %)",
        "Cantilever deflection",
        "of the butt clamped",
        "EI profile: three-point bending over 200.0 mm, 20 kgf",
        "Shear",
        "proof tests",
    ):
        assert words in out
    assert "Flattening" not in out
    assert "measured" not in out


def test_json_has_units_in_its_keys(measured, tmp_path, capsys):
    out = tmp_path / "out"
    words = ["bench", str(DESIGN), "--json", "--flattening", "--span", "220 mm"]
    assert main([*words, "--measured", str(measured), "--out", str(out)]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["tests"]["frequency"]["frequency_cpm"] == pytest.approx(251.9, abs=0.5)
    tip = data["tests"]["tip_deflection"]
    assert tip["large_deflection_mm"] < tip["tip_deflection_mm"]
    assert tip["reach_mm"] == pytest.approx(780.0)
    assert data["profile"]["span_mm"] == pytest.approx(220.0)
    assert data["profile"]["flattening"] is True
    site = data["profile"]["sites"][0]
    assert site["station_mm"] == 130.0
    assert site["flattening_share_pct"] > 0.0
    assert [row["measured_ei_n_m2"] for row in data["measured"]["sites"]] == [
        32.0,
        25.0,
        26.5,
        68.0,
    ]
    assert data["measured"]["worst_station_mm"] in (130.0, 330.0, 530.0, 930.0)
    assert data["files"] == [str(out / "profile.csv"), str(out / "profile.png")]


def test_files_with_and_without_a_measured_profile(measured, tmp_path, capsys):
    plain, beside = tmp_path / "plain", tmp_path / "beside"
    assert main(["bench", str(DESIGN), "--out", str(plain)]) == 0
    words = ["--measured", str(measured), "--out", str(beside)]
    assert main(["bench", str(DESIGN), *words]) == 0
    out = capsys.readouterr().out
    assert "root mean square" in out
    for folder, columns, n in (
        (plain, "reading_ei_n_m2", 9),
        (beside, "measured_ei_n_m2", 4),
    ):
        with (folder / "profile.csv").open(encoding="utf-8") as stream:
            rows = list(csv.DictReader(stream))
        assert columns in rows[0]
        assert len(rows) == n
        assert (folder / "profile.png").read_bytes().startswith(b"\x89PNG")


def test_a_prediction_measured_differs_nowhere(measured, capsys):
    """A predicted profile handed back as a measured one differs nowhere."""
    assert main(["bench", str(DESIGN), "--json"]) == 0
    sites = json.loads(capsys.readouterr().out)["profile"]["sites"]
    rows = [f"{s['station_mm']},{s['reading_ei_n_m2']}" for s in sites]
    measured.write_text("\n".join(["station_mm,ei_n_m2", *rows]), encoding="utf-8")
    words = ["bench", str(DESIGN), "--json", "--measured", str(measured)]
    assert main(words) == 0
    back = json.loads(capsys.readouterr().out)["measured"]
    assert back["rms_difference_pct"] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--span", "200"], "no unit"),
        (["--span", "3 m"], "between 20 mm and 1000 mm"),
        (["--mesured", "x.csv"], "Did you mean '--measured'?"),
        (["--measured", "none.csv"], "no such file"),
    ],
)
def test_bad_usage_ends_with_2(words, said, capsys):
    assert main(["bench", str(DESIGN), *words]) == 2
    assert said in capsys.readouterr().err


def test_a_span_longer_than_the_shaft_is_said(report, tmp_path):
    page = bench_page(report, span=1.2)
    assert "too short for this machine" in page_text(page)
    assert page_json(page)["profile"]["sites"] == []
    assert all(path.exists() for path in write_page(tmp_path, page))


def test_a_shaft_that_slips_off_its_supports(library):
    """A load that no shaft carries gives a warning and no number."""
    text = DESIGN.read_text(encoding="utf-8") + '[bench]\ntip_load = "2000 N"\n'
    report = evaluate(design_from_text(text, "soft", library), library)
    page = bench_page(report)
    assert "slips off its supports" in page_text(page)
    test = page_json(page)["tests"]["tip_deflection"]
    assert test["large_deflection_mm"] is None
    assert test["slope_at_load_deg"] is None
    assert page_json(page)["tests"]["flex_point_ratio"]["large_deflection_pct"] is None


def test_a_bad_profile_ends_with_2(measured, capsys):
    measured.write_text(MEASURED + "20,30\n", encoding="utf-8")
    assert main(["bench", str(DESIGN), "--measured", str(measured)]) == 2
    assert "does not stand on this shaft" in capsys.readouterr().err
