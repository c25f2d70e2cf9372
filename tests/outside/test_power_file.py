"""A real power file against the figures of the package that carries it."""

import numpy as np
import pytest

from fitkit.readers.power import read_power


def test_a_real_fit_file_gives_the_figures_of_its_package(outside_data):
    # sweat 0.25.0, example 4078723797.fit: 8357 rows at 1 Hz, mean 219.0706 W, highest 1022 W at row 2715, best 5 s
    # 721.6 W.
    samples = read_power(outside_data("sweat/examples/data/4078723797.fit"))
    assert samples.time_s.size == 8357
    assert set(np.diff(samples.time_s)) == {1.0}
    assert samples.power_w.mean() == pytest.approx(219.0706, abs=5e-5)
    assert (samples.power_w.max(), samples.power_w.argmax()) == (1022, 2715)
    assert np.convolve(samples.power_w, np.ones(5) / 5, "valid").max() == pytest.approx(721.6)
