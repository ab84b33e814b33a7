"""Errors of the fast gross area, which the search is priced by, against laid pieces.

Run as ``python tests/benchmarks/lay_errors.py``. Of designs spread over the best known
front of each scenario, where whatever the fast area leaves too cheap has been found,
and of the packaged designs, all pieces of a batch are laid on their rolls. What is cut
off is compared with the fast gross area, at each material's price.
"""

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from model import evaluate, open_design, pieces_of, read_library  # noqa: E402
from optimiser.nudge import spread  # noqa: E402
from optimiser.sheet import lays_of  # noqa: E402
from tests.benchmarks import kept_front  # noqa: E402

SCENARIOS = ("driver_40", "fairway_58", "hybrid_85", "iron_95")
PACKAGED = ("fairway-60", "iron-95")


@dataclass(frozen=True, kw_only=True)
class LayError:
    """The fast gross area of a design beside its lays."""

    of: str  #: scenario or packaged design
    batch: int  #: shafts
    fast: float  #: cost by the fast gross area, of a shaft
    laid: float  #: cost by the roll that is cut off, of a shaft
    area_net: float  #: of the pieces of a batch [m²]
    area_roll: float  #: [m²]
    by_material: dict[str, float]  #: fast over laid, less one

    @property
    def error(self):
        return self.fast / self.laid - 1.0

    @property
    def used(self):
        return self.area_net / self.area_roll


def front_designs(scenario, library, n):
    """Designs spread over the best known front of a scenario."""
    encoding = kept_front.load(scenario, library)
    front = kept_front.read(scenario, encoding)
    chosen = spread(front.F, n, seed=1)
    return [encoding.design(front.genomes[i], scenario) for i in chosen]


def lay_error(of, design, library, batch):
    cutting = replace(design.cutting, batch=batch)
    report = evaluate(replace(design, cutting=cutting), library)
    lays = lays_of(report, library, pieces_of(report, library), batch)
    fast, laid = {}, {}
    for lay in lays:
        price = library.prepregs[lay.material].price
        laid[lay.material] = lay.area * price / batch
        fast[lay.material] = sum(
            flag.cost for flag in report.flags if flag.material == lay.material
        )
    return LayError(
        of=of,
        batch=batch,
        fast=sum(fast.values()),
        laid=sum(laid.values()),
        area_net=sum(lay.area_net for lay in lays),
        area_roll=sum(lay.area for lay in lays),
        by_material={name: fast[name] / laid[name] - 1.0 for name in fast},
    )


def packaged_error(name, batch):
    design, library = open_design(ROOT / "scenarios" / "designs" / f"{name}.toml")
    return lay_error(name, design, library, batch)


def scenario_errors(name, batches, n):
    library = read_library()
    designs = front_designs(name, library, n)
    return [
        lay_error(name, design, library, batch)
        for batch in batches
        for design in designs
    ]


def table(errors):
    lines = [
        "| designs | batch | roll used [%] | fast / laid - 1 [%] | mean [%] "
        "| by material [%] |",
        "|---|---|---|---|---|---|",
    ]
    groups = {}
    for one in errors:
        groups.setdefault((one.of, one.batch), []).append(one)
    for (of, batch), members in groups.items():
        used = [100 * one.used for one in members]
        off = [100 * one.error for one in members]
        materials = [100 * e for one in members for e in one.by_material.values()]
        lines.append(
            f"| {of} ({len(members)}) | {batch} | {min(used):.0f} to {max(used):.0f} "
            f"| {min(off):+.1f} to {max(off):+.1f} | {np.mean(off):+.1f} "
            f"| {min(materials):+.0f} to {max(materials):+.0f} |"
        )
    return "\n".join(lines)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--designs", type=int, default=6, help="of each front")
    parser.add_argument(
        "--batch", type=int, nargs="+", default=[100, 12], help="shafts"
    )
    arguments = parser.parse_args()
    errors = []
    for batch in arguments.batch:
        errors += [packaged_error(name, batch) for name in PACKAGED]
    for name in SCENARIOS:
        errors += scenario_errors(name, arguments.batch, arguments.designs)
        print(table(errors[-len(arguments.batch) * arguments.designs :]), flush=True)
    print(table(errors))
    worst = max(abs(one.error) for one in errors)
    print(f"largest error {100 * worst:.1f} %")


if __name__ == "__main__":
    main()
