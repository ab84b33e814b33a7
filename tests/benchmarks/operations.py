"""Floating-point operations that the evaluation of a design needs, counted.

Run as ``python tests/benchmarks/operations.py SCENARIO``. The compiled functions are
run by plain Python, with every arithmetic operator of their sources replaced by one
that counts when an operand is a floating-point number. What is counted is what the
sources say; a compiler may fold some of it. Prints operations per design by kind, as
JSON.
"""

import ast
import json
import math
import operator
import os
import sys
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder
from pathlib import Path

if __name__ == "__main__":
    # not where a test run looks for doctests: it would run all tests uncompiled
    os.environ["NUMBA_DISABLE_JIT"] = "1"
ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402

KINDS = {
    ast.Add: ("add", operator.add),
    ast.Sub: ("add", operator.sub),
    ast.Mult: ("multiply", operator.mul),
    ast.Div: ("divide", operator.truediv),
    ast.Pow: ("multiply", operator.pow),
}
counts = dict.fromkeys(("add", "multiply", "divide", "compare", "function"), 0)


def _counting(kind, work):
    def apply(a, b):
        if isinstance(a, float) or isinstance(b, float):
            counts[kind] += 1
        elif isinstance(a, np.ndarray) or isinstance(b, np.ndarray):
            counts[kind] += np.broadcast(a, b).size
        return work(a, b)

    return apply


OPERATORS = {kind.__name__: _counting(*what) for kind, what in KINDS.items()}
OPERATORS["DivByConstant"] = _counting("multiply", operator.truediv)


def _compared(a, b):
    if isinstance(a, float) or isinstance(b, float):
        counts["compare"] += 1
    return a


class _Rewrite(ast.NodeTransformer):
    """``a + b`` becomes a call that counts; so do comparisons and square roots."""

    def visit_BinOp(self, node):
        self.generic_visit(node)
        if type(node.op) not in KINDS:
            return node
        kind = type(node.op).__name__
        if kind == "Div" and isinstance(node.right, ast.Constant):
            # the compiler multiplies by its inverse
            kind = "DivByConstant"
        return _call(kind, node.left, node.right)

    def visit_AugAssign(self, node):
        self.generic_visit(node)
        if type(node.op) not in KINDS:
            return node
        read = ast.parse(ast.unparse(node.target), mode="eval").body
        value = _call(type(node.op).__name__, self.visit(read), node.value)
        return ast.Assign(targets=[node.target], value=value)

    def visit_Compare(self, node):
        self.generic_visit(node)
        if isinstance(node.ops[0], ast.Lt | ast.LtE | ast.Gt | ast.GtE):
            node.left = _call("Compare", node.left, node.comparators[0])
        return node

    def visit_Call(self, node):
        self.generic_visit(node)
        name = ast.unparse(node.func)
        if name in {f"np.{f}" for f in ("sqrt", "sin", "cos", "exp", "log", "arctan2")}:
            node.func = ast.Call(
                ast.Name("_counted_function", ast.Load()), [node.func], []
            )
        return node


def _call(name, *arguments):
    return ast.Call(ast.Name(f"_counted_{name}", ast.Load()), list(arguments), [])


def _counted_function(function):
    def apply(*arguments):
        counts["function"] += 1
        return function(*arguments)

    return apply


class _Finder(MetaPathFinder, Loader):
    """Imports the modules of `model` from rewritten sources."""

    def find_spec(self, name, path=None, _target=None):
        found = PathFinder.find_spec(name, path) if name.startswith("model.") else None
        if found is None or found.origin is None:
            return None
        return ModuleSpec(name, self, origin=found.origin)

    def exec_module(self, module):
        path = Path(module.__spec__.origin)
        module.__file__ = str(path)
        tree = _Rewrite().visit(ast.parse(path.read_text(encoding="utf-8")))
        ast.fix_missing_locations(tree)
        names = {f"_counted_{name}": work for name, work in OPERATORS.items()}
        module.__dict__.update(names)
        module._counted_Compare = _compared
        module._counted_function = _counted_function
        exec(compile(tree, str(path), "exec"), module.__dict__)


def operations(scenario, n=40):
    """Operations per design by kind, over children of a scenario; and its metrics."""
    sys.meta_path.insert(0, _Finder())
    from model import evaluate_batch, read_library, workspace
    from optimiser.breeding import breed
    from optimiser.encoding import encode
    from optimiser.spec_file import read_spec

    library = read_library()
    spec = read_spec(ROOT / "scenarios" / scenario / "spec.toml", library)
    encoding = encode(spec, library)
    nothing = np.zeros((0, encoding.n_genes), dtype=np.int64)
    mates = np.zeros((0, 1), dtype=np.int64)
    rng = np.random.default_rng(1)
    genomes, _ = breed(nothing, mates, encoding.tables, rng, n)
    layups, _ = encoding.decode(genomes)
    longest = float(layups.length.max())
    work = workspace(encoding.conditions, layups.sheet.shape[1], longest)
    for kind in counts:
        counts[kind] = 0
    with np.errstate(all="ignore"):
        report = evaluate_batch(layups, encoding.conditions, work=work)
    assert math.isfinite(report.metrics[:, 0].sum())
    return {kind: count / n for kind, count in counts.items()}


if __name__ == "__main__":
    print(json.dumps(operations(sys.argv[1])))
