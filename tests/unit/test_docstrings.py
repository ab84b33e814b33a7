"""Every public function of the model says what goes in and out, with units."""

import importlib
import inspect
import pkgutil
import re

import pytest

import model

MODULES = [
    importlib.import_module(f"model.{info.name}")
    for info in pkgutil.iter_modules(model.__path__)
]


def public_functions():
    for module in MODULES:
        for name, item in vars(module).items():
            function = getattr(item, "py_func", item)
            if name.startswith("_") or not inspect.isfunction(function):
                continue
            if function.__module__ == module.__name__:
                yield pytest.param(function, id=f"{module.__name__}.{name}")


def section(doc, title):
    found = re.search(rf"{title}\n-+\n(.*?)(?:\n\n[A-Z][a-z]+\n-+|\Z)", doc, re.DOTALL)
    return found.group(1) if found else ""


def entries_of(text):
    return re.split(r"\n(?=\S)", text) if text else []


@pytest.mark.parametrize("function", list(public_functions()))
def test_parameters_and_units_are_documented(function):
    doc = inspect.getdoc(function) or ""
    entries = entries_of(section(doc, "Parameters"))
    documented = [
        name.strip() for entry in entries for name in entry.split(" : ")[0].split(",")
    ]
    assert documented == list(inspect.signature(function).parameters)
    returned = inspect.signature(function).return_annotation
    if returned not in (None, "None", inspect.Signature.empty):
        given = entries_of(section(doc, "Returns") or section(doc, "Yields"))
        assert given, "what it returns is not documented"
        entries += given
    for entry in entries:
        assert re.search(r"\[[^\]]+\]\s*$", entry), f"no unit: {entry}"
