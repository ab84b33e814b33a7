"""Rows of the accuracy table that rest on solid finite-element models.

The solids take long and a library that users need not have, so their figures are kept
with the package, together with the walls and the shaft they belong to. What is ours is
computed anew from those each time.
"""

import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Final

import numpy as np
from numpy.typing import NDArray

from model.accuracy import AccuracyWord, Case, Checks, within
from model.design import Design
from model.design_file import design_from_text
from model.elasticity import exact_section
from model.laminate import ring_stiffness, tube_section
from model.library import Library, read_library
from model.shaft import evaluate
from model.solid import rotated_solid, solid_stiffness

Array = NDArray[np.float64]

FORMULA: Final = "section formula"
EXACT_SECTION: Final = "exact section"
#: A whole shaft as `evaluate` predicts it, with either section.
WHOLE: Final = "fast section"
WHOLE_EXACT: Final = "exact section"
#: Metrics of the shaft that its solid gives too.
SHAFT_METRICS: Final = ("cantilever_deflection", "frequency", "torque")
#: The design whose solid is kept.
SHAFT: Final = "shaft"
_FOLDER: Final = files("model") / "data" / "accuracy"

SOLIDS = Checks("Solid finite elements")


@dataclass(frozen=True, slots=True)
class SolidWall:
    """A uniform tube of a few rings."""

    name: str
    #: E1, E2, G12, nu12, fibre angle, whether a pair, from the bore outward [Pa, rad]
    rings: tuple[tuple[float, float, float, float, float, bool], ...]
    radii: tuple[float, ...]  #: of the interfaces, one more than rings [m]


@dataclass(frozen=True, slots=True)
class SolidFigure:
    """A figure of the study as it was recorded."""

    case: str  #: name of a wall, or the shaft
    quantity: str  #: EI, GJ, EA; or a metric of the shaft
    method: str  #: how ours was computed
    ours: float  #: when it was recorded [SI]
    solid: float  #: [SI]


def _text(name: str) -> str:
    return (_FOLDER / name).read_text(encoding="utf-8")


def _rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(_text(name).splitlines()))


@lru_cache(maxsize=1)
def solid_walls() -> tuple[SolidWall, ...]:
    """Tubes that were also modelled as solids.

    Returns
    -------
    walls : tuple of SolidWall
        As recorded. [SI]
    """
    rows: dict[str, list[dict[str, str]]] = {}
    for row in _rows("walls.csv"):
        rows.setdefault(row["wall"], []).append(row)
    walls = []
    for name, layers in rows.items():
        radii = [float(layers[0]["bore_radius_mm"]) * 1e-3]
        rings = []
        for layer in layers:
            radii.append(radii[-1] + float(layer["thickness_mm"]) * 1e-3)
            E1, E2, G12 = (float(layer[f"{m}_gpa"]) * 1e9 for m in ("e1", "e2", "g12"))
            angle = layer["angle"]
            degrees = float(angle.lstrip("±"))
            is_pair = angle.startswith("±")
            nu12 = float(layer["nu12"])
            rings.append((E1, E2, G12, nu12, math.radians(degrees), is_pair))
        walls.append(SolidWall(name, tuple(rings), tuple(radii)))
    return tuple(walls)


def solid_shaft(library: Library) -> Design:
    """The shaft that was also modelled as a solid.

    Parameters
    ----------
    library : Library
        The packaged one. [-]

    Returns
    -------
    design : Design
        As recorded. [SI]
    """
    return design_from_text(_text("shaft.toml"), "shaft.toml", library)


@lru_cache(maxsize=1)
def solid_figures() -> tuple[SolidFigure, ...]:
    """Figures of the study as they were recorded.

    Returns
    -------
    figures : tuple of SolidFigure
        In the order of the file. [SI]
    """
    return tuple(
        SolidFigure(
            row["case"],
            row["quantity"],
            row["method"],
            float(row["ours"]),
            float(row["solid"]),
        )
        for row in _rows("solid.csv")
    )


def wall_figures(wall: SolidWall, method: str) -> dict[str, float]:
    """EI, GJ and EA of a tube.

    Parameters
    ----------
    wall : SolidWall
        The tube. [SI]
    method : str
        Section formula or exact section. [-]

    Returns
    -------
    figures : dict
        By symbol. [N·m², N]
    """
    edges = np.array(wall.radii)[:, None]
    if method == FORMULA:
        # the solid has a pair as one ring, so its plies are without end thin
        Q = [ring_stiffness(*ring[:5], is_pair=ring[5]) for ring in wall.rings]
        formula = tube_section(Q, edges[:-1], edges[1:])
        EI, GJ, EA = formula.EI, formula.GJ, formula.EA
    else:
        C = [
            rotated_solid(solid_stiffness(*ring[:4]), ring[4], is_pair=ring[5])
            for ring in wall.rings
        ]
        exact = exact_section(np.array(C), edges[:-1], edges[1:])
        EI, GJ, EA = exact.EI, exact.GJ, exact.EA
    return {"EI": float(EI[0]), "GJ": float(GJ[0]), "EA": float(EA[0])}


@lru_cache(maxsize=2)
def shaft_figures(method: str) -> dict[str, float]:
    """What `evaluate` predicts of the shaft whose solid is kept.

    Parameters
    ----------
    method : str
        Fast or exact section. [-]

    Returns
    -------
    figures : dict
        By metric. [SI]
    """
    library = read_library()
    design = solid_shaft(library)
    metrics = evaluate(design, library, exact=method == WHOLE_EXACT).metrics
    found = {key: metrics[key] for key in SHAFT_METRICS}
    return {key: math.nan if value is None else value for key, value in found.items()}


def _cases(
    quantity: str, method: str, share: float, names: tuple[str, ...]
) -> Iterator[Case]:
    walls = {wall.name: wall for wall in solid_walls()}
    for figure in solid_figures():
        if (figure.quantity, figure.method) != (quantity, method):
            continue
        if figure.case not in names:
            continue
        if figure.case == SHAFT:
            ours = shaft_figures(method)[quantity]
        else:
            ours = wall_figures(walls[figure.case], method)[quantity]
        yield within(ours, figure.solid, share)


def _add(quantity: str, words: str, method: str, share: float, *names: str) -> None:
    SOLIDS.line(
        f"{words}, {method}",
        "scikit-fem 12.0.2, curved hexahedra of 27 nodes; python tests/solid/study.py",
        kind=AccuracyWord.SOLID,
        mark=AccuracyWord.COMPUTED,
    )(lambda: _cases(quantity, method, share, names))


#: Walls such as shafts have, and one that is hard on the formula.
_LIKE_SHAFTS: Final = (
    "light butt",
    "wood tip",
    "hoop inside and outside",
    "one angle outside",
)
_HARD: Final = "stiff pair in a thick tip"

_add("EI", "EI of walls like shafts'", FORMULA, 5e-3, *_LIKE_SHAFTS)
_add("GJ", "GJ of walls like shafts'", FORMULA, 7e-3, *_LIKE_SHAFTS)
# the formula's EA is left out: nothing that is predicted of a shaft uses it
_add("EI", "EI of a stiff ±25 pair in a thick tip", FORMULA, 0.03, _HARD)
for _symbol in ("EI", "GJ", "EA"):
    _add(_symbol, f"{_symbol} of all walls", EXACT_SECTION, 2e-4, *_LIKE_SHAFTS, _HARD)
for _method in (WHOLE, WHOLE_EXACT):
    # the solid has a pair as one ring, whose plies do not pull against each other
    _add("cantilever_deflection", "Whole shaft, deflection", _method, 2e-3, SHAFT)
    _add("frequency", "Whole shaft, first frequency", _method, 1e-3, SHAFT)
    _add("torque", "Whole shaft, twist", _method, 2e-3, SHAFT)
