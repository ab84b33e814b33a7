"""How good a search is: share of the best known hypervolume, and how soon.

    python tests/benchmarks/quality.py run --evaluations 150k --seeds 5
    python tests/benchmarks/quality.py run --scenario iron_95 --search default stock
    python tests/benchmarks/quality.py table
    python tests/benchmarks/quality.py extend --scenario iron_95 --evaluations 10M
    python tests/benchmarks/quality.py merge results/a-run-folder
    python tests/benchmarks/quality.py carry --evaluations 150k

``run`` measures searches on the packaged scenarios and appends what it finds to a
table, by default results/quality.csv. Runs that the table holds already are not done
again, so a benchmark that was interrupted goes on; a search whose sources have changed
since is measured anew. ``table`` prints the summary. ``extend`` searches at length to
better the best known front, and notes that in the table; interrupted or killed, it goes
on from where it was two minutes before. Every run and ``merge`` better the front too.
``carry`` is for sources that were only tidied: it searches a little with them, on the
machine of the table's runs, and where every count and hypervolume is that of the table
to its last digit, its rows count as those of today's sources.

Hypervolume is measured from the spec's bounds on the objectives, over feasible designs
alone. At a number of evaluations it is that of the last whole generation within it.
Seconds are the processor's, for the search alone, without the measuring; compiling is
done before. On a core of its own a search takes as long by the clock.
"""

import argparse
import os
import sys
import time
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from model import InputError, read_library  # noqa: E402
from optimiser.checkpoint import read_checkpoint  # noqa: E402
from optimiser.encoding import encode  # noqa: E402
from optimiser.store import open_run  # noqa: E402
from tests.benchmarks import kept_front, left_off  # noqa: E402
from tests.benchmarks.kept_front import Front, RefusedError, hypervolume  # noqa: E402
from tests.benchmarks.provenance import code_of, machine  # noqa: E402
from tests.benchmarks.quality_table import (  # noqa: E402
    AT_LENGTH,
    differences,
    rename_code,
    summary,
)
from tests.benchmarks.rivals import SEARCHES, fresh_state  # noqa: E402

MARKS = (10_000, 30_000, 75_000, 150_000, 300_000, 600_000, 1_000_000, 2_000_000)
SECONDS = (1, 2, 5, 10, 20, 60, 120, 300)
TABLE = ROOT / "results" / "quality.csv"
#: Time between two merges of a long run. [s]
SAVE_EVERY = 120.0
COLUMNS = (
    "scenario", "search", "seed", "kind", "mark", "evaluations", "seconds",
    "hypervolume", "designs", "feasible", "first_feasible_evaluations",
    "first_feasible_seconds", "jobs", "code", "machine", "written",
)  # fmt: skip


# ----------------------------------------------------------------------- one run


@dataclass
class Watch:
    """Counts a search's evaluations and time, and notes how it stands at marks."""

    evaluations: int
    seconds: float
    reference: np.ndarray
    note: object  #: called with the kind of a mark, the mark, and how things stood
    told: object = None  #: called after each generation
    front: Front | None = None
    used: float = 0.0  #: seconds of the search, those of the watch left out
    first_seconds: float | None = None
    ahead: dict = field(default_factory=dict)
    before: dict = field(default_factory=dict)
    since: float = 0.0

    def start(self):
        self._go_on_from(self._standing(0, None, 0, None))

    def _go_on_from(self, standing):
        self.before = standing
        for kind, marks in (("evaluations", MARKS), ("seconds", SECONDS)):
            least, most = standing[kind], getattr(self, kind)
            self.ahead[kind] = [m for m in marks if least <= m <= most]
        self.since = time.process_time()

    def kept(self):
        """What is to be known to go on watching a search that was left off."""
        return {"used": self.used, "first_seconds": self.first_seconds}

    def go_on(self, kept, progress, front):
        """Start where a search was left off; marks before that were noted then."""
        self.used, self.first_seconds = kept["used"], kept["first_seconds"]
        self.front = front
        feasible, first = progress.feasible, progress.first_feasible
        self._go_on_from(
            self._standing(progress.evaluations, front.F.copy(), feasible, first)
        )

    def __call__(self, evaluations, front, *, feasible, first):
        self.used += time.process_time() - self.since
        if first is not None and self.first_seconds is None:
            self.first_seconds = self.used
        now = self._standing(evaluations, front.F.copy(), feasible, first)
        for kind, ahead in self.ahead.items():
            while ahead and now[kind] > ahead[0]:
                self.note(kind, ahead.pop(0), self._measured(self.before))
        self.before, self.front = now, front
        going = evaluations < self.evaluations and self.used < self.seconds
        if self.told is not None:
            going = self.told(now, front) and going
        self.since = time.process_time()
        return going

    def finish(self):
        """Note how it stands at the end, and at marks met to the very number."""
        for kind, ahead in self.ahead.items():
            while ahead and self.before[kind] >= ahead[0]:
                self.note(kind, ahead.pop(0), self._measured(self.before))
        found = self._measured(self.before)
        self.note("end", self.evaluations, found)
        return found

    def _standing(self, evaluations, F, feasible, first):
        return {
            "evaluations": evaluations,
            "seconds": self.used,
            "F": F,
            "feasible": feasible,
            "first_feasible_evaluations": first,
            "first_feasible_seconds": self.first_seconds,
        }

    def _measured(self, standing):
        F = standing["F"]
        return {
            **{key: value for key, value in standing.items() if key != "F"},
            "designs": 0 if F is None else len(F),
            "hypervolume": 0.0 if F is None else hypervolume(F, self.reference),
        }


def measure(task, table, kept, jobs):
    """One search of one scenario from one seed; returns what there is to say of it.

    What it found is merged into the best known front before the run counts as done.
    """
    scenario, search, seed, evaluations, seconds = task
    encoding = kept_front.load(scenario, read_library())
    warm_up(encoding, search)
    note = noting(table, scenario, search, seed, jobs)
    watch = Watch(evaluations, seconds, kept_front.corner(encoding), note)
    watch.start()
    SEARCHES[search](encoding, seed, watch)
    merged = kept_front.merge(scenario, encoding, watch.front.genomes, folder=kept)
    found = watch.finish()
    share = found["hypervolume"] / merged.after if merged.after > 0.0 else 0.0
    return (
        f"{scenario} {search} seed {seed}: {share:.4f} of the best known after "
        f"{found['evaluations']:,} evaluations, {found['seconds']:.1f} s; "
        f"first feasible after {found['first_feasible_evaluations']}; {merged}"
    )


def noting(table, scenario, search, seed, jobs):
    """What appends to the table how a search stood at a mark."""
    stamp = {
        "scenario": scenario,
        "search": search,
        "seed": seed,
        "jobs": jobs,
        "code": code_of(search),
        "machine": machine(),
    }

    def note(kind, mark, found):
        row = {**stamp, "kind": kind, "mark": mark, **found}
        row["written"] = datetime.now().astimezone().isoformat(timespec="seconds")
        append(table, row)

    return note


def warm_up(encoding, search):
    """Have everything compiled before the clock starts."""
    spec = encoding.spec
    small = replace(spec, search=replace(spec.search, population=20))
    SEARCHES[search](replace(encoding, spec=small), 0, lambda *_args, **_options: False)


def append(table, row):
    """Add a line to the table; a short write to its end is whole or not there."""
    values = []
    for name in COLUMNS:
        value = row.get(name)
        if isinstance(value, float):
            value = f"{value:.9g}"
        values.append("" if value is None else str(value))
    line = ",".join(f'"{v}"' if "," in v else v for v in values) + "\n"
    with table.open("a", encoding="utf-8") as stream:
        stream.write(line)


def begin(table):
    if not table.exists() or table.stat().st_size == 0:
        table.parent.mkdir(parents=True, exist_ok=True)
        table.write_text(",".join(COLUMNS) + "\n", encoding="utf-8")


# ------------------------------------------------------------------------- runs


def done(table, task):
    """Whether the table holds a run to its end, from today's sources."""
    if not table.exists():
        return False
    scenario, search, seed, evaluations, seconds = task
    rows = pd.read_csv(table, dtype={"code": str})
    rows = rows[
        (rows["scenario"] == scenario)
        & (rows["search"] == search)
        & (rows["seed"] == seed)
        & (rows["kind"] == "end")
        & (rows["code"] == code_of(search))
    ]
    enough = (rows["evaluations"] >= evaluations) | (rows["seconds"] >= seconds)
    return bool(enough.any())


def run(options):
    begin(options.table)
    tasks = [
        (scenario, search, seed, options.evaluations, options.seconds)
        for seed in options.seed or range(1, options.seeds + 1)
        for scenario in options.scenario
        for search in options.search
    ]
    left = [t for t in tasks if options.again or not done(options.table, t)]
    print(
        f"{len(tasks)} runs, {len(tasks) - len(left)} of them done before", flush=True
    )
    library = read_library()
    for scenario in options.scenario:
        # a kept front that cannot be merged into is better known before than after
        encoding = kept_front.load(scenario, library)
        none = kept_front.nothing(encoding).genomes
        kept_front.merge(
            scenario, encoding, none, folder=options.kept, renew=options.renew
        )
    work = Parallel(n_jobs=options.jobs, return_as="generator_unordered")(
        delayed(measure)(task, options.table, options.kept, options.jobs)
        for task in left
    )
    for words in work:
        print(words, flush=True)


def extend(options):
    begin(options.table)
    library = read_library()
    for scenario in options.scenario:
        encoding = kept_front.load(scenario, library)
        for seed in options.seed or [1]:
            task = scenario, AT_LENGTH, seed, options.evaluations, options.seconds
            if done(options.table, task):
                print(f"{scenario}, seed {seed}: done before", flush=True)
            else:
                search_at_length(encoding, task, options)


def search_at_length(encoding, task, options):
    """One long search, begun or taken up where it was left off."""
    scenario, _, seed, evaluations, seconds = task
    path = options.table.parent / "at_length" / f"{scenario}_{seed}.npz"
    code = code_of(AT_LENGTH)
    corner = kept_front.corner(encoding)
    note = noting(options.table, scenario, AT_LENGTH, seed, 1)
    warm_up(encoding, "default")
    kept, state = left_off.read(path, code)
    saved = told = time.monotonic()
    left = None

    def merge_front(front):
        merged = kept_front.merge(
            scenario, encoding, front.genomes, folder=options.kept, renew=options.renew
        )
        print(f"  {scenario}: {merged}", flush=True)

    def tell(now, front):
        nonlocal saved, told, left
        moment = time.monotonic()
        if moment - told >= 10.0:
            told = moment
            print(
                f"  {now['evaluations']:,} evaluations, {now['seconds']:.0f} s, "
                f"{front.n} designs, hypervolume {hypervolume(now['F'], corner):.4f}, "
                f"{resident() / 1e6:.0f} MB",
                flush=True,
            )
        is_due = moment - saved >= options.save_every
        # a mark that was noted is not to be noted again
        ahead = sum(map(len, watch.ahead.values()))
        if is_due or ahead != left:
            left_off.write(path, code, watch.kept(), state)
            left = ahead
        if is_due:
            merge_front(front)
            saved = time.monotonic()
        return True

    watch = Watch(evaluations, seconds, corner, note, tell)
    if state is None:
        state = fresh_state(encoding, seed)
        watch.start()
        print(f"{scenario}, seed {seed}", flush=True)
    else:
        front = Front(state.archive.genomes, state.archive.F)
        watch.go_on(kept, state.progress, front)
        n = state.progress.evaluations
        print(f"{scenario}, seed {seed}: from {n:,} evaluations on", flush=True)
    try:
        SEARCHES["default"](encoding, seed, watch, state)
    finally:
        # also when somebody has had enough
        if watch.front is not None:
            merge_front(watch.front)
    watch.finish()
    path.unlink(missing_ok=True)


def resident():
    """Memory that this process holds, where the system says so. [bytes]"""
    statm = Path("/proc/self/statm")
    if not statm.exists():
        return float("nan")
    return int(statm.read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


def carry(options):
    with TemporaryDirectory() as folder:
        fresh = Path(folder) / "fresh.csv"
        run(argparse.Namespace(**{**vars(options), "table": fresh, "again": True}))
        for search in options.search:
            words, old = differences(options.table, fresh, search)
            if words:
                print(f"{search} is another search: {words[0]}", flush=True)
                continue
            code = code_of(search)
            # what a long search finds is found by the default's sources
            heirs = [search, AT_LENGTH] if search == "default" else [search]
            n = rename_code(options.table, options.scenario, heirs, old, code)
            print(f"{search} finds what it found: {n} rows are of {code} now")


def merge(options):
    library = read_library()
    known = {
        name: kept_front.load(name, library) for name in kept_front.scenario_names()
    }
    for source in options.sources:
        if source.is_dir():
            found = open_run(source)
            encoding = encode(found.spec, found.library)
            state = read_checkpoint(found, encoding)
            genomes = state.archive.genomes if state else np.zeros((0, 0))
            same = kept_front.choices_hash(encoding)
            names = [n for n, e in known.items() if kept_front.choices_hash(e) == same]
            if not names:
                raise RefusedError(
                    f"{source} is a run of none of the packaged scenarios"
                )
        else:
            if len(options.scenario) != 1:
                raise RefusedError(f"say with --scenario of which scenario {source} is")
            names = options.scenario
            with np.load(source, allow_pickle=False) as arrays:
                name = "a_genomes" if "a_genomes" in arrays else "genomes"
                genomes = arrays[name]
            if genomes.ndim != 2 or genomes.shape[1] != known[names[0]].n_genes:
                raise RefusedError(f"{source} holds genomes of another scenario")
        merged = kept_front.merge(
            names[0], known[names[0]], genomes, folder=options.kept, renew=options.renew
        )
        print(f"{source} into {names[0]}: {merged}")


# ----------------------------------------------------------------------- command


def count(text):
    """A whole number, also as 30k or 2M."""
    sizes = {"k": 1_000, "m": 1_000_000}
    text = text.strip().replace("_", "").replace(",", "")
    size = sizes.get(text[-1:].lower(), 1)
    return int(float(text[:-1] if size > 1 else text) * size)


def parsed():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--table", action="store_true", help="same as the command table"
    )
    commands = parser.add_subparsers(dest="command")
    names = kept_front.scenario_names()

    def command(name, text):
        one = commands.add_parser(name, help=text)
        one.add_argument(
            "--kept", type=Path, default=kept_front.FOLDER,
            help="folder of the best known fronts",
        )  # fmt: skip
        return one

    def search_options(one, evaluations):
        one.add_argument("--scenario", nargs="+", choices=names, default=names)
        one.add_argument("--evaluations", type=count, default=evaluations)
        one.add_argument("--seconds", type=float, default=np.inf)
        one.add_argument("--seed", type=int, nargs="+", help="these seeds")
        one.add_argument(
            "--renew", action="store_true",
            help="write the best known front anew where physics has changed",
        )  # fmt: skip

    def searches(name, text, seeds):
        one = command(name, text)
        search_options(one, 150_000)
        one.add_argument(
            "--search", nargs="+", choices=list(SEARCHES), default=list(SEARCHES)
        )
        one.add_argument("--seeds", type=int, default=seeds, help="seeds 1 to this")
        one.add_argument("--jobs", type=int, default=1, help="runs at a time")
        one.add_argument("--table", type=Path, default=TABLE, help="CSV of runs")
        return one

    one = searches("run", "measure searches", 5)
    one.add_argument("--again", action="store_true", help="also what was done before")
    searches("carry", "have the table hold for sources that find the same", 1)
    one = command("extend", "search at length for a better best known front")
    search_options(one, 10_000_000)
    one.add_argument("--table", type=Path, default=TABLE, help="CSV to append to")
    one.add_argument("--save-every", type=float, default=SAVE_EVERY, help="seconds")
    one = command("merge", "merge run folders or .npz files of genomes")
    one.add_argument("sources", nargs="+", type=Path)
    one.add_argument("--scenario", nargs=1, choices=names, default=[])
    one.add_argument("--renew", action="store_true")
    one = command("table", "print the summary in markdown")
    one.add_argument("--table", type=Path, default=TABLE)
    options = parser.parse_args()
    if options.command is None:
        if not options.table:
            parser.error("say what to do: run, extend, merge, carry or table")
        options.command, options.table = "table", TABLE
        options.kept = kept_front.FOLDER
    return options


def main():
    options = parsed()
    try:
        if options.command == "table":
            print(summary(options.table, options.kept))
        else:
            commands = {"run": run, "extend": extend, "merge": merge, "carry": carry}
            commands[options.command](options)
    except (RefusedError, InputError, FileNotFoundError) as error:
        print(error, file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("interrupted; what was found is kept", file=sys.stderr)
        return 130
    return 0


if __name__ == "__main__":
    sys.exit(main())
