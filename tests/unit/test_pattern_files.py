import dataclasses
import io
import json
import math
import re
from collections import Counter

import ezdxf
import numpy as np
import pandas as pd
import pypdf
import pytest
import shapely
from ezdxf.lldxf.encoding import decode_dxf_unicode

from model import Cutting, Finish, InputError, pieces_of
from optimiser.cli import main
from optimiser.dxf_file import CUT, MARK, NOTE, TEXT, dxf_bytes
from optimiser.nesting import lay_pieces
from optimiser.pattern_pages import lays_pdf, patterns_pdf, patterns_svg
from optimiser.pattern_shapes import laid_shapes, moved, piece_shape, stacked
from optimiser.sheet import Papers, lays_of, write_parts
from optimiser.words import CAUTIONS
from tests.unit.shown_shafts import (
    LENGTH,
    a_flag,
    a_report,
    the_library,
    usual_design,
)

pytestmark = pytest.mark.usefixtures("brisk_lays")

LIBRARY = the_library()
REPORT = a_report()
PIECES = pieces_of(REPORT, LIBRARY)


def read_back(content, folder):
    path = folder / "some.dxf"
    path.write_bytes(content)
    document = ezdxf.readfile(path)
    assert not document.audit().errors
    return document


def lines_of(document):
    return [
        np.array(line.get_points("xy"))
        for line in document.modelspace().query("LWPOLYLINE")
    ]


def test_a_cutter_reads_true_sizes(tmp_path):
    document = read_back(dxf_bytes(stacked(PIECES)), tmp_path)
    assert document.units == ezdxf.units.MM
    assert document.dxfversion == "AC1015"
    space = document.modelspace()
    assert {line.dxf.layer for line in space.query("LWPOLYLINE")} == {CUT}
    assert all(line.closed for line in space.query("LWPOLYLINE"))
    outlines = lines_of(document)
    assert len(outlines) == len(PIECES)
    for outline, piece in zip(outlines, PIECES, strict=True):
        assert shapely.Polygon(outline).area == pytest.approx(
            piece.area * 1e6, rel=1e-9
        )
        assert np.ptp(outline, axis=0) == pytest.approx(
            np.ptp(piece.outline, axis=0) * 1e3
        )
    for k, cut in enumerate(REPORT.flags):
        area = sum(
            shapely.Polygon(outline).area
            for outline, piece in zip(outlines, PIECES, strict=True)
            if piece.flag == k
        )
        assert area == pytest.approx(cut.area_net * 1e6, rel=1e-3)


def test_layers_hold_their_own_kind_alone(tmp_path):
    space = read_back(dxf_bytes(stacked(PIECES)), tmp_path).modelspace()
    kinds = {(entity.dxftype(), entity.dxf.layer) for entity in space}
    assert kinds == {("LWPOLYLINE", CUT), ("LINE", MARK), ("TEXT", TEXT)}
    said = " ".join(text.dxf.text for text in space.query("TEXT"))
    for piece in PIECES:
        assert piece.mark in said
        assert piece.material in said


def test_a_lay_is_cut_where_it_lies(tmp_path):
    mine = [piece for piece in PIECES if piece.material == PIECES[0].material]
    lay = lay_pieces(mine, 1.0, REPORT.design.cutting, batch=3)
    outlines = lines_of(read_back(dxf_bytes(laid_shapes(lay)), tmp_path))
    assert len(outlines) == 3 * len(mine)
    for outline, one in zip(outlines, lay.laid, strict=True):
        assert outline == pytest.approx(one.place(one.piece.outline) * 1e3, abs=1e-6)


def test_marks_and_words_lie_on_their_piece():
    for piece in PIECES:
        shape = piece_shape(piece)
        polygon = shapely.buffer(shapely.Polygon(shape.outline), 0.05)
        assert all(polygon.contains(shapely.LineString(line)) for line in shape.marks)
        assert shape.words
        for words in shape.words:
            assert polygon.contains(shapely.Point(words.x, words.y))


def test_the_arrow_follows_the_fibres():
    for piece in PIECES:
        shape = piece_shape(piece)
        lengths = [math.dist(*line) for line in shape.marks[len(piece.notches) :]]
        (x1, y1), (x2, y2) = shape.marks[len(piece.notches) + int(np.argmax(lengths))]
        turn = math.atan2(y2 - y1, x2 - x1) - piece.angle
        assert math.sin(turn) == pytest.approx(0.0, abs=1e-9)


def test_moving_a_shape_moves_all_of_it():
    shape = piece_shape(PIECES[0])
    there = moved(shape, math.radians(90), 10.0, 20.0)
    back = moved(moved(there, 0.0, -10.0, -20.0), math.radians(-90), 0.0, 0.0)
    assert there.outline[0] == pytest.approx(
        [10.0 - shape.outline[0, 1], 20.0 + shape.outline[0, 0]]
    )
    assert back.outline == pytest.approx(shape.outline)
    assert np.array(back.marks) == pytest.approx(np.array(shape.marks))
    assert back.words[0].x == pytest.approx(shape.words[0].x)


def test_the_svg_is_of_true_size():
    text = patterns_svg(PIECES).decode("utf-8")
    width, height = (
        float(value) for value in re.findall(r'(?:width|height)="([\d.]+)pt"', text)[:2]
    )
    corners = np.vstack([shape.outline for shape in stacked(PIECES)]).max(axis=0)
    assert width / 72.0 * 25.4 == pytest.approx(corners[0] + 28.0, abs=0.1)
    assert height / 72.0 * 25.4 == pytest.approx(corners[1] + 28.0, abs=0.1)
    # one path of the right extent for each piece
    paths = re.findall(r'<path d="(M [^"]+z)', text.replace("\n", " "))
    spans = Counter()
    for path in paths:
        x = np.array(re.findall(r"(-?[\d.]+) -?[\d.]+", path), dtype=float)
        spans[round(float(np.ptp(x)) / 72.0 * 25.4, 1)] += 1
    for piece in PIECES:
        assert spans[round(float(np.ptp(piece.outline[:, 0])) * 1e3, 1)] >= 1


def words_of(content):
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    return [" ".join(page.extract_text().split()) for page in pages]


@pytest.mark.parametrize("ends", ["developed", "square"])
def test_pages_of_patterns_name_every_piece_and_their_scale(ends):
    pieces = pieces_of(REPORT, LIBRARY, ends=ends)
    pages = words_of(patterns_pdf(REPORT, pieces, ends))
    together = " ".join(pages)
    for piece in pieces:
        assert piece.mark in together
    for page in pages:
        assert "scale 1 : " in page
        assert all(caution in page for caution in CAUTIONS)
    assert ("Ends are arcs" in together) == (ends == "developed")
    assert ("Ends are cut square" in together) == (ends == "square")


def test_pages_of_lays_say_how_much_roll_is_used():
    lays = lays_of(REPORT, LIBRARY, PIECES, 5)
    pages = words_of(lays_pdf(REPORT, lays))
    for lay in lays:
        mine = [page for page in pages if f"lay of {lay.material}, 5 shafts" in page]
        assert mine
        assert f"{lay.share_used * 100.0:.1f} % used" in mine[0]
        assert all("never turned over" in page for page in mine)
    turned = words_of(lays_pdf(REPORT, lays, turn_over=True))
    assert all("mirror image" in page for page in turned)


@pytest.mark.parametrize(
    ("parts", "names"),
    [
        (["patterns"], {"patterns.dxf", "patterns.svg", "patterns.pdf"}),
        (["lays"], {"lays.pdf", "lays.csv"}),
    ],
)
def test_each_part_is_written_alone(tmp_path, parts, names):
    paths = write_parts(REPORT, LIBRARY, tmp_path, parts=parts, batch=2).paths
    found = {path.name for path in paths}
    assert {name for name in found if not name.startswith("lay_")} == {
        *names,
        "made_from",
    }
    assert {path.name for path in tmp_path.iterdir()} == found
    if parts == ["lays"]:
        table = pd.read_csv(tmp_path / "lays.csv")
        assert list(table["material"]) == list(
            dict.fromkeys(p.material for p in PIECES)
        )
        assert (table["used_pct"] > 0.0).all()
        assert table["area_net_m2"].sum() == pytest.approx(
            2.0 * sum(flag.area_net for flag in REPORT.flags), rel=1e-3
        )
        assert len(found) == 3 + len(table)


def test_no_lay_of_another_package_stays_for_the_cutter(tmp_path, monkeypatch):
    kept = tmp_path / "lay_of_the_land.dxf"  # no name of ours
    stale = tmp_path / "lay_9_another-prepreg.dxf"
    for path in (kept, stale):
        path.write_text("0\nEOF\n", encoding="ascii")
    write_parts(REPORT, LIBRARY, tmp_path, parts=["patterns"], batch=1)
    assert stale.exists()  # what is not written anew is let be
    with monkeypatch.context() as patch:

        def full(*_):
            raise OSError

        patch.setattr("optimiser.sheet.write_bytes", full)
        with pytest.raises(OSError):  # noqa: PT011
            write_parts(REPORT, LIBRARY, tmp_path, parts=["lays"], batch=1)
    assert stale.exists()  # nothing is taken away before its like is written
    paths = write_parts(REPORT, LIBRARY, tmp_path, parts=["lays"], batch=1).paths
    assert kept.exists()
    assert {path for path in tmp_path.glob("lay_*_*.dxf") if path != kept} == {
        path for path in paths if path.suffix == ".dxf"
    }


def test_papers_that_contradict_those_beside_are_refused(tmp_path):
    def write(parts, **made):
        return write_parts(REPORT, LIBRARY, tmp_path, parts=parts, **made)

    def held():
        text = (tmp_path / "made_from" / "record.json").read_text(encoding="utf-8")
        return json.loads(text)

    write(["patterns"], batch=2)
    # the only ones there are made anew, so nothing is left to contradict
    write(["patterns"], batch=3, overlap=1e-3)
    assert (held()["batch"], held()["overlap_mm"]) == (3, 1.0)
    drawn = (tmp_path / "patterns.pdf").read_bytes()
    with pytest.raises(InputError) as refused:
        write(["sheet"], batch=4, papers=Papers(revision="B"))
    said = str(refused.value)
    assert "batch 3, now 4" in said
    assert "overlap mm 1.0, now none" in said
    assert "revision none, now B" in said
    assert held()["batch"] == 3
    assert not (tmp_path / "layup_sheet.pdf").exists()
    assert (tmp_path / "patterns.pdf").read_bytes() == drawn
    write(["sheet"], batch=3, overlap=1e-3)
    assert held()["parts"] == ["sheet", "patterns"]


def test_files_for_a_cutter_say_what_they_are_of_beside_the_pieces(tmp_path):
    parts = ["patterns", "lays"]
    papers = Papers(revision="C\n1")
    write_parts(REPORT, LIBRARY, tmp_path, parts=parts, batch=1, papers=papers)
    for path in tmp_path.glob("*.dxf"):
        document = ezdxf.readfile(path)
        (note,) = document.modelspace().query(f'TEXT[layer=="{NOTE}"]')
        assert REPORT.design_id in note.dxf.text
        assert "revision C 1" in note.dxf.text
        highest = max(outline[:, 1].max() for outline in lines_of(document))
        assert note.dxf.insert.y > highest + 10.0


def test_pages_for_the_table_name_revision_and_overlap():
    said = words_of(
        patterns_pdf(REPORT, PIECES, "developed", overlap=2e-3, revision="F 2")
    )
    lays = lays_of(REPORT, LIBRARY, PIECES, 1)
    for page in [*said, *words_of(lays_pdf(REPORT, lays, revision="F 2"))]:
        assert f"design {REPORT.design_id}, revision F 2" in page
    assert all("The wound edge has 2.0 mm of overlap" in page for page in said)
    assert "overlap" not in words_of(patterns_pdf(REPORT, PIECES, "developed"))[0]
    # however long, it keeps clear of the cautions beside it
    assert patterns_pdf(REPORT, PIECES, "developed", revision="long " * 99)


def test_the_same_pictures_are_the_same_to_the_byte():
    assert patterns_svg(PIECES) == patterns_svg(PIECES)
    assert patterns_pdf(REPORT, PIECES, "developed") == patterns_pdf(
        REPORT, PIECES, "developed"
    )


def test_names_may_hold_any_letters_and_are_no_formulas(tmp_path):
    name = "尖 $x_$\n±"
    pieces = [dataclasses.replace(piece, name=name) for piece in PIECES]
    space = read_back(dxf_bytes(stacked(pieces)), tmp_path).modelspace()
    # what the code page lacks is escaped, as readers of the format undo
    said = [decode_dxf_unicode(text.dxf.text) for text in space.query("TEXT")]
    assert any("尖 $x_$ ±" in text for text in said)
    assert len(space.query("LWPOLYLINE")) == len(pieces)
    assert b"$x_$" in patterns_svg(pieces)
    assert "$x_$" in words_of(patterns_pdf(REPORT, pieces, "square"))[0]


def test_the_command_writes_what_is_asked_for(tmp_path, capsys):
    design = "scenarios/designs/fairway-60.toml"
    words = ["sheet", design, "--part", "patterns", "--ends", "square"]
    assert main([*words, "--out", str(tmp_path / "a")]) == 0
    said = capsys.readouterr().out
    assert "true size in mm" in said
    assert sorted(path.name for path in (tmp_path / "a").iterdir()) == [
        "made_from",
        "patterns.dxf",
        "patterns.pdf",
        "patterns.svg",
    ]


@pytest.mark.parametrize(
    "words", [["--part", "pattern"], ["--batch", "0"], ["--ends", "round"]]
)
def test_wrong_words_are_refused(words, capsys):
    assert main(["sheet", "scenarios/designs/fairway-60.toml", *words]) == 2
    assert words[1] in capsys.readouterr().err


def test_a_shaft_of_spliced_pieces_alone_is_drawn_whole_and_laid():
    design = dataclasses.replace(
        usual_design(),
        finish=Finish(),
        cutting=Cutting(splice_from=math.radians(60.0)),
        flags=(
            a_flag("steep", "pitch-100", 70, 0.0, LENGTH, 3, pair=True),
            a_flag("hoop", "pitch-75", 90, 0.0, LENGTH, 2),
        ),
    )
    report = a_report(design)
    pieces = pieces_of(report, LIBRARY)
    assert all(len(piece.splices) for piece in pieces)
    assert len(lays_of(report, LIBRARY, pieces, 2)) == 2
    content = patterns_pdf(report, pieces, "developed")
    page = pypdf.PdfReader(io.BytesIO(content)).pages[0]
    said = words_of(content)[0]
    scale = float(re.search(r"scale 1 : ([\d.]+)", said)[1])
    # from the tip of the first part to the butt of the last, within the margins
    blank = 1e3 * (0.010 + LENGTH + 0.015)
    assert blank / scale < float(page.mediabox.width) / 72.0 * 25.4 - 28.0
    # neither part of the second piece lies on one part of the first alone
    assert said.count("on 1A: tip ") == 2
