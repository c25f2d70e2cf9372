"""Intraclass correlations against an independent library that takes seconds to import."""

import warnings

import numpy as np
import pandas as pd
import pytest

from fitkit.calculations import repeatability


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_icc_and_its_intervals_are_those_of_pingouin(seed):
    import pingouin

    rng = np.random.default_rng(seed)
    table = 14 + rng.normal(0, 3, (8, 1)) + rng.normal(0, 1, (1, 3)) + rng.normal(0, 1, (8, 3))
    long = pd.DataFrame([(i, k, table[i, k]) for i in range(8) for k in range(3)], columns=["target", "by", "mm"])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own use of pandas is not ours to mend
        theirs = pingouin.intraclass_corr(long, targets="target", raters="by", ratings="mm")
    ours, row = repeatability.icc(table), theirs.iloc[1]  # form (2,1) is its second row
    assert ours.value == pytest.approx(row["ICC"], abs=1e-9)
    ends = row[next(name for name in row.index if name.startswith("CI95"))]
    assert (ours.low, ours.high) == pytest.approx(tuple(ends), abs=0.0051)  # it rounds them to two digits
