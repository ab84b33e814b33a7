"""One bad target spec a message; each begins with the faults it is to give."""

from pathlib import Path

import pytest

from model import InputError
from optimiser.spec_file import read_spec

FOLDER = Path(__file__).parent / "specs"
FILES = sorted(FOLDER.glob("*.toml"))
MARK = "# expect: "


def test_there_are_bad_specs():
    assert len(FILES) > 65


@pytest.mark.parametrize(
    "path", [p for p in FILES if p.stem != "binary"], ids=lambda path: path.stem
)
def test_bad_spec_gives_its_messages(path, library):
    head = path.read_text(encoding="utf-8").splitlines()
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
