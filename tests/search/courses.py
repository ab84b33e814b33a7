"""What tests of long runs share: a small spec with islands, and when runs are equal."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import moocore
import numpy as np
import pandas as pd

from optimiser.checkpoint import read_course
from optimiser.encoding import encode
from optimiser.store import open_run
from tests.conftest import SCENARIOS

ROOT = Path(__file__).parents[2]
SPEC = SCENARIOS / "fairway_58" / "spec.toml"
#: Parts of a state's words that tell the time, which no two runs share.
TIMES = ("seconds", "first_feasible_seconds")
#: A spec of eight designs, soon all seen.
EIGHT = """
format = 1
name = "eight"
[shaft]
length = "1067 mm"
mandrel = "slim-5"
mandrel_set = "105 mm"
[targets]
torque = { trade = "less" }
material_cost = { trade = "less" }
durability = { trade = "more" }
[rules]
reorder = false
[[place]]
name = "torque pair"
material = "intermediate-75"
angle = "±45"
start = "0 mm"
end = ["700 mm", "1067 mm"]
wraps = [2, 3]
[[place]]
name = "tip"
material = "standard-125"
angle = "0"
start = "0 mm"
end = ["200 mm", "300 mm"]
wraps = 2
run_out = "50 mm"
[[place]]
name = "cover"
material = "standard-125"
angle = "0"
start = "0 mm"
end = "1067 mm"
wraps = 4
"""


def spec_with(folder, *, objectives=2, **search):
    """The scenario with keys of [search]; two objectives make a front soon written."""
    lines = [f"{key} = {json.dumps(value)}" for key, value in search.items()]
    path = folder / "spec.toml"
    text, _own = SPEC.read_text(encoding="utf-8").split("[search]")
    three = 'durability = { trade = "more", at_least = 0.15 }'
    assert three in text
    if objectives == 2:
        text = text.replace(three, "durability = { at_least = 0.15 }")
    path.write_text(text + "\n[search]\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return path


def course_of(run):
    return read_course(run, encode(run.spec, run.library))


def assert_same_course(run, other):
    """All that the checkpoints hold is equal to the last bit, but for the time."""
    a, b = course_of(run).to_arrays(), course_of(other).to_arrays()
    assert a.keys() == b.keys()
    for name in a:
        if name.endswith("words"):
            one, two = json.loads(str(a[name])), json.loads(str(b[name]))
            for words in (one, two):
                for key in TIMES:
                    words["progress"].pop(key)
            assert one == two, name
        else:
            np.testing.assert_array_equal(a[name], b[name], err_msg=name)


def assert_same_run(run, other):
    """Front, designs and checkpoint are equal to the last bit."""
    pd.testing.assert_frame_equal(run.front, other.front, check_exact=True)
    assert run.designs.keys() == other.designs.keys()
    assert_same_course(run, other)


def lost(before, after):
    """Designs of an archive that a later one neither holds nor betters.

    None, as long as no archive was thinned, which happens beyond ARCHIVE_MOST.
    """
    if before.n == 0:
        return 0
    both = np.concatenate([after.F, before.F])
    kept = moocore.is_nondominated(both, keep_weakly=True)[after.n :]
    held = {genome.tobytes() for genome in after.genomes}
    equal = {row.tobytes() for row in after.F}
    return sum(
        genome.tobytes() not in held and row.tobytes() not in equal
        for genome, row in zip(before.genomes[kept], before.F[kept], strict=True)
    )


#: Searches or resumes; checkpoints whenever it can; reports what it has evaluated;
#: takes its time to write, if asked, so that it can be killed in the middle of it.
PROGRAM = """
import os, sys, time
from pathlib import Path
import optimiser.files as files
import optimiser.run as run
import optimiser.watch as watch

spec, folder, evaluations, workers, every, slow, seen = sys.argv[1:]
watch.CHECKPOINT_EVERY = float(every)
sync = files.os.fsync

def slowly(handle):
    if os.fstat(handle).st_size > 200_000:  # a checkpoint
        time.sleep(float(slow))
    sync(handle)

class System:
    def __getattr__(self, name):
        return slowly if name == "fsync" else getattr(os, name)

if float(slow):
    files.os = System()

def listen(standing):
    progress = standing.progress
    with open(seen, "w") as stream:
        stream.write(f"{progress.evaluations} {progress.seconds}")

options = dict(evaluations=int(evaluations), hands=run.Hands(workers=int(workers)))
options["listener"] = listen
if Path(folder, "run.json").exists():
    run.resume_run(Path(folder), **options)
else:
    run.run_spec(Path(spec), out=Path(folder), **options)
"""


def start(spec, folder, evaluations, *, workers=1, every=0.0, slow=0.0):
    """Search or resume in a process of its own; what it has seen stands in a file."""
    seen = folder.with_name(folder.name + ".seen")
    seen.unlink(missing_ok=True)
    words = [spec, folder, evaluations, workers, every, slow, seen]
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, *map(str, words)],
        cwd=ROOT,
        # what is left of a killed one complains of semaphores that nobody took away
        env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "ignore"},
    )
    return process, seen


def wait_for(condition, process, limit=100.0):
    """Wait until something is so, or a process has ended."""
    deadline = time.monotonic() + limit
    while not condition() and process.poll() is None:
        assert time.monotonic() < deadline
        time.sleep(0.002)


def kill(process):
    """End a process without warning."""
    process.send_signal(signal.SIGKILL)
    process.wait()


def parts_of(folder):
    """Half-written checkpoints."""
    return list(folder.glob(".checkpoint.npz.*.part"))


def held_by(folder):
    """What the checkpoint of a run holds, whole or not at all."""
    course = course_of(open_run(folder))
    return course.progress, course.found().archive, course.hypervolume()
