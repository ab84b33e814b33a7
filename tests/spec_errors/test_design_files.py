"""One bad design file a message; each begins with the faults it is to give."""

from pathlib import Path

import pytest

from model import InputError, evaluate, open_design

FOLDER = Path(__file__).parent / "designs"
FILES = sorted(FOLDER.glob("*.toml"))
MARK = "# expect: "


def expected_faults(path):
    """Lines of the head comment; one that ends in ... gives the beginning only."""
    lines = path.read_bytes().decode(errors="replace").splitlines()
    return [line.removeprefix(MARK) for line in lines if line.startswith(MARK)]


def test_there_are_bad_designs():
    assert len(FILES) > 50


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_bad_design_gives_its_message(path):
    expected = expected_faults(path)
    assert expected
    with pytest.raises(InputError) as caught:
        evaluate(*open_design(path))
    head, *lines = str(caught.value).splitlines()
    problems = "1 problem" if len(expected) == 1 else f"{len(expected)} problems"
    assert head.endswith(f": {problems}")
    for line, wanted in zip(lines, expected, strict=True):
        assert line.startswith("  ")
        if wanted.endswith("..."):
            assert line.strip().startswith(wanted.removesuffix("..."))
        else:
            assert line.strip() == wanted


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_message_names_the_file_or_the_design(path):
    with pytest.raises(InputError) as caught:
        evaluate(*open_design(path))
    assert caught.value.source in {str(path), "a slip in one place"}


def test_missing_file_names_its_neighbour():
    with pytest.raises(InputError, match=r"no such file. Did you mean 'syntax.toml'?"):
        open_design(FOLDER / "sintax.toml")


def test_folder_in_place_of_a_file():
    with pytest.raises(InputError, match="a folder, not a file"):
        open_design(FOLDER)


@pytest.mark.parametrize("text", ["", "  \n\n"])
def test_empty_file(tmp_path, text):
    path = tmp_path / "design.toml"
    path.write_text(text)
    with pytest.raises(InputError, match="empty"):
        open_design(path)


def test_file_too_large_to_be_a_design(tmp_path):
    path = tmp_path / "design.toml"
    path.write_text("# x\n" * 600_000)
    with pytest.raises(InputError, match="larger than 2 MB"):
        open_design(path)


def test_tables_nested_beyond_reason(tmp_path):
    path = tmp_path / "design.toml"
    path.write_text(f"x = {'[' * 100_000}{']' * 100_000}")
    with pytest.raises(InputError, match="not TOML: nested too deeply"):
        open_design(path)


def test_number_of_many_digits(tmp_path):
    path = tmp_path / "design.toml"
    path.write_text(f"format = 1\nname = {'9' * 4000}\n")
    with pytest.raises(InputError, match="a number of many digits: not a text"):
        open_design(path)


def test_byte_order_mark_and_windows_line_ends_are_read(tmp_path):
    good = Path(__file__).parents[2] / "scenarios" / "designs" / "fairway-60.toml"
    path = tmp_path / "design.toml"
    text = good.read_text(encoding="utf-8").replace("\n", "\r\n")
    path.write_bytes(text.encode("utf-8-sig"))
    assert open_design(path)[0] == open_design(good)[0]
