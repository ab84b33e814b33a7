"""One bad target spec a message; each begins with the faults it is to give."""

from pathlib import Path

import pytest

from model import InputError
from optimiser.spec_file import named_library, read_spec

FOLDER = Path(__file__).parent / "specs"
FILES = sorted(FOLDER.glob("*.toml"))
MARK = "# expect: "


def test_there_are_bad_specs():
    assert len(FILES) > 100


@pytest.mark.parametrize(
    "path", [p for p in FILES if p.stem != "binary"], ids=lambda path: path.stem
)
def test_bad_spec_gives_its_messages(path, library):
    head = path.read_bytes().decode(errors="replace").splitlines()
    expected = [line.removeprefix(MARK) for line in head if line.startswith(MARK)]
    assert expected
    with pytest.raises(InputError) as caught:
        read_spec(path, library)
    first, *lines = str(caught.value).splitlines()
    n = len(expected)
    assert first == f"{path}: {n} problem{'' if n == 1 else 's'}"
    assert [line.strip() for line in lines] == expected


def test_binary_spec(library):
    with pytest.raises(InputError, match="binary"):
        read_spec(FOLDER / "binary.toml", library)


def test_library_that_is_not_there(tmp_path):
    path = tmp_path / "spec.toml"
    path.write_text('format = 1\nname = "x"\nlibrary = "nowhere"\n')
    with pytest.raises(InputError) as caught:
        named_library(path)
    assert str(caught.value).splitlines() == [
        f"{path}: 1 problem",
        '  library = "nowhere": no such folder. The path is taken from the folder of '
        "this file.",
    ]
    (tmp_path / "nowhere").mkdir()
    assert named_library(path) == tmp_path / "nowhere"


def test_missing_spec_names_its_neighbour(library):
    with pytest.raises(InputError, match=r"no such file. Did you mean 'syntax.toml'?"):
        read_spec(FOLDER / "sintax.toml", library)
