"""Where a measured row comes from: the machine, and the sources of the search."""

import ast
import hashlib
import os
import platform
from functools import cache
from pathlib import Path

from tests.benchmarks.quality_table import AT_LENGTH

ROOT = Path(__file__).parents[2]


def machine():
    """The machine in a few words."""
    name = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        for line in info.read_text(encoding="utf-8").splitlines():
            if line.startswith("model name"):
                name = line.split(":", 1)[1].strip()
                break
    return f"{name}; {os.cpu_count()} cores; Python {platform.python_version()}"


def code_of(search):
    """Hash of the sources that decide what a search finds; words do not count."""
    files = sorted((ROOT / "model").glob("*.py"))
    others = {p.stem for p in (ROOT / "optimiser").glob("*.py")}
    whole = ["problem", "search"]
    roots = {"stock": ["problem"], "default": whole, AT_LENGTH: whole}
    if search not in ("default", AT_LENGTH):
        tests = ROOT / "tests"
        files += [tests / "benchmarks" / "rivals.py", tests / "shop_rules.py"]
    roots = roots.get(search, ["problem", "breeding"])
    names = sorted({*roots, *(n for root in roots for n in _imported(root, others))})
    files += [ROOT / "optimiser" / f"{name}.py" for name in names]
    digest = hashlib.sha256()
    for path in files:
        code = _without_words(path.read_text(encoding="utf-8"))
        digest.update(path.stem.encode() + code)
    return digest.hexdigest()[:10]


@cache
def _without_words(text):
    """What a source does, whatever its docstrings and comments say."""
    tree = ast.parse(text)
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list) and body and isinstance(body[0], ast.Expr):
            value = body[0].value
            if isinstance(value, ast.Constant) and isinstance(value.value, str):
                body[0].value = ast.Constant("")
    return ast.dump(tree).encode()


def _imported(name, others):
    """Modules of the optimiser that a module needs, itself left out."""
    seen, ahead = set(), [name]
    while ahead:
        path = ROOT / "optimiser" / f"{ahead.pop()}.py"
        new = (_named(path.read_text(encoding="utf-8")) & others) - seen
        seen |= new
        ahead += new
    return seen


@cache
def _named(text):
    """Modules of the optimiser that a source imports from."""
    return {
        node.module.split(".")[1]
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.ImportFrom)
        and (node.module or "").startswith("optimiser.")
    }
