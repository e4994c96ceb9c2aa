"""From a few tests to the value that nearly all of the material has, and to how well the mean is known.

Normal scatter is assumed throughout; a factor k gives mean - k * standard deviation (n - 1 in its denominator).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

FRACTILE = 0.05
"""The characteristic value is that below which this share of all coupons lies (EN 1990, 4.2(3))."""
CONFIDENCE = 0.95
"""How sure the band of a mean is, two-sided."""
SURE = 0.75
"""How sure it is, one-sided, that the true scatter is no larger than the one that a card is given."""
FEWEST = 3
"""EN 1990, table D1, has no factor for fewer tests where the variation is unknown."""


@dataclass(frozen=True)
class Sample:
    """One quantity of some coupons, one value each, in its own unit."""

    values: tuple[float, ...]

    @property
    def n(self) -> int:
        """How many coupons."""
        return len(self.values)

    @property
    def mean(self) -> float:
        """Their mean."""
        return float(np.mean(self.values))

    @property
    def cov(self) -> float | None:
        """Their coefficient of variation; None for a single one."""
        return None if self.n < 2 else float(np.std(self.values, ddof=1)) / self.mean

    @property
    def characteristic(self) -> float | None:
        """The characteristic value by EN 1990; None with fewer than three coupons, or where scatter leaves none."""
        if self.n < FEWEST:
            return None
        assert self.cov is not None
        value = self.mean * (1 - fractile_factor(self.n) * self.cov)
        return value if value > 0 else None

    @property
    def safe_cov(self) -> float | None:
        """The coefficient of variation with a margin for few coupons (`scatter_margin`); None for a single one."""
        return None if self.cov is None else self.cov * scatter_margin(self.n)

    @property
    def half_band(self) -> float | None:
        """Half the band [its unit] in which the true mean lies, 95 of 100 times; None for a single coupon.

        Student's t (ISO 2602): it holds what differs from coupon to coupon, hence also what is read off a curve. What
        is wrong alike with all of them (a scale, a gauge length) is not in it.
        """
        if self.cov is None:
            return None
        from scipy.stats import t

        return float(t.ppf((1 + CONFIDENCE) / 2, self.n - 1)) * self.cov * self.mean / math.sqrt(self.n)


def fractile_factor(n: int) -> float:
    """k_n of EN 1990, annex D7.2, for the 5 % fractile from `n` tests with unknown variation (table D1).

    The table's numbers are those of a prediction: the next coupon lies above the value with 95 % (Student's t times
    sqrt(1 + 1 / n)). The annex calls this about the same as a confidence of 75 %; `tolerance_factor` is that itself,
    and larger from n = 5 on. Errors: ValueError for fewer than three tests, for which the table has none.
    """
    if n < FEWEST:
        raise ValueError(f"table D1 has no factor for {n} tests of unknown variation")
    from scipy.stats import t

    return float(t.ppf(1 - FRACTILE, n - 1)) * math.sqrt(1 + 1 / n)


def scatter_margin(n: int) -> float:
    """By what the standard deviation of `n` tests is multiplied so that the true one is no larger in 75 of 100 cases:
    sqrt((n - 1) / chi2), chi2 the 25 % quantile with n - 1 degrees of freedom (ISO 2854; the confidence of EN 1990).

    Few coupons scatter less than the material more often than not. Errors: ValueError for a single test.
    """
    if n < 2:
        raise ValueError("one test has no scatter")
    from scipy.stats import chi2

    return math.sqrt((n - 1) / float(chi2.ppf(1 - SURE, n - 1)))


def tolerance_factor(n: int, *, confidence: float = 0.75) -> float:
    """k for the 5 % fractile from `n` tests with unknown variation, at that one-sided `confidence`.

    The non-central t distribution with sqrt(n) z: ISO 16269-6:2014, annex for one-sided intervals.
    """
    from scipy.stats import nct, norm

    return float(nct.ppf(confidence, n - 1, math.sqrt(n) * norm.ppf(1 - FRACTILE))) / math.sqrt(n)


def sample(values: Sequence[float]) -> Sample:
    """A sample of plain numbers."""
    return Sample(tuple(float(v) for v in values))
