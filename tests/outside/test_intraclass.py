"""Intraclass correlations against an independent library that takes seconds to import."""

import warnings

import numpy as np
import pandas as pd
import pytest

from fitkit.calculations import repeatability


def six_forms(table):
    found = repeatability.icc(table)
    return found.single_1, found.single_2, found.single_3, found.mean_1, found.mean_2, found.mean_3


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_icc_and_its_intervals_are_those_of_pingouin(seed):
    import pingouin

    rng = np.random.default_rng(seed)
    table = 14 + rng.normal(0, 3, (8, 1)) + rng.normal(0, 1, (1, 3)) + rng.normal(0, 1, (8, 3))
    long = pd.DataFrame([(i, k, table[i, k]) for i in range(8) for k in range(3)], columns=["target", "by", "mm"])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own use of pandas is not ours to mend
        theirs = pingouin.intraclass_corr(long, targets="target", raters="by", ratings="mm")
    for ours, (_, row) in zip(six_forms(table), theirs.iterrows(), strict=True):
        assert ours.value == pytest.approx(row["ICC"], abs=1e-9)
        ends = row[next(name for name in row.index if name.startswith("CI95"))]
        assert (ours.low, ours.high) == pytest.approx(tuple(ends), abs=0.0051)  # it rounds them to two digits
