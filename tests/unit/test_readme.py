"""What README shows works as printed."""

import re
import shlex

from optimiser.cli import _parser
from optimiser.spec_file import spec_from_text
from tests.conftest import SCENARIOS

ROOT = SCENARIOS.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language):
    return re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)


def test_the_spec_is_a_good_spec(library):
    spec = spec_from_text(blocks("toml")[0], "README.md", library)
    assert [target.metric for target in spec.trades] == [
        "torque",
        "material_cost",
        "durability",
    ]


def test_the_python_example_runs(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    exec(compile(blocks("python")[0], "README.md", "exec"), {})
    assert "Frequency" in capsys.readouterr().out


def test_the_commands_parse():
    lines = [line for block in blocks("console") for line in block.splitlines()]
    commands = [line for line in lines if line.startswith("plyfront ")]
    assert len(commands) >= 7
    for line in commands:
        words = shlex.split(line.split(" # ")[0])[1:]
        assert _parser().parse_args(words).command == words[0]


def test_the_pictures_are_there():
    names = re.findall(r"!\[[^]]+\]\(([^)]+)\)", README)
    assert len(names) >= 3
    for name in names:
        assert (ROOT / name).stat().st_size > 10_000
