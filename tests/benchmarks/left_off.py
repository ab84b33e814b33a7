"""A long search that was left off, in a file: its state, and what its watch knew."""

import io
import json

import numpy as np

from optimiser.files import write_bytes
from optimiser.state import State


def write(path, code, kept, state):
    """Keep a search; an older file is replaced at once, or stays as it was."""
    words = json.dumps({"code": code, "watch": kept})
    held = io.BytesIO()
    np.savez(held, watch=np.array(words), **state.to_arrays())
    write_bytes(path, held.getvalue())


def read(path, code):
    """What the watch knew, and the state; None for both where none of the code is."""
    if not path.exists():
        return None, None
    with np.load(path, allow_pickle=False) as arrays:
        held = dict(arrays)
    words = json.loads(str(held.pop("watch")))
    if words["code"] != code:
        print(f"{path.name} is of other sources; the search begins anew", flush=True)
        return None, None
    return words["watch"], State.from_arrays(held)
