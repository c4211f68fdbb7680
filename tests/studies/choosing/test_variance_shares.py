"""Shares of variance against closed forms, and what cannot be."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piezolab.studies.choosing.variance_shares import variance_shares


def estimated(f, sizes: list[int], seed: int, size: int = 20_000):
    """Of a function of several inputs, each of so many standard normal numbers."""
    rng = np.random.default_rng(seed)
    a, b = ([rng.normal(size=(n, size)) for n in sizes] for _ in range(2))
    mixed = [f(*(b[j] if j == k else a[j] for j in range(len(sizes)))) for k in range(len(sizes))]
    return variance_shares(f(*a), f(*b), np.stack(mixed))


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.floats(0.0, 3.0), st.floats(0.0, 3.0), st.floats(-1e4, 1e4))
def test_of_a_sum_each_has_its_share_of_the_variance(seed, a, b, constant) -> None:
    """Closed form: f = c + X + a Y + b Z; first and total are the same."""
    found = estimated(lambda x, y, z: constant + (x + a * y + b * z)[0], [1, 1, 1], seed)
    true = np.array([1.0, a**2, b**2]) / (1 + a**2 + b**2)
    for share, error in ((found.first, found.first_error), (found.total, found.total_error)):
        assert np.all(np.abs(share - true) < 5 * error + 1e-9)
        assert np.all(error < 0.03)


def test_of_a_product_the_pair_has_it_all_and_neither_alone() -> None:
    found = estimated(lambda x, y: (x * y)[0], [1, 1], 3)
    np.testing.assert_allclose(found.first, [0.0, 0.0], atol=0.05)
    np.testing.assert_allclose(found.total, [1.0, 1.0], atol=0.1)
    pair = estimated(lambda x, y: x[0] * x[1] + 0 * y[0], [2, 1], 3)
    np.testing.assert_allclose(pair.first, [1.0, 0.0], atol=0.1)
    np.testing.assert_allclose(pair.total, [1.0, 0.0], atol=0.1)
    assert pair.total[1] == 0.0


def test_batches_are_the_same_as_one_by_one() -> None:
    rng = np.random.default_rng(0)
    a, b, ab = rng.normal(size=(4, 100)), rng.normal(size=(4, 100)), rng.normal(size=(4, 3, 100))
    whole = variance_shares(a, b, ab)
    for k in range(4):
        one = variance_shares(a[k], b[k], ab[k])
        np.testing.assert_allclose(whole.first[k], one.first, rtol=1e-12)
        np.testing.assert_allclose(whole.total_error[k], one.total_error, rtol=1e-12)


def test_what_does_not_vary_has_no_share() -> None:
    still = np.full(100, 3.0)
    found = variance_shares(still, still, np.stack([still, still]))
    for each in (found.first, found.total, found.first_error, found.total_error):
        assert np.all(each == 0)


@pytest.mark.parametrize(
    ("shapes", "words"),
    [
        (((40,), (40,), (2, 40)), "samples: 40 are too few; allowed is 50 and above"),
        (((60,), (61,), (2, 60)), "allowed is"),
        (((60,), (60,), (60,)), "allowed is"),
        (((60,), (60,), (2, 61)), "allowed is"),
    ],
)
def test_what_cannot_be_is_refused(shapes, words) -> None:
    with pytest.raises(ValueError, match=words):
        variance_shares(*(np.zeros(shape) for shape in shapes))
    with pytest.raises(ValueError, match="not finite"):
        variance_shares(np.full(60, np.nan), np.zeros(60), np.zeros((1, 60)))
