"""How old a checkpoint gets while a run goes on."""

import time

import numpy as np
import pytest

from optimiser import watch
from tests.search.courses import kill, spec_with, start


def test_a_checkpoint_is_never_a_minute_old():
    """With what a generation of the slowest kind takes, and the write itself."""
    assert watch.CHECKPOINT_EVERY + 15.0 < 60.0


@pytest.mark.slow
def test_checkpoints_come_within_a_minute_of_one_another(tmp_path):
    """As they come of themselves, where they come least often: many islands on one
    process, and populations that take long."""
    sizes = {"population": 1_000, "islands": 4, "exchange": 10_000}
    spec = spec_with(tmp_path, objectives=3, **sizes)
    every = watch.CHECKPOINT_EVERY
    process, _ = start(spec, tmp_path / "run", 10**9, every=every)
    written = [time.time()]
    try:
        while time.time() < written[0] + 240.0:
            assert process.poll() is None
            path = tmp_path / "run" / "checkpoint.npz"
            if path.exists() and path.stat().st_mtime > written[-1]:
                written.append(path.stat().st_mtime)
            time.sleep(0.05)
    finally:
        kill(process)
    assert len(written) > 5
    assert np.diff([*written, time.time()]).max() < 60.0
