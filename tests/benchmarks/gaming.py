"""What small shifts and finer numbers do to designs of the best known fronts.

Run as ``python tests/benchmarks/gaming.py``. Ten designs spread over each kept front
are evaluated again at ten times the stations, there with the exact section too, with
every end and the mandrel set moved by 2 mm, and what leaves its bands is counted. A
front that lived on a hole in the scoring would not stand this. ``--out`` keeps the
report, as ``results/gaming.txt`` does.
"""

import argparse
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from model import evaluate, read_library  # noqa: E402
from optimiser.files import write_text  # noqa: E402
from optimiser.nudge import Nudges, nudged, spread  # noqa: E402
from optimiser.nudge_text import nudge_text  # noqa: E402
from tests.benchmarks import kept_front, provenance  # noqa: E402


def nudges_of(scenario, library, *, n, by, draws, seed):
    """Nudges of designs spread over the kept front of a scenario."""
    encoding = kept_front.load(scenario, library)
    front = kept_front.read(scenario, encoding)
    chosen = front.genomes[spread(front.F, n, seed)]
    designs = [encoding.design(genome, scenario) for genome in chosen]
    named = {evaluate(design, library).design_id: design for design in designs}
    table = nudged(encoding.spec, library, named, by=by, draws=draws, seed=seed)
    return Nudges(
        table=table,
        by=by,
        draws=draws,
        seed=seed,
        front=front.n,
        currency=library.currency,
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenario", nargs="+", default=kept_front.scenario_names())
    parser.add_argument("--designs", type=int, default=10, help="of each front")
    parser.add_argument("--out", type=Path, help="file for the report")
    arguments = parser.parse_args()
    library = read_library()
    parts = [
        f"python tests/benchmarks/gaming.py --designs {arguments.designs}\n"
        f"sources {provenance.code_of('default')}\n"
    ]
    for scenario in arguments.scenario:
        nudges = nudges_of(
            scenario, library, n=arguments.designs, by=0.002, draws=64, seed=1
        )
        parts.append(f"{scenario}\n{'=' * len(scenario)}\n\n{nudge_text(nudges)}\n")
        print(parts[-1], flush=True)
    if arguments.out is not None:
        write_text(arguments.out, "\n".join(parts))


if __name__ == "__main__":
    main()
