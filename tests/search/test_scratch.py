"""Nothing of the designs before is left in what a design measures."""

import numpy as np
import pytest

from model import evaluate_batch, workspace
from optimiser.breeding import breed
from optimiser.encoding import encode
from optimiser.spec_file import read_spec
from tests.conftest import SCENARIOS


@pytest.mark.parametrize("scenario", ["fairway_58", "iron_95"])
def test_order_and_old_scratch_change_nothing(scenario, library):
    spec = read_spec(SCENARIOS / scenario / "spec.toml", library)
    encoding = encode(spec, library)
    rng = np.random.default_rng(3)
    none = np.zeros((0, encoding.n_genes), dtype=np.int64)
    mates = np.zeros((0, 1), dtype=np.int64)
    genomes, _ = breed(none, mates, encoding.tables, rng, 2_000)
    conditions = encoding.conditions

    def measured(genomes, rubbish):
        layups, _ = encoding.decode(genomes)
        size = layups.sheet.shape[1], float(layups.length.max())
        work = workspace(conditions, *size)
        for array in work:
            if array.dtype == float:
                array[...] = rubbish
        return evaluate_batch(layups, conditions, work=work)

    usual = measured(genomes, 0.0)
    order = rng.permutation(len(genomes))
    for rubbish in (0.0, 7e7):
        other = measured(genomes[order], rubbish)
        for name in ("metrics", "EI", "shop"):
            one, two = getattr(usual, name)[order], getattr(other, name)
            np.testing.assert_array_equal(one, two, err_msg=name)
