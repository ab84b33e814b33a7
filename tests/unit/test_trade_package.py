"""A whole package in trade units beside the one in SI; names in letters of all kinds.

The inch of 25.4 mm, the foot of 12 of them and the pound of 0.45359237 kg are exact
(international yard and pound, 1959).
"""

import dataclasses
import datetime
import io
import re

import ezdxf
import openpyxl
import pandas as pd
import pytest
import shapely
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from matplotlib import font_manager
from pypdf import PdfReader

from model import Costs, Finish, pieces_of
from optimiser import sheet_type
from optimiser.cli import main
from optimiser.pattern_shapes import piece_shape
from optimiser.sheet import Papers, Written, write_parts
from optimiser.sheet_pdf import sheet_pdf
from optimiser.sheet_type import NO_LETTER, drawn, fitted, font_for, undrawn
from optimiser.shop_units import SI, TRADE, warnings_in
from tests.unit.shown_shafts import (
    a_report,
    a_spec,
    long_design,
    the_library,
    usual_design,
)

pytestmark = pytest.mark.usefixtures("brisk_lays")

DATE = datetime.date(2025, 3, 14)
INCH, FOOT, POUND = 25.4, 0.3048, 0.45359237
ALLOWED = 0.1  # no dimension moves by more [mm]
#: suffixes of columns, what one of the trade is in SI, and half of the last digits of
#: both together in SI
UNITS = {
    "in": ("mm", INCH, ALLOWED),
    "ft2": ("m2", FOOT**2, 2e-6),
    "lb": ("kg", POUND, 2e-5),
}


@pytest.fixture(scope="module")
def report():
    """Warnings of every kind that names a quantity."""
    usual = usual_design()
    alone = dataclasses.replace(usual.flags[0], is_pair=False)
    design = dataclasses.replace(
        usual,
        flags=(alone, *usual.flags[1:4], *usual.flags[5:7], usual.flags[4]),
        finish=dataclasses.replace(usual.finish, tip_diameter=0.0073, grind=1e-4),
        costs=Costs(labour_per_flag=0.4, consumables_per_shaft=1.25, scrap=0.05),
        bench=dataclasses.replace(
            usual.bench,
            tip_mass_offset=0.030,
            tip_mass_inertia=2e-4,
            frequency_clamp_compliance=1e-3,
        ),
    )
    return a_report(design)


@pytest.fixture(scope="module")
def packages(report, tmp_path_factory):
    folder = tmp_path_factory.mktemp("packages")
    spec = a_spec(folder)
    made: dict[str, Written] = {
        units.name: write_parts(
            report,
            the_library(),
            folder / units.name,
            spec=spec,
            batch=2,
            papers=Papers(units=units, date=DATE, paper=paper),
        )
        for units, paper in ((SI, "a4"), (TRADE, "letter"))
    }
    names = {k: {p.name for p in one.paths} for k, one in made.items()}
    assert names["si"] == names["trade"]
    return folder / "si", folder / "trade"


def words_of(path):
    reader = PdfReader(path)
    return " ".join(" ".join(p.extract_text() for p in reader.pages).split())


TABLES = [
    "flags.csv",
    "cut_widths.csv",
    "check_diameters.csv",
    "materials.csv",
    "lays.csv",
    "bill.csv",
]


@pytest.mark.parametrize("name", [n for n in TABLES if n != "check_diameters.csv"])
def test_tables_say_the_same_in_both_units(packages, name):
    si, trade = (pd.read_csv(folder / name) for folder in packages)
    assert len(si) == len(trade)
    counts = 0
    for head in trade.columns:
        assert not re.search(r"_(mm|m2|kg)$", head)
        stem, _, suffix = head.rpartition("_")
        if suffix in UNITS:
            other, one, least = UNITS[suffix]
            pd.testing.assert_series_equal(
                trade[head] * one,
                si[f"{stem}_{other}"].astype(float),
                check_names=False,
                rtol=0,
                atol=least,
            )
            counts += 1
    assert counts >= 2
    money = [head for head in trade.columns if head.startswith("cost")]
    for head in money:
        pd.testing.assert_series_equal(si[head], trade[head])


def test_every_diameter_is_that_of_its_station(report, packages):
    # the inspector's stations are round in either unit, so they are not the same
    profile = report.profile
    for folder, millimetre in zip(packages, (1.0, INCH), strict=True):
        table = pd.read_csv(folder / "check_diameters.csv")
        unit = "mm" if millimetre == 1.0 else "in"
        assert all(head.endswith(f"_{unit}") for head in table.columns)
        for row in table.iloc[1:-1].to_dict("records"):
            at = row[f"station_{unit}"] * millimetre * 1e-3
            near = abs(profile.station - at) < 0.03
            for head, values in (
                ("bore", profile.inner_diameter),
                ("ground_diameter", profile.outer_diameter),
            ):
                shown = row[f"{head}_{unit}"] * millimetre
                low, high = values[near].min() * 1e3, values[near].max() * 1e3
                assert low - 0.01 <= shown <= high + 0.01


def test_prices_are_for_the_area_they_stand_beside(packages):
    si, trade = (pd.read_csv(folder / "bill.csv") for folder in packages)
    rolls = trade["unit"] == "ft2"
    assert list(rolls) == list(si["unit"] == "m2")
    assert rolls.sum() >= 4
    assert (trade["quantity"] * trade["price"])[rolls].to_numpy() == pytest.approx(
        trade["cost_batch"][rolls].to_numpy(), abs=1e-3
    )
    # 1 m² is 10.76391 ft² (pint)
    assert (trade["price"] * 10.76391)[rolls].to_numpy() == pytest.approx(
        si["price"][rolls].to_numpy(), abs=1e-4
    )


def test_bench_values_and_bands_in_both_units(packages):
    si, trade = (pd.read_csv(folder / "bench.csv") for folder in packages)
    assert list(si["unit"]) != list(trade["unit"])
    assert not {"mm", "N m²"} & set(trade["unit"])
    scale = {"in": INCH, "lbf in²": 4.4482216152605 * 0.0254**2}
    digit = {"in": ALLOWED, "lbf in²": 0.01}
    for ours, theirs in zip(
        si.to_dict("records"), trade.to_dict("records"), strict=True
    ):
        unit = theirs["unit"]
        for head in ("predicted", "bench_reads", "accept_from", "accept_to"):
            assert theirs[head] * scale.get(unit, 1.0) == pytest.approx(
                ours[head], abs=digit.get(unit, 1e-9), nan_ok=True
            )
        assert " mm" not in theirs["setup"]
        assert "N m" not in theirs["setup"]
        lengths = re.findall(r"([\d.]+) in\b", theirs["setup"])
        metric = re.findall(r"([\d.]+) mm\b", ours["setup"])
        assert [float(x) * INCH for x in lengths] == pytest.approx(
            [float(x) for x in metric], abs=ALLOWED
        )
    # pint: 2 kg cm² is 0.6834 lb in², 1 mrad/(N m) is 1.3558 mrad/(lbf ft)
    frequency = trade.set_index("quantity").loc["frequency_cpm", "setup"]
    assert "inertia 0.6834 lb in²" in frequency
    assert "clamp turning 1.3558 mrad/(lbf ft)" in frequency


def test_warnings_follow_the_units(report, packages):
    ours, theirs = warnings_in(report, SI), warnings_in(report, TRADE)
    assert ours == report.warnings
    named = 0
    for si, trade in zip(ours, theirs, strict=True):
        assert "mm" not in trade
        pattern = r"(-?[\d.]+) (mm|in|N per rad/m|lbf per rad/ft)(?![a-z])"
        for (a, unit), (b, other) in zip(
            re.findall(pattern, si), re.findall(pattern, trade), strict=True
        ):
            # N per rad/m is N m; lbf ft is 1.35582 N m
            one = {"mm": INCH, "N per rad/m": 1.35582}[unit]
            least = {"mm": ALLOWED, "N per rad/m": 1.2}[unit]
            assert float(b) * one == pytest.approx(float(a), abs=least)
            assert other == {"mm": "in", "N per rad/m": "lbf per rad/ft"}[unit]
            named += 1
    assert named >= 4  # coupling and its station, a bias flag ground, a deep tip
    sheet = words_of(packages[1] / "layup_sheet.pdf")
    shop = openpyxl.load_workbook(packages[1] / "layup_sheet.xlsx")["Shop"]
    notes = " ".join(str(cell.value) for row in shop.iter_rows() for cell in row)
    for said in theirs:
        assert said in sheet
        assert said in notes


@pytest.mark.parametrize("name", ["layup_sheet.pdf", "patterns.pdf", "lays.pdf"])
def test_no_page_of_a_trade_package_speaks_in_millimetres(packages, name):
    said = words_of(packages[1] / name)
    said = said.replace("The DXF files of these pieces are in mm at 1:1", "")
    assert not re.search(r"\bmm\b|\bm²|\bN m\b|\bkgf\b", said)
    assert "DXF" not in words_of(packages[0] / name)


def test_heads_of_the_workbook_name_units_of_the_trade(packages):
    for folder, units, others in zip(
        packages, ("mm", "in"), (("[in]", "ft²"), ("[mm]", "m²]")), strict=True
    ):
        book = openpyxl.load_workbook(folder / "layup_sheet.xlsx")
        said = " ".join(
            str(cell.value)
            for sheet in book
            for row in sheet.iter_rows()
            for cell in row
            if cell.value is not None
        )
        assert f"[{units}]" in said
        assert not any(other in said.replace("lbf in²", "") for other in others)
        if units == "in":
            assert not re.search(r"\bmm\b", said)


def test_captions_of_patterns_and_lays_are_the_same_places(packages):
    pattern = r"on (\w+): tip ([\d.]+), butt ([\d.]+) (mm|in) from"
    ours, theirs = (
        re.findall(pattern, words_of(folder / "patterns.pdf")) for folder in packages
    )
    assert len(ours) >= 1
    for si, trade in zip(ours, theirs, strict=True):
        assert (si[0], si[3], trade[3]) == (trade[0], "mm", "in")
        for a, b in zip(si[1:3], trade[1:3], strict=True):
            assert float(b) * INCH == pytest.approx(float(a), abs=ALLOWED)
    pattern = r"Roll ([\d.]+) (?:mm|in) wide, ([\d.]+) (?:mm|in) of it used"
    ours, theirs = (
        re.findall(pattern, words_of(folder / "lays.pdf")) for folder in packages
    )
    assert ours
    for si, trade in zip(ours, theirs, strict=True):
        for a, b in zip(si, trade, strict=True):
            assert float(b) * INCH == pytest.approx(float(a), abs=ALLOWED)


def test_drawings_for_cutters_stay_in_millimetres(packages):
    for name in ("patterns.dxf", *(p.name for p in packages[0].glob("lay_*.dxf"))):
        outlines = []
        for folder in packages:
            document = ezdxf.readfile(folder / name)
            assert document.units == ezdxf.units.MM
            lines = document.modelspace().query("LWPOLYLINE")
            outlines.append([list(line.get_points("xy")) for line in lines])
        assert outlines[0] == outlines[1]
    sizes = {
        tuple(round(float(x)) for x in PdfReader(packages[1] / n).pages[0].mediabox[2:])
        for n in ("patterns.pdf", "lays.pdf")
    }
    assert sizes == {(17 * 72, 11 * 72)}  # two letter pages side by side


def test_the_command_says_which_files_stay_in_millimetres(tmp_path, capsys):
    words = ["sheet", "scenarios/designs/fairway-60.toml", "--units", "trade"]
    words += ["--part", "lays", "--part", "bill", "--batch", "1"]
    assert main([*words, "--out", str(tmp_path / "s")]) == 0
    said = capsys.readouterr()
    assert "DXF files are in mm at 1:1" in said.out
    assert "roll ft" in said.out
    assert "m2" not in said.out
    assert said.err == ""


def test_a_set_up_is_never_cut_short(packages):
    text = "last 5.000 in of the butt clamped, " * 6 + "205 g at the tip"
    for lines in (1, 2):
        cut = fitted(text, 120.0, 6.0, lines=lines)
        assert cut.getPlainText().endswith("…")
        whole = fitted(text, 120.0, 6.0, lines=lines, is_whole=True)
        assert whole.getPlainText() == text
    for folder, said in zip(packages, ("mrad/(N m)", "mrad/(lbf ft)"), strict=True):
        assert said in words_of(folder / "layup_sheet.pdf")


def test_words_on_pieces_keep_clear_of_arrows_and_edges(report):
    pieces = pieces_of(report, the_library())
    for least in (0.0, 4.0):
        for piece in pieces:
            shape = piece_shape(piece, least=least)
            for line in shape.words:
                assert line.height >= least
                # letters such as g reach about a third of a capital below their base
                box = shapely.box(
                    line.x,
                    line.y - 0.33 * line.height,
                    line.x + 0.85 * line.height * len(line.text),
                    line.y + line.height,
                )
                assert shapely.Polygon(shape.outline).contains(box)
                n = len(piece.notches)
                for a, b in (*shape.marks[:n], *shape.marks[n + len(piece.splices) :]):
                    assert not box.intersects(shapely.LineString([a, b]))


def test_there_is_an_arrow_wherever_there_is_room_for_one():
    # names so long that words take the room where an arrow is first looked for
    pieces = pieces_of(a_report(long_design()), the_library(), ends="square")
    for piece in pieces:
        long = dataclasses.replace(piece, material=f"{piece.material}, " + 12 * "long ")
        for least in (0.0, 2.5, 4.3):
            shape = piece_shape(long, least=least)
            assert len(shape.marks) == len(piece.notches) + len(piece.splices) + 3


# -- letters --------------------------------------------------------------------------

EAST = "釣竿"


@pytest.fixture
def fonts(monkeypatch):
    """Fonts of a machine that has but its own."""

    def forget():
        sheet_type._machine_fonts.cache_clear()
        sheet_type._face_of.cache_clear()

    manager = font_manager.fontManager
    monkeypatch.setattr(manager, "ttflist", list(manager.ttflist))
    manager.ttflist[:] = [f for f in manager.ttflist if "mpl-data" in f.fname]
    forget()
    yield manager
    forget()


def a_font(path):
    """A font with usual letters and two of East Asia, each a square."""
    usual = [chr(i) for i in range(32, 127)] + list("±°…–")
    codes = {ord(c): f"u{ord(c):04X}" for c in [*usual, *EAST]}
    names = [".notdef", *codes.values()]
    pen = TTGlyphPen(None)
    pen.moveTo((50, 0))
    for corner in ((50, 700), (550, 700), (550, 0)):
        pen.lineTo(corner)
    pen.closePath()
    square = pen.glyph()
    font = FontBuilder(1000, isTTF=True)
    font.setupGlyphOrder(names)
    font.setupCharacterMap(codes)
    font.setupGlyf(dict.fromkeys(names, square))
    font.setupHorizontalMetrics(dict.fromkeys(names, (600, 50)))
    font.setupHorizontalHeader(ascent=800, descent=-200)
    font.setupNameTable({"familyName": "Squares", "styleName": "Regular"})
    font.setupOS2(sTypoAscender=800, usWinAscent=800, usWinDescent=200)
    font.setupPost()
    font.save(path)


def eastern_report():
    usual = usual_design(f"{EAST} 3")
    flag = dataclasses.replace(usual.flags[0], name=f"{EAST}, first")
    return a_report(
        dataclasses.replace(usual, flags=(flag, *usual.flags[1:]), finish=Finish())
    )


def test_a_font_of_the_machine_is_embedded_where_it_has_the_letters(tmp_path, fonts):
    a_font(tmp_path / "squares.ttf")
    fonts.addfont(tmp_path / "squares.ttf")
    report = eastern_report()
    assert font_for(EAST) == "machine-squares"
    assert drawn(EAST) == EAST
    written = write_parts(
        report, the_library(), tmp_path / "s", parts=["sheet", "patterns"]
    )
    assert written.undrawn == ()
    for name in ("layup_sheet.pdf", "patterns.pdf"):
        said = words_of(tmp_path / "s" / name)
        assert f"{EAST} 3" in said
        assert f"{EAST}, first" in said
        assert NO_LETTER not in said
        for page in PdfReader(tmp_path / "s" / name).pages:
            for font in page["/Resources"]["/Font"].values():
                font = font.get_object()
                font = font.get("/DescendantFonts", [font])[0].get_object()
                held = {"/FontFile", "/FontFile2", "/FontFile3"}
                assert font["/Subtype"] == "/Type3" or held & set(
                    font["/FontDescriptor"]
                )


@pytest.mark.usefixtures("fonts")
def test_letters_that_no_font_has_are_said_and_never_silent(tmp_path, capsys):
    report = eastern_report()
    written = write_parts(
        report, the_library(), tmp_path / "s", parts=["sheet", "patterns"]
    )
    assert len(written.undrawn) == 2
    assert all("U+91E3 U+7AFF" in said for said in written.undrawn)
    said = words_of(tmp_path / "s" / "layup_sheet.pdf")
    assert f"{NO_LETTER * 2}, first" in said
    assert f'Note: flag 1, "{NO_LETTER * 2}, first": no font here has U+91E3' in said
    assert "U+91E3 U+7AFF" in words_of(tmp_path / "s" / "patterns.pdf")
    table = pd.read_csv(tmp_path / "s" / "flags.csv")
    assert table["flag"].iloc[0] == f"{EAST}, first"
    text = (tmp_path / "s" / "made_from" / "design.toml").read_text("utf-8")
    assert EAST in text
    # the command says it once, on the error stream
    design = tmp_path / "s" / "made_from" / "design.toml"
    words = ["sheet", str(design), "--part", "sheet", "--out", str(tmp_path / "t")]
    assert main(words) == 0
    captured = capsys.readouterr()
    assert captured.err.count("warning") == 1
    assert captured.err.count("U+91E3") == 2
    assert "U+91E3" not in captured.out


@pytest.mark.usefixtures("fonts")
def test_only_letters_that_are_missing_are_replaced():
    assert drawn(f"a±é λ {EAST}…") == f"a±é λ {NO_LETTER * 2}…"
    assert drawn("zero\u200bwidth") == "zerowidth"
    assert undrawn([("design", "plain"), ("flag 1", NO_LETTER)]) == ()
    report = a_report(usual_design(f"{EAST} <b>&"))
    content = sheet_pdf(report, date=DATE)
    pages = PdfReader(io.BytesIO(content)).pages
    for page in pages:
        for font in page["/Resources"]["/Font"].values():
            assert "/FontFile2" in font.get_object()["/FontDescriptor"]
