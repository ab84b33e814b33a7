"""The workbook: typed numbers, and totals that follow what a shop changes."""

import dataclasses
import datetime
import io
import shutil
import subprocess

import openpyxl
import pytest

from model import Costs, Report, pieces_of
from optimiser.bill import Bill, bill_of
from optimiser.sheet import lays_of
from optimiser.sheet_tables import bench_rows, check_diameters, cut_points
from optimiser.shop_units import SI, TRADE
from optimiser.words import CAUTIONS
from optimiser.workbook import workbook
from tests.unit.shown_shafts import a_report, a_spec, the_library, usual_design

pytestmark = pytest.mark.usefixtures("brisk_lays")

DATE = datetime.date(2025, 3, 14)
BATCH = 4
HEAD, FIRST = 3, 4  # rows, as people count


@pytest.fixture(scope="module")
def report() -> Report:
    usual = usual_design()
    return a_report(
        dataclasses.replace(
            usual,
            cutting=dataclasses.replace(usual.cutting, batch=BATCH),
            costs=Costs(
                labour_per_flag=0.4,
                labour_per_shaft=3.0,
                consumables_per_shaft=1.25,
                scrap=0.05,
            ),
        )
    )


@pytest.fixture(scope="module")
def bill(report) -> Bill:
    library = the_library()
    pieces = pieces_of(report, library)
    return bill_of(report, library, lays_of(report, library, pieces, BATCH))


@pytest.fixture(scope="module")
def spec(tmp_path_factory):
    return a_spec(tmp_path_factory.mktemp("spec"))


@pytest.fixture(scope="module")
def contents(report, bill, spec):
    return {
        units.name: workbook(
            report,
            bill,
            spec=spec,
            date=DATE,
            revision="C & D",
            paper="letter",
            units=units,
        )
        for units in (SI, TRADE)
    }


def opened(content, *, values=False):
    return openpyxl.load_workbook(io.BytesIO(content), data_only=values)


def table(sheet):
    """Rows below the heads, by head."""
    heads = [cell.value for cell in sheet[HEAD]]
    rows = sheet.iter_rows(min_row=FIRST, values_only=True)
    return [dict(zip(heads, row, strict=True)) for row in rows]


def shop(sheet):
    return {row[0].value: row[1] for row in sheet.iter_rows(max_col=2) if row[0].value}


@pytest.mark.parametrize("units", [SI, TRADE], ids=lambda units: units.name)
def test_numbers_are_numbers_at_full_precision(report, spec, contents, units):
    book = opened(contents[units.name], values=True)
    length, area = units.length, units.area
    rows = table(book["Flags"])[: len(report.flags)]
    for row, flag in zip(rows, report.flags, strict=True):
        assert row["Flag"] == flag.name
        assert row[f"Cut length [{length.unit}]"] == pytest.approx(
            flag.cut_length * length.per_si, rel=1e-14
        )
        assert row[f"Gross area [{area.unit}]"] == pytest.approx(
            flag.area_gross * area.per_si, rel=1e-14
        )
    widths = [point for flag in report.flags for point in cut_points(flag)]
    for row, point in zip(table(book["Cut widths"]), widths, strict=True):
        assert row[f"Width [{length.unit}]"] == pytest.approx(
            point.width * length.per_si, rel=1e-14
        )
    for row, check in zip(
        table(book["Diameters"]), check_diameters(report, units), strict=True
    ):
        assert row[f"Ground [{units.diameter.unit}]"] == pytest.approx(
            check.ground * units.diameter.per_si, rel=1e-14
        )
    bench = bench_rows(report, spec, units)
    for row, wanted in zip(table(book["Bench"]), bench, strict=True):
        assert row["Unit"] == (wanted.unit or None)
        assert row["Predicted"] == pytest.approx(wanted.predicted, rel=1e-14)
        assert row["Accept from"] is None or row["Accept from"] == wanted.low


@pytest.mark.parametrize("units", [SI, TRADE], ids=lambda units: units.name)
def test_formats_show_the_digits_of_the_sheet(contents, units):
    sheet = opened(contents[units.name])["Flags"]
    heads = {cell.value: cell.column for cell in sheet[HEAD]}
    digits = {"mm": "0.0", "in": "0.000"}[units.length.unit]
    column = heads[f"Cut length [{units.length.unit}]"]
    assert sheet.cell(FIRST, column).number_format == digits


@pytest.mark.parametrize("units", [SI, TRADE], ids=lambda units: units.name)
def test_totals_as_written_are_the_bills(bill, contents, units):
    values = shop(opened(contents[units.name], values=True)["Shop"])
    for head, wanted in (
        ("Shafts in the batch", BATCH),
        ("Scrap, as a share of the shafts made", 0.05),
        ("Cost of the batch [USD]", bill.cost),
        ("Cost of a shaft made [USD]", bill.cost_made),
        ("Cost of a shaft sold [USD]", bill.cost_sold),
        ("The same as a search reckons it [USD]", bill.cost_reckoned),
        (
            f"Roll area for the batch [{units.area.unit}]",
            sum(line.area_roll for line in bill.materials) * units.area.per_si,
        ),
    ):
        assert values[head].value == pytest.approx(wanted, rel=1e-12)


def test_what_a_search_reckons_is_the_metric(report, contents):
    # the batch is the one that the design is reckoned for
    values = shop(opened(contents["si"], values=True)["Shop"])
    value = values["The same as a search reckons it [USD]"].value
    assert value == pytest.approx(report.metrics["material_cost"], rel=1e-12)


def test_pages_stay_in_sight_and_print(contents):
    book = opened(contents["si"])
    assert book.sheetnames[0] == "Shop"
    assert {"Flags", "Cut widths", "Diameters", "Bench", "Materials", "Bill"} <= set(
        book.sheetnames
    )
    for sheet in book:
        assert sheet.page_setup.orientation == "landscape"
        assert int(sheet.page_setup.paperSize) == 1  # Letter
        assert sheet.freeze_panes
        assert sheet.print_area
        assert "C && D" in sheet.oddFooter.left.text  # printed as one "&"
        assert not sheet.oddFooter.center.text  # a long revision would run into it
        if sheet.title != "Shop":
            assert sheet.freeze_panes.endswith(str(FIRST))
            assert sheet.print_title_rows == f"${HEAD}:${HEAD}"
    words = " ".join(
        str(cell.value) for row in book["Shop"].iter_rows() for cell in row
    )
    for caution in CAUTIONS:
        assert caution in words
    assert "2025-03-14" in words


def test_names_that_look_like_formulas_are_texts(report, bill):
    flags = list(report.flags)
    flags[0] = _named(flags[0], '=HYPERLINK("x")')
    odd = _with_flags(report, flags)
    book = opened(workbook(odd, bill, date=DATE))
    cell = book["Flags"].cell(FIRST, 2)
    assert (cell.value, cell.data_type) == ('=HYPERLINK("x")', "s")


def _named(flag, name):
    return dataclasses.replace(flag, name=name)


def _with_flags(report, flags):
    return dataclasses.replace(report, flags=tuple(flags))


def test_the_same_design_and_date_give_the_same_bytes(report, bill):
    assert workbook(report, bill, date=DATE) == workbook(report, bill, date=DATE)


# -- as an office program reckons it --------------------------------------------------


@pytest.fixture(scope="module")
def reckoned(contents, bill, tmp_path_factory):
    """Both books without what was stored of formulas, then with inputs changed."""
    soffice = shutil.which("soffice")
    if soffice is None:
        pytest.skip("LibreOffice (soffice) is not on this machine")
    folder = tmp_path_factory.mktemp("office")
    for name, content in contents.items():
        book = opened(content)
        book.save(folder / f"{name}.xlsx")  # formulas alone
        values = shop(book["Shop"])
        values["Shafts in the batch"].value = 30
        values["Scrap, as a share of the shafts made"].value = 0.08
        sheet = book["Bill"]
        sheet.cell(FIRST, 4).value *= 2.0  # the first material costs double
        last = FIRST + len(bill.materials)
        sheet.cell(last, 4).value = 0.5  # labour on a flag, was 0.4
        bench = book["Bench"]
        bench["H4"].value = 57.0  # weighs in the band, and below it
        bench["H6"].value = 1.0
        book.save(folder / f"{name}_changed.xlsx")
    out = folder / "out"
    subprocess.run(
        [
            soffice,
            f"-env:UserInstallation={(folder / 'profile').as_uri()}",
            "--headless",
            "--convert-to",
            "xlsx",
            "--outdir",
            str(out),
            *(str(path) for path in sorted(folder.glob("*.xlsx"))),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    return {
        path.stem: openpyxl.load_workbook(path, data_only=True)
        for path in out.glob("*.xlsx")
    }


@pytest.mark.parametrize("name", ["si", "trade"])
def test_office_gives_the_same_totals(bill, contents, reckoned, name):
    stored = opened(contents[name], values=True)
    for sheet in stored:
        other = reckoned[name][sheet.title]
        for row in sheet.iter_rows():
            for cell in row:
                theirs = other[cell.coordinate].value
                if isinstance(cell.value, float | int):
                    assert theirs == pytest.approx(cell.value, rel=1e-12, abs=1e-12)
                else:
                    assert (theirs or None) == (cell.value or None)
    cost = shop(reckoned[name]["Shop"])["Cost of a shaft sold [USD]"].value
    assert cost == pytest.approx(bill.cost_sold, rel=1e-12)


@pytest.mark.parametrize("name", ["si", "trade"])
def test_totals_follow_price_batch_and_scrap(report, bill, reckoned, name):
    roll = sum(line.cost for line in bill.materials) + bill.materials[0].cost
    # of 30 shafts of 8 flags each, with roll in proportion
    cost = 30.0 * (roll / BATCH + 0.5 * len(report.flags) + 3.0 + 1.25)
    values = shop(reckoned[f"{name}_changed"]["Shop"])
    for head, wanted in (
        ("Cost of the batch [USD]", cost),
        ("Cost of a shaft made [USD]", cost / 30.0),
        ("Cost of a shaft sold [USD]", cost / 30.0 / 0.92),
    ):
        assert values[head].value == pytest.approx(wanted, rel=1e-12)
    units = {"si": SI, "trade": TRADE}[name]
    area = sum(line.area_roll for line in bill.materials) / BATCH * 30.0
    head = f"Roll area for the batch [{units.area.unit}]"
    assert values[head].value == pytest.approx(area * units.area.per_si, rel=1e-12)
    bench = reckoned[f"{name}_changed"]["Bench"]
    assert bench["I4"].value == "in"
    assert bench["I6"].value == "out"
    assert bench["I5"].value in (None, "")
