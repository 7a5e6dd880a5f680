"""What is usual: robust statistics of the last values."""

import numpy as np
import pytest

from sootline.analysis.usual import MAD_TO_SD, Usual


def test_median_and_robust_sd() -> None:
    usual = Usual(5)
    assert usual.median is None and usual.sd is None
    for value in (1.0, 2.0, 3.0, 4.0, 100.0):
        usual.add(value)
    assert usual.median == 3.0 and usual.sd == pytest.approx(MAD_TO_SD * 1.0)


def test_only_the_last_are_kept() -> None:
    usual = Usual(3)
    for value in range(10):
        usual.add(value)
    assert list(usual.values) == [7, 8, 9] and usual.count == 10


def test_abnormal_values_stay_out_until_they_are_the_new_normal() -> None:
    usual = Usual(20)
    for _ in range(10):
        usual.add_normal(10.0)
    for _ in range(9):
        usual.add_normal(17.0)
    assert usual.median == 10.0, "nine in a row are still abnormal"
    usual.add_normal(10.0)
    for _ in range(9):
        usual.add_normal(17.0)
    assert usual.median == 10.0, "a normal one between them starts the count anew"
    usual.add_normal(17.0)
    assert usual.median == 17.0


@pytest.mark.parametrize(("value", "kept"), [(6.0, True), (5.99, False), (16.0, True), (16.01, False)])
def test_the_bounds_of_normal(value: float, kept: bool) -> None:
    usual = Usual(20)
    for _ in range(10):
        usual.add_normal(10.0)
    usual.add_normal(value)
    assert (value in usual.values) is kept


def test_against_numpy_on_random_data() -> None:
    values = np.random.default_rng(1).normal(200, 5, 500)
    usual = Usual(50)
    for value in values:
        usual.add(float(value))
    last = values[-50:]
    middle = np.median(last)
    assert usual.median == pytest.approx(middle)
    assert usual.sd == pytest.approx(1.4826 * np.median(np.abs(last - middle)))
