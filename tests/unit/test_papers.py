"""Sheets in both units and on both papers, and reading them back from an archive."""

import dataclasses
import datetime
import io
import json
import math
import shutil
import tomllib
from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from model import Report, read_library
from optimiser.cli import main
from optimiser.inputs import evaluate_file, load_spec
from optimiser.sheet import Papers, write_parts
from optimiser.sheet_blocks import PAPERS
from optimiser.sheet_pdf import sheet_pdf
from optimiser.sheet_record import MADE_FROM, with_library
from optimiser.sheet_tables import bench_rows, check_diameters, cut_points
from optimiser.shop_units import SHOP_UNITS, SI, TRADE, ShopUnits, inward
from optimiser.words import CAUTIONS
from tests.unit.shown_shafts import (
    a_report,
    a_spec,
    long_design,
    the_library,
    usual_design,
)

DATE = datetime.date(2025, 3, 14)
ALLOWED = 1e-4  # no dimension moves by more [m]
INCH = 0.0254
DESIGN = "scenarios/designs/fairway-60.toml"


@pytest.fixture(scope="module")
def report() -> Report:
    return a_report()


@pytest.fixture(scope="module")
def spec(tmp_path_factory):
    return a_spec(tmp_path_factory.mktemp("spec"))


def words_of(content: bytes) -> str:
    reader = PdfReader(io.BytesIO(content))
    return " ".join(" ".join(p.extract_text() for p in reader.pages).split())


@pytest.fixture(scope="module")
def trade_sheet(report, spec) -> bytes:
    return sheet_pdf(
        report,
        spec=spec,
        date=DATE,
        mandrel=the_library().mandrels["slim-5"],
        revision="C, after the first cure",
        paper="letter",
        units=TRADE,
    )


@pytest.fixture(scope="module")
def long_sheet(spec) -> bytes:
    design = long_design()
    report = a_report(design)
    spec = dataclasses.replace(spec, name="a spec with quite a long name of its own")
    return sheet_pdf(
        report,
        spec=spec,
        date=DATE,
        mandrel=the_library().mandrels[design.shaft.mandrel],
        revision="the seventh, with a longer remark",
        paper="letter",
        units=TRADE,
    )


# -- units ----------------------------------------------------------------------------


@pytest.mark.parametrize("name", list(SHOP_UNITS))
@given(length=st.floats(-0.05, 2.0))
def test_no_length_moves_by_more_than_a_tenth_of_a_millimetre(name, length):
    units = SHOP_UNITS[name]
    for measure in (units.length, units.diameter, units.depth):
        metres = {"mm": 1e-3, "in": INCH}[measure.unit]
        assert abs(float(measure.text(length)) * metres - length) <= ALLOWED
        assert abs(measure.shown(length) * metres - length) <= ALLOWED


def test_units_are_what_a_general_library_says():
    # pint, its definitions of international units
    registry = pint.UnitRegistry()
    for units, names in (
        (SI, ("mm", "m**2", "g", "N*m", "kgf", "N*m**2")),
        (TRADE, ("inch", "foot**2", "g", "lbf*foot", "lbf", "lbf*inch**2")),
    ):
        measures = (
            units.length,
            units.area,
            units.mass,
            units.moment,
            units.force,
            units.stiffness,
        )
        for measure, name in zip(measures, names, strict=True):
            one = registry.Quantity(1.0, name).to_base_units()
            base = one.magnitude / (1e-3 if name == "g" and one.units == "gram" else 1)
            assert measure.per_si * base == pytest.approx(1.0, rel=1e-12)
    assert TRADE.diameter.per_si == TRADE.length.per_si
    assert TRADE.taper.per_si == pytest.approx(12.0)  # in per in, over a foot


@given(st.floats(0.1, 50.0), st.floats(0.0, 5.0), st.sampled_from([0, 1, 3, 4]))
def test_a_rounded_band_lets_nothing_through_that_the_band_keeps_out(
    middle, half, decimals
):
    low, high = inward(middle - half, middle + half, decimals)
    assert low <= high
    assert low >= middle - half - 1e-5
    assert high <= middle + half + 1e-5
    if half > 10.0**-decimals:
        assert low - (middle - half) <= 10.0**-decimals
        assert round(low, decimals) == low


def test_an_open_side_stays_open():
    assert inward(-math.inf, 4.6004, 2) == (-math.inf, 4.6)
    assert inward(1.0, math.inf, 0) == (1.0, math.inf)


# -- the sheet in trade units ---------------------------------------------------------


def test_flags_in_inches_are_where_they_are(report, trade_sheet):
    page = PdfReader(io.BytesIO(trade_sheet)).pages[0]
    lines = page.extract_text(extraction_mode="layout").splitlines()
    mandrel_set = report.design.shaft.mandrel_set
    for order, flag in enumerate(report.flags, start=1):
        begin = f"{order} {flag.name} {flag.material}".split()
        # the map below begins its lines alike
        line = next(
            found for line in lines if (found := line.split())[: len(begin)] == begin
        )
        angle, start, end, on_start, on_end = line[len(begin) : len(begin) + 5]
        for shown, value in (
            (start, flag.start),
            (end, flag.end),
            (on_start, mandrel_set + flag.cut_station[0]),
            (on_end, mandrel_set + flag.cut_station[-1]),
        ):
            assert len(shown.partition(".")[2]) == 3
            assert abs(float(shown) * INCH - value) <= ALLOWED
        assert angle.lstrip("±") == f"{math.degrees(flag.angle):.0f}"
        assert float(line[-2]) == pytest.approx(flag.area_gross / 0.3048**2, abs=6e-4)
        assert line[-1] == f"{flag.mass_cut * 1e3:.2f}"


def test_every_cut_width_is_printed_in_inches(report, trade_sheet):
    printed = words_of(trade_sheet).split()
    for flag in report.flags:
        for point in cut_points(flag):
            assert f"{point.width / INCH:.3f}" in printed
            assert f"{point.along / INCH:.3f}" in printed


def test_inspector_finds_round_inches(report):
    rows = check_diameters(report, TRADE)
    inches = [row.station / INCH for row in rows]
    assert {4.0, 8.0, 12.0, 16.0, 24.0, 28.0, 32.0, 36.0, 40.0} <= {
        round(inch, 4) for inch in inches
    }


def test_bench_values_in_trade_units(report, spec):
    ours = {row.label: row for row in bench_rows(report, spec)}
    rows = {row.label: row for row in bench_rows(report, spec, TRADE)}
    for label, row in ours.items():
        if label.startswith("EI"):
            continue
        theirs = rows[label]
        scale = INCH * 1e3 if row.unit == "mm" else 1.0
        assert theirs.unit == ("in" if row.unit == "mm" else row.unit)
        assert theirs.predicted * scale == pytest.approx(row.predicted, rel=1e-12)
    # 26 +- 2 N m² is 9059.7 +- 696.9 lbf in²; pint
    point = rows["EI at 7.874 in"]
    assert (point.low, point.high) == (8363.0, 9756.0)
    assert point.quantity == "ei_at_7.874_in_lbf_in2"
    assert "1 lbf ft" in rows["Torque"].setup
    assert "2.866 lbf at 36.693 in" in rows["Tip deflection"].setup


def test_title_block_in_trade_units(report, trade_sheet):
    words = words_of(trade_sheet)
    for said in (
        f"Design {report.design_id}",
        "fairway trial spec",
        "2025-03-14",
        "C, after the first cure",
        "slim-5",
        "42.008 in",  # 1067 mm
        "42.992 in",  # 10 + 1067 + 15
        "tip 0.394 in, butt 0.591 in",
        "Ø 0.3346 over 2.992 in, blend 1.969 in",
        "0.0020 in",  # ground off, 0.05 mm
        "lengths in inches",
    ):
        assert said in words
    assert " mm" not in words
    assert "revision C, after the first cure" in words  # on the second page too


def test_there_is_room_for_initials_and_measured_values(trade_sheet):
    words = words_of(trade_sheet)
    assert words.count("Initials") >= 2  # of each flag, of each bench value
    assert words.count("Measured") >= 3
    for said in ("Cut by", "Rolled by", "Inspected by", "gives no cure cycle"):
        assert said in words
    for caution in CAUTIONS:
        assert caution in words


# -- pages and letters ----------------------------------------------------------------


def test_fourteen_flags_take_two_pages_of_letter_paper(long_sheet):
    pages = PdfReader(io.BytesIO(long_sheet)).pages
    assert len(pages) == 2
    for page in pages:
        assert (page.mediabox.width, page.mediabox.height) == PAPERS["letter"]
    words = words_of(long_sheet)
    report = a_report(long_design())
    for order, flag in enumerate(report.flags, start=1):
        assert f"{flag.cut_length / INCH:.3f}" in words
        if flag.pieces > 1:
            assert f"{order} ({flag.pieces} pieces)" in words
        for point in cut_points(flag):
            assert f"{point.width / INCH:.3f}" in words


def test_all_letters_are_embedded(trade_sheet, long_sheet):
    for content in (trade_sheet, long_sheet):
        for page in PdfReader(io.BytesIO(content)).pages:
            fonts = page["/Resources"]["/Font"]
            assert len(fonts) >= 2
            for font in fonts.values():
                described = font.get_object()["/FontDescriptor"]
                assert "/FontFile2" in described
                assert "DejaVu" in font.get_object()["/BaseFont"]


def test_the_same_revision_and_date_give_the_same_bytes(report, spec, trade_sheet):
    again = sheet_pdf(
        report,
        spec=spec,
        date=DATE,
        mandrel=the_library().mandrels["slim-5"],
        revision="C, after the first cure",
        paper="letter",
        units=TRADE,
    )
    assert again == trade_sheet


# -- reading back ---------------------------------------------------------------------


def dear_library(folder: Path) -> Path:
    """A shop of its own, whose standard prepreg is dearer than the packaged one."""
    for name, text in read_library().files.items():
        if name == "prepregs.csv":
            head, *rows = text.splitlines()
            price = head.split(",").index("price_per_m2")
            cells = [row.split(",") for row in rows]
            for row in cells:
                row[price] = str(float(row[price]) + 1.25)
            text = "\n".join([head, *(",".join(row) for row in cells)]) + "\n"
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def test_an_archived_sheet_evaluates_again_to_the_last_digit(tmp_path):
    shop = tmp_path / "shop"
    shop.mkdir()
    library = read_library(dear_library(shop))
    text = Path(DESIGN).read_text(encoding="utf-8")
    (tmp_path / "d.toml").write_text(f'library = "shop"\n{text}', encoding="utf-8")
    asked = 'library = "shop"   # ours\n' + Path(
        "scenarios/fairway_58/spec.toml"
    ).read_text(encoding="utf-8")
    (tmp_path / "s.toml").write_text(asked, encoding="utf-8")
    first, used = evaluate_file(tmp_path / "d.toml", None)
    held, _ = load_spec(tmp_path / "s.toml", None)
    written = tmp_path / "sheet"
    write_parts(
        first,
        used,
        written,
        parts=["sheet"],
        spec=held,
        papers=Papers(revision="D", date=DATE, units=TRADE),
    )
    archive = tmp_path / "far" / "away"
    shutil.copytree(written, archive)
    shutil.rmtree(shop)
    shutil.rmtree(written)
    again, library_again = evaluate_file(archive / MADE_FROM / "design.toml", None)
    assert again.design_id == first.design_id
    assert again.metrics == first.metrics  # to the bit
    assert again.to_json()["flags"] == first.to_json()["flags"]
    assert library_again.prepregs == library.prepregs
    record = json.loads((archive / MADE_FROM / "record.json").read_text("utf-8"))
    assert record["metrics"] == again.to_json()["metrics"]
    assert (record["id"], record["revision"]) == (first.design_id, "D")
    read, _ = load_spec(archive / MADE_FROM / "spec.toml", None)
    assert read.targets == held.targets
    assert read.places == held.places


def test_a_sheet_without_a_spec_keeps_none_of_an_earlier_one(report, spec, tmp_path):
    library = the_library()
    for held, there in ((spec, True), (None, False)):
        write_parts(report, library, tmp_path, parts=[], spec=held)
        assert (tmp_path / MADE_FROM / "spec.toml").exists() is there


@pytest.mark.parametrize(
    "text",
    [
        'format = 1\nname = "x"\n[shaft]\nlength = "1 m"\n',
        'format = 1\nlibrary = "../other"  # ours\nname = "x"\n[shaft]\nl = 2\n',
        'name = """\nlibrary = "no"\n"""\nlibrary = "../other"\n',
        '"library" = "a"\nname = "library = 3"\n[t]\nlibrary = "deep"\n',
        '# library = "old"\nname = "x"\n[t]\n  library = "deep"\n',
    ],
)
def test_only_the_library_of_a_file_changes(text):
    before, after = tomllib.loads(text), tomllib.loads(with_library(text, "library"))
    assert after == {**before, "library": "library"}


# -- command --------------------------------------------------------------------------


def test_the_command_makes_a_sheet_out(tmp_path, capsys):
    out = tmp_path / "s"
    words = ["sheet", DESIGN, "--part", "sheet", "--units", "trade", "--paper"]
    words += ["letter", "--revision", "B  2", "--out", str(out), "--json"]
    words += ["--spec", "scenarios/fairway_58/spec.toml"]
    assert main(words) == 0
    files = json.loads(capsys.readouterr().out)["files"]
    assert all(Path(name).exists() for name in files)
    said = words_of((out / "layup_sheet.pdf").read_bytes())
    assert "B 2" in said
    assert "fairway 58" in said
    assert "lengths in inches" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--units", "imperial"], "imperial"),
        (["--paper", "a3"], "a3"),
        (["--spec", "nowhere.toml"], "nowhere.toml"),
    ],
)
def test_wrong_words_are_refused(words, said, tmp_path, capsys):
    out = tmp_path / "s"
    assert main(["sheet", DESIGN, *words, "--out", str(out)]) == 2
    captured = capsys.readouterr()
    assert said in captured.err
    assert captured.out == ""
    assert not out.exists()


def test_both_units_are_known_by_their_names():
    assert set(SHOP_UNITS) == {"si", "trade"}
    assert all(isinstance(units, ShopUnits) for units in SHOP_UNITS.values())
    assert usual_design().shaft.length == 1.067
