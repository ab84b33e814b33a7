"""The layup sheet: what the shop reads is what was computed, to the digits shown."""

import dataclasses
import datetime
import io
import math
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from reportlab.lib.units import mm as MM  # noqa: N812

from model import Report, hung_drops
from optimiser.flagmap import flag_map
from optimiser.sheet import SHEET_NAME, Papers, write_sheet
from optimiser.sheet_csv import csv_tables
from optimiser.sheet_map import FlagMapFlowable
from optimiser.sheet_pdf import sheet_pdf
from optimiser.sheet_tables import (
    bench_rows,
    cut_points,
    material_totals,
)
from optimiser.sheet_type import LEADING, fitted, font_for
from optimiser.spec import Spec
from optimiser.words import CAUTIONS, mm
from tests.unit.shown_shafts import (
    LENGTH,
    a_report,
    long_design,
    the_library,
    usual_design,
)

DATE = datetime.date(2025, 3, 14)


@pytest.fixture(scope="module")
def plain(report: Report) -> bytes:
    """The sheet of a design that no spec is known of."""
    return sheet_pdf(report, date=DATE)


@pytest.fixture(scope="module")
def judged(report: Report, spec: Spec) -> bytes:
    """The sheet of the same beside what is asked."""
    mandrel = the_library().mandrels["slim-5"]
    return sheet_pdf(report, spec=spec, date=DATE, mandrel=mandrel)


@pytest.fixture(scope="module")
def pages(judged: bytes) -> list[str]:
    return read_pages(judged)


def read_pages(content: bytes) -> list[str]:
    """Text of each page, laid out in lines as printed."""
    reader = PdfReader(io.BytesIO(content))
    return [page.extract_text(extraction_mode="layout") for page in reader.pages]


def read_words(content: bytes) -> str:
    """All text with single spaces."""
    reader = PdfReader(io.BytesIO(content))
    return " ".join(" ".join(p.extract_text() for p in reader.pages).split())


def line_with(text: str, *starts: str) -> str:
    """The one line that begins with these words."""
    pattern = r"^\s*" + r"\s+".join(re.escape(word) for word in starts) + r"\s"
    lines = [line for line in text.splitlines() if re.match(pattern, line)]
    assert lines, f"no line begins with {starts}"
    return lines[0]


# -- PDF ----------------------------------------------------------------------


def test_every_flag_stands_in_its_row_with_its_numbers(
    report: Report, pages: list[str]
) -> None:
    mandrel_set = report.design.shaft.mandrel_set
    for order, flag in enumerate(report.flags, start=1):
        angle = f"{math.degrees(flag.angle):.0f}"
        wanted = [
            flag.material,
            f"±{angle}" if flag.is_pair else angle,
            f"{flag.start * 1e3:.1f}",
            f"{flag.end * 1e3:.1f}",
            f"{(mandrel_set + flag.cut_station[0]) * 1e3:.1f}",
            f"{(mandrel_set + flag.cut_station[-1]) * 1e3:.1f}",
            f"{flag.wraps:g}",
            f"{flag.cut_length * 1e3:.1f}",
            str(flag.pieces),
            f"{round(360.0 * (order - 1) / len(report.flags), 1):g}",
            f"{flag.area_net:.4f}",
            f"{flag.area_gross:.4f}",
            f"{flag.mass_cut * 1e3:.2f}",
        ]
        line = line_with(pages[0], str(order), *flag.name.split())
        found = line.split(flag.name, 1)[1].split()
        if "/" in found:  # run-outs, tip / butt
            at = found.index("/")
            del found[at - 1 : at + 2]
        else:
            found.remove("–")
        assert found == wanted


def test_every_flag_has_its_clock_position_stated_or_not() -> None:
    # evenly spread in rolling order where a design states none: what is predicted
    usual = usual_design()
    flags = list(usual.flags)
    flags[1] = dataclasses.replace(flags[1], clock=math.radians(-90.0))
    flags[3] = dataclasses.replace(flags[3], clock=math.radians(33.5))
    report = a_report(dataclasses.replace(usual, flags=tuple(flags)))
    wanted = [360.0 * k / len(flags) for k in range(len(flags))]
    wanted[1], wanted[3] = 270.0, 33.5
    assert list(csv_tables(report)["flags.csv"]["clock_deg"]) == pytest.approx(
        wanted, abs=1e-4
    )
    words = read_words(sheet_pdf(report, date=DATE))
    for flag, clock in zip(report.flags, wanted, strict=True):
        assert f" {round(clock, 1):g} {flag.area_net:.4f}" in words, flag.name
    assert "clock: place of the straight edge" in words


def test_an_overlap_is_said_beside_the_widths_that_leave_it_out(
    report: Report, plain: bytes
) -> None:
    words = read_words(sheet_pdf(report, date=DATE, overlap=1.5e-3))
    assert "pieces are cut 1.5 mm wider than this" in words
    assert "overlap" not in read_words(plain)


def test_gross_areas_name_the_batch_they_are_reckoned_for(
    report: Report, plain: bytes
) -> None:
    batch = report.design.cutting.batch
    words = read_words(plain)
    assert f"of one of {batch} shafts cut together" in words


def test_totals_of_the_flags(report: Report, pages: list[str]) -> None:
    flags = report.flags
    assert line_with(pages[0], "Total").split()[1:] == [
        f"{sum(flag.area_net for flag in flags):.4f}",
        f"{sum(flag.area_gross for flag in flags):.4f}",
        f"{sum(flag.mass_cut for flag in flags) * 1e3:.2f}",
    ]


def test_every_cut_width_is_printed(report: Report, pages: list[str]) -> None:
    printed = " ".join(pages).split()
    for flag in report.flags:
        for point in cut_points(flag):
            for value in (point.station, point.along, point.width):
                assert f"{round(value * 1e3, 1) + 0.0:.1f}" in printed


def test_title_block(report: Report, judged: bytes) -> None:
    words = read_words(judged)
    for said in (
        "fairway trial",
        f"Design {report.design_id}",
        "fairway trial spec",
        "2025-03-14",
        "slim-5",
        "finished tip 70.0 mm",
        "blank's tip end 60.0 mm",
        "1067.0 mm",
        "1092.0 mm",  # 10 + 1067 + 15
        "tip 10.0 mm, butt 15.0 mm",
        "Ø 8.50 over 76.0 mm, blend 50.0 mm",
    ):
        assert said in words


def test_bench_values_bands_and_set_ups(judged: bytes) -> None:
    words = read_words(judged)
    for said in (
        "last 127.0 mm of the butt clamped, 205 g at the tip",
        "couple 1.3558 N m",
        "240.0 to 260.0",
        "55.75 to 58.75",
        "at most 6.40",
        "EI at 200.0 mm",
        "24.00 to 28.00",
        "Measured",
        "Initials",
    ):
        assert said in words


def test_hung_loads_say_what_a_bench_reads(report: Report, pages: list[str]) -> None:
    rows = {row.quantity: row for row in bench_rows(report)}
    drop = hung_drops(report)["butt_deflection"]
    assert drop is not None
    assert drop.large is not None
    row = rows["butt_deflection_mm"]
    assert row.bench_reads == pytest.approx(drop.large * 1e3)
    assert row.predicted is not None
    assert row.bench_reads < row.predicted
    assert rows["torque_deg"].bench_reads is None
    said = " ".join(" ".join(pages).split())
    assert f"butt deflection {drop.large * 1e3:.1f} mm" in said


def test_what_lies_outside_its_band_is_marked(
    report: Report, spec: Spec, judged: bytes
) -> None:
    frequency = next(r for r in bench_rows(report, spec) if "frequency" in r.quantity)
    assert frequency.predicted is not None
    assert frequency.predicted == pytest.approx(report.metrics["frequency"] * 60.0)
    inside = frequency.low <= frequency.predicted <= frequency.high
    words = read_words(judged)
    assert (f"{frequency.predicted:.1f} (out)" in words) is not inside
    narrow = dataclasses.replace(
        report, metrics={**report.metrics, "frequency": 300.0 / 60.0}
    )
    assert "300.0 (out)" in read_words(sheet_pdf(narrow, spec=spec, date=DATE))


def test_cautions_and_places_to_sign(plain: bytes, pages: list[str]) -> None:
    words = read_words(plain)
    for caution in CAUTIONS:
        assert words.count(caution) >= len(pages)
    for said in ("Rolled by", "Inspected by", "initials", "Shaft no."):
        assert said in words


def test_strength_and_materials(report: Report, pages: list[str]) -> None:
    text = "\n".join(pages)
    for point in report.strength:
        if point.margin is not None:
            assert f"{point.margin:.3f}" in line_with(text, point.name)
    for row in material_totals(report):
        assert f"{row.area_gross:.4f}" in text
        assert f"{row.cost:.2f}" in text


def test_usual_shaft_takes_two_pages(pages: list[str]) -> None:
    assert len(pages) == 2
    assert "page 1 of 2" in pages[0]
    assert "page 2 of 2" in pages[1]


def test_fourteen_flags_with_the_longest_names_all_stand_on_the_sheet() -> None:
    report = a_report(long_design())
    content = sheet_pdf(report, date=DATE)
    assert len(read_pages(content)) <= 2
    words = read_words(content)
    for flag in report.flags:
        assert f"{flag.cut_length * 1e3:.1f}" in words
        assert f"{flag.area_gross:.4f}" in words
        for point in cut_points(flag):
            assert mm(point.width) in words


def test_letters_of_other_alphabets_have_a_font() -> None:
    design = usual_design("вал №2 λ=3")
    words = read_words(sheet_pdf(a_report(design), date=DATE))
    assert "вал №2 λ=3" in words
    assert font_for("torque pair ±45°") == "DejaVuSans"
    assert font_for("мандрель") == "DejaVuSans"


def test_markup_in_a_name_is_only_text() -> None:
    design = usual_design("a <b>bold</b> & <i>cheap")
    words = read_words(sheet_pdf(a_report(design), date=DATE))
    assert "a <b>bold</b> & <i>cheap" in words


def test_the_same_design_and_date_give_the_same_bytes(
    report: Report, plain: bytes
) -> None:
    assert sheet_pdf(report, date=DATE) == plain


def test_without_a_spec_nothing_is_accepted_or_refused(plain: bytes) -> None:
    words = read_words(plain)
    assert "(out)" not in words
    assert "at most" not in words


def test_a_test_that_does_not_fit_is_said(report: Report) -> None:
    short = dataclasses.replace(
        report, metrics={**report.metrics, "butt_deflection": None}
    )
    assert "does not fit" in read_words(sheet_pdf(short, date=DATE))
    table = csv_tables(short)["bench.csv"].set_index("quantity")
    assert np.isnan(table.loc["butt_deflection_mm", "predicted"])


def test_map_is_to_the_scale_it_states(report: Report) -> None:
    drawn = FlagMapFlowable(flag_map(report), 275.0 * MM, 7.5)
    on_paper = (drawn.across(LENGTH) - drawn.across(0.0)) / MM
    assert on_paper == pytest.approx(LENGTH * 1e3 / drawn.scale)
    assert drawn.across(drawn.layout.end) <= 275.0 * MM
    assert drawn.scale == 5.0  # 1092 mm in 275 mm less 42 mm for names


@given(
    text=st.text(
        st.characters(codec="cp1252", exclude_categories=("C", "Z")),
        min_size=1,
        max_size=120,
    ),
    width=st.floats(40.0, 200.0),
    lines=st.integers(1, 3),
)
@settings(max_examples=60, deadline=None)
def test_text_fits_its_box(text: str, width: float, lines: int) -> None:
    wide, high = fitted(text, width, 8.0, lines=lines).wrap(width, 1e4)
    assert wide <= width + 1e-6
    assert high <= lines * LEADING * 8.0 + 0.02


# -- files --------------------------------------------------------------------


def test_write_sheet_writes_all_and_leaves_nothing_else(
    report: Report, spec: Spec, tmp_path: Path
) -> None:
    folder = tmp_path / "a" / "b"
    paths = write_sheet(report, folder, spec=spec, papers=Papers(date=DATE))
    assert [path.name for path in paths] == [
        SHEET_NAME,
        "flags.csv",
        "cut_widths.csv",
        "check_diameters.csv",
        "bench.csv",
        "materials.csv",
    ]
    assert sorted(folder.iterdir()) == sorted(paths)
    read = pd.read_csv(folder / "flags.csv")
    assert read["flag"].tolist() == [flag.name for flag in report.flags]
    pd.testing.assert_frame_equal(
        read, csv_tables(report, spec)["flags.csv"], check_dtype=False
    )


def test_a_failed_write_keeps_the_old_file(
    report: Report, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / SHEET_NAME).write_text("old", encoding="utf-8")

    def refuse(self: Path, target: Path) -> Path:
        raise OSError(f"no room for {self.name} as {target.name}")

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OSError, match="no room"):
        write_sheet(report, tmp_path, papers=Papers(date=DATE))
    assert [path.name for path in tmp_path.iterdir()] == [SHEET_NAME]
    assert (tmp_path / SHEET_NAME).read_text(encoding="utf-8") == "old"


def test_names_with_commas_survive_the_tables(tmp_path: Path) -> None:
    usual = usual_design()
    odd = dataclasses.replace(usual.flags[0], name='a "pair", 2 × 45')
    design = dataclasses.replace(usual, flags=(odd, *usual.flags[1:]))
    write_sheet(a_report(design), tmp_path, papers=Papers(date=DATE))
    table = pd.read_csv(tmp_path / "flags.csv")
    assert table["flag"].iloc[0] == 'a "pair", 2 × 45'
