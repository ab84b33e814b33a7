"""A run that is killed twenty times without warning, and what is left each time.

Run as ``python tests/benchmarks/kill_loop.py``. A search on islands, worked on by two
processes, is started and killed (SIGKILL), over and over: at random instants, and
every other time while its checkpoint is being written, which is made slow for it.
After each kill the table says when and where it was hit, how far the search had come
by what it last told, what the checkpoint holds, how old that was, and how many designs
of the archive before are neither held nor bettered now. The archive shrinks where a new
design betters several, and where it is thinned (beyond 4,000 designs, which only the
three objectives of ``--objectives 3`` come to). At the end the run is resumed to its
budget and compared with one that nobody touched. Ends with status 1 if a checkpoint was
older than a minute, a design was lost other than by thinning, or a bit differs.
``results/kill_loop.txt`` holds what both print.
"""

import argparse
import os
import random
import signal
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from optimiser.run import Hands, resume_run, run_spec
from optimiser.survival import ARCHIVE_MOST
from tests.benchmarks.provenance import code_of, machine
from tests.search.courses import (
    assert_same_run,
    held_by,
    kill,
    lost,
    parts_of,
    spec_with,
    start,
    wait_for,
)

#: Oldest that a checkpoint may be. [s]
OLDEST = 60.0
#: The write is made to last so long. [s]
SLOW = 0.5
#: Share of the hypervolume that thinning may cost.
THINNED = 1e-4


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--every", type=float, default=1.0, help="checkpoints, s")
    parser.add_argument("--longest", type=float, default=5.0, help="until a kill, s")
    parser.add_argument("--objectives", type=int, choices=(2, 3), default=2)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    print("python tests/benchmarks/kill_loop.py", *sys.argv[1:])
    every = f"checkpoints every {options.every:g} s"
    print(f"{machine()}; two islands, two processes, {every}")
    print(f"sources {code_of('default')}")
    print()
    draw = random.Random(options.seed)
    is_good = True
    with tempfile.TemporaryDirectory() as name:
        base = Path(name)
        is_thinned = options.objectives == 3  # two never fill the archive
        search = {"population": 100, "islands": 2, "exchange": 2_000}
        spec = spec_with(base, objectives=options.objectives, **search)
        folder = base / "run"
        before, archive, volume = 0, None, 0.0
        print(
            f"{'kill':>4} {'after/s':>8} {'where':<14} {'reached':>9} {'held':>9} "
            f"{'lost/s':>7} {'archive':>8} {'hypervolume':>12} {'designs lost':>13}"
        )
        for i in range(options.kills):
            in_the_write = i % 2 == 1
            slow = SLOW if in_the_write else 0.0
            process, seen = start(
                spec, folder, 10**9, workers=2, every=options.every, slow=slow
            )
            wait_for(seen.exists, process)
            begun = time.monotonic()
            until = begun + draw.uniform(0.0, options.longest)
            wait_for(lambda until=until: time.monotonic() >= until, process)
            if in_the_write:
                # one that just begins, not one that is nearly over
                wait_for(lambda: not parts_of(folder), process)
                wait_for(lambda: parts_of(folder), process)
                time.sleep(draw.uniform(0.0, 0.8 * SLOW))
            where = "in the write" if parts_of(folder) else "between writes"
            after = time.monotonic() - begun
            kill(process)
            words = seen.read_text().split() or ["0", "0"]
            reached, reached_at = int(words[0]), float(words[1])
            if (folder / "checkpoint.npz").exists():
                progress, now, share = held_by(folder)
                held, age = progress.evaluations, reached_at - progress.seconds
                gone = 0 if archive is None else lost(archive, now)
                may_go = is_thinned and now.n >= ARCHIVE_MOST * 3 // 4
                is_good &= gone == 0 or may_go
                least = volume * (1.0 - THINNED) if may_go else volume - 1e-12
                is_good &= held >= before and share >= least
                before, archive, volume = held, now, share
                n = now.n
            else:
                held, age, gone, n, share = 0, reached_at, 0, 0, 0.0
            is_good &= age <= OLDEST
            print(
                f"{i + 1:>4} {after:>8.2f} {where:<14} {reached:>9,} {held:>9,} "
                f"{max(age, 0.0):>7.2f} {n:>8,} {share:>12.6f} {gone:>13}",
                flush=True,
            )
        budget = before + 10_000
        run = resume_run(folder, evaluations=budget, hands=Hands(workers=2))
        whole = run_spec(
            spec, out=base / "whole", evaluations=budget, hands=Hands(workers=1)
        )
        assert_same_run(run, whole)
        print(
            f"resumed to {run.about['evaluations']:,} evaluations: front of "
            f"{len(run.front):,} designs; populations, archives and random states are "
            "those of a run in one sitting, by one process, to the last bit"
        )
    return 0 if is_good else 1


if __name__ == "__main__":
    if not hasattr(signal, "SIGKILL") or not hasattr(os, "kill"):
        sys.exit("needs a system with SIGKILL")
    sys.exit(main())
