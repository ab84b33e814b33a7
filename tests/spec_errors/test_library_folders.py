"""One bad library a message; a case holds the files it changes in a good library."""

import shutil
from pathlib import Path

import pytest

from model import InputError, read_library

FOLDER = Path(__file__).parent / "libraries"
BASE = FOLDER / "base"
CASES = sorted(path.parent for path in FOLDER.glob("*/expected.txt"))


def lay_over(case, folder):
    """Copy the good library and put the files of a case over it."""
    shutil.copytree(BASE, folder)
    for path in case.iterdir():
        if path.name != "expected.txt":
            shutil.copy(path, folder / path.name)
    return folder


def test_base_library_is_good():
    library = read_library(BASE)
    assert list(library.prepregs) == ["standard-125", "high-85"]
    assert library.currency == ""


def test_there_are_bad_libraries():
    assert len(CASES) > 30


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_bad_library_gives_its_message(case, tmp_path):
    folder = lay_over(case, tmp_path / "shop")
    expected = (case / "expected.txt").read_text(encoding="utf-8").splitlines()
    with pytest.raises(InputError) as caught:
        read_library(folder)
    assert caught.value.source == str(folder)
    _, *lines = str(caught.value).splitlines()
    assert [line.strip() for line in lines] == expected


def test_missing_folder():
    with pytest.raises(InputError, match=r"no such folder. A library is a folder with"):
        read_library(FOLDER / "nowhere")


def test_file_in_place_of_a_folder():
    with pytest.raises(InputError, match="a file, not a folder"):
        read_library(BASE / "fibres.csv")


def test_missing_table_names_its_neighbour(tmp_path):
    folder = lay_over(BASE, tmp_path / "shop")
    (folder / "resins.csv").rename(folder / "resin.csv")
    with pytest.raises(InputError) as caught:
        read_library(folder)
    assert "resins.csv: no such file. Did you mean 'resin.csv'?" in str(caught.value)
