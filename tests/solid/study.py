"""Solid finite-element study: writes the figures that the accuracy table shows.

    python tests/solid/study.py

takes a quarter of a minute and 2 GB. `--fine` adds a finer mesh and prints how
far the figures move.
"""

import argparse
import csv
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from model import read_library  # noqa: E402
from model.accuracy_solid import (  # noqa: E402
    EXACT_SECTION,
    FORMULA,
    SHAFT,
    SHAFT_METRICS,
    WHOLE,
    WHOLE_EXACT,
    shaft_figures,
    solid_shaft,
    solid_walls,
    wall_figures,
)
from tests.solid.solid_shaft import SolidShaft  # noqa: E402
from tests.solid.solid_tube import section  # noqa: E402

TABLE = ROOT / "model" / "data" / "accuracy" / "solid.csv"
COLUMNS = (
    "case",
    "quantity",
    "method",
    "ours",
    "solid",
    "unit",
    "difference_pct",
    "mesh",
    "command",
)
UNITS = {
    "EI": "N m^2",
    "GJ": "N m^2",
    "EA": "N",
    "cantilever_deflection": "m",
    "frequency": "Hz",
    "torque": "rad",
}
#: elements round the circle and through each ring of a tube
TUBE_MESH = (32, 1)
FINE_TUBE_MESH = (40, 2)
#: longest element along the shaft, elements in a quarter of the circle
SHAFT_MESH = (0.010, 5)
FINE_SHAFT_MESH = (0.0075, 6)


def solid_tubes(mesh=TUBE_MESH):
    """EI, GJ, EA of each wall."""
    return {wall.name: section(wall.rings, wall.radii, *mesh) for wall in solid_walls()}


def solid_metrics(mesh=SHAFT_MESH):
    """Deflection, frequency and torque of the shaft."""
    library = read_library()
    design = solid_shaft(library)
    solid = SolidShaft(design, library, *mesh)
    deflection, frequency = solid.bending(design.bench.cantilever_load)
    _, torque = solid.torsion(design.bench.torque_moment)
    return dict(zip(SHAFT_METRICS, (deflection, frequency, torque), strict=True))


def rows():
    """The table's rows."""
    around, through = TUBE_MESH
    tube_mesh = f"1 x {around} elements; {through} a ring"
    tubes = solid_tubes()
    for method in (FORMULA, EXACT_SECTION):
        for wall in solid_walls():
            ours = wall_figures(wall, method)
            for symbol in ("EI", "GJ", "EA"):
                yield (
                    wall.name,
                    symbol,
                    method,
                    ours[symbol],
                    tubes[wall.name][symbol],
                    tube_mesh,
                )
    longest, quarter = SHAFT_MESH
    shaft_mesh = f"{longest * 1e3:g} mm x {quarter} in a quarter; 1 a flag"
    solid = solid_metrics()
    for method in (WHOLE, WHOLE_EXACT):
        ours = shaft_figures(method)
        for key in SHAFT_METRICS:
            yield SHAFT, key, method, ours[key], solid[key], shaft_mesh


def main():
    """Write the table, or print how far a finer mesh moves its figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fine", action="store_true", help="show convergence too")
    arguments = parser.parse_args()
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for case, quantity, method, ours, solid, mesh in rows():
            difference = 100 * (ours / solid - 1)
            line = (f"{ours:.8g}", f"{solid:.8g}", UNITS[quantity], f"{difference:.4f}")
            command = "python tests/solid/study.py"
            writer.writerow((case, quantity, method, *line, mesh, command))
            print(f"{case:26} {quantity:22} {method:16} {difference:+9.4f} %")
    if arguments.fine:
        coarse, fine = solid_tubes(), solid_tubes(FINE_TUBE_MESH)
        for name, found in fine.items():
            for symbol in ("EI", "GJ", "EA"):
                moved = 100 * (coarse[name][symbol] / found[symbol] - 1)
                print(f"{name:26} {symbol:22} {'mesh':16} {moved:+9.5f} %")
        coarse, fine = solid_metrics(), solid_metrics(FINE_SHAFT_MESH)
        for key, found in fine.items():
            moved = 100 * (coarse[key] / found - 1)
            print(f"{SHAFT:26} {key:22} {'mesh':16} {moved:+9.5f} %")


if __name__ == "__main__":
    main()
