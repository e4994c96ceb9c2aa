"""How a polymer gives with time, and what that leaves of a force that is held between springs.

The law is linear in stress. Times are in seconds; Findley's law counts in hours, as tables of creep do.
Sources: W. N. Findley, J. S. Lai and K. Onaran, Creep and Relaxation of Nonlinear Viscoelastic Materials (1976);
R. Gorenflo and F. Mainardi, Fractional calculus (1997), for the function of Mittag-Leffler as an integral.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from fem.errors import InputError
from fem.tensors import Array

HOUR = 3600.0
"""[s]."""
DEFAULTS = Path(__file__).parent / "creep.toml"
EXPONENTS = (0.02, 0.8)
"""Between these, exponents of polymers lie (0.05 to 0.4 as a rule)."""


@dataclass(frozen=True)
class Findley:
    """strain(t) = elastic strain (1 + `first_hour` (t / 1 h)^`exponent`). `source` says where it comes from.

    Errors: InputError for an exponent outside EXPONENTS or a negative growth.
    """

    first_hour: float
    exponent: float
    source: str = ""
    estimate: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.first_hour < math.inf:
            raise InputError(f"creep of {self.first_hour:g} in the first hour cannot be.")
        if not EXPONENTS[0] <= self.exponent <= EXPONENTS[1]:
            raise InputError(
                f"an exponent of creep of {self.exponent:g} lies outside {EXPONENTS[0]:g} to {EXPONENTS[1]:g}."
            )

    def compliance(self, time: Any) -> Array:
        """Strain at constant stress over elastic strain (...) after `time` (...) [s]."""
        return 1 + self.first_hour * (np.asarray(time, dtype=float) / HOUR) ** self.exponent

    def kept(self, time: Any, share: float = 1.0) -> Array:
        """The part (...) of a held force that is left after `time` (...) [s], where the polymer makes up `share` of
        what all parts in a row give elastically; the rest are springs. 1: nothing but polymer, stress relaxation.

        Laplace's transform of  F + share * d(compliance) * F = F_0  inverts to E_n(-share * m * Gamma(1 + n) * t^n).
        """
        hours = np.asarray(time, dtype=float) / HOUR
        return mittag_leffler(
            self.exponent, share * self.first_hour * math.gamma(1 + self.exponent) * hours**self.exponent
        )


@dataclass(frozen=True)
class Prony:
    """modulus(t) = E_0 (1 - sum g_i (1 - exp(-t / tau_i))), `shares` g_i and `times` tau_i [s].

    Errors: InputError for shares that are not positive or reach one together, or times that are not positive.
    """

    shares: tuple[float, ...]
    times: tuple[float, ...]
    source: str = ""
    estimate: bool = False

    def __post_init__(self) -> None:
        if len(self.shares) != len(self.times) or not self.shares:
            raise InputError("a Prony series needs a time for each of its shares.")
        if not (min(self.shares) > 0 and sum(self.shares) < 1 and 0 < min(self.times) <= max(self.times) < math.inf):
            raise InputError("shares of a Prony series are above zero and below one together, its times above zero.")

    def relaxation(self, time: Any) -> Array:
        """Modulus over the elastic one (...) after `time` (...) [s]."""
        t = np.asarray(time, dtype=float)[..., None]
        return 1 - (np.array(self.shares) * -np.expm1(-t / np.array(self.times))).sum(axis=-1)

    def kept(self, time: Any, share: float = 1.0) -> Array:
        """As `Findley.kept`: the modes of the linear equations of the series' dashpots."""
        g, tau = np.array(self.shares), np.array(self.times)
        # Force F = 1 - g.q with the length held at one; q' = (e - q) / tau, where the polymer's strain e is
        # 1 - (1 - share) F
        a = (-np.eye(len(g)) + (1 - share) * g[None, :]) / tau[:, None]
        rest = np.linalg.solve(a, -share / tau)
        rates, modes = np.linalg.eig(a)
        weights = (g @ modes) * np.linalg.solve(modes, -rest.astype(complex))
        t = np.asarray(time, dtype=float)[..., None]
        return 1 - g @ rest - (weights * np.exp(rates * t)).sum(axis=-1).real


def default_creep(state: str, *, softened: float = 1.0) -> Findley:
    """What is taken where no card says how a polymer creeps in a `state` ("dry", "conditioned", "saturated", any
    other): an estimate. `softened` is the factor on stiffness by heat: creep grows as stiffness falls (an estimate,
    too).

    Errors: InputError for a factor that cannot be.
    """
    if not 0 < softened <= 1:
        raise InputError(f"a factor on stiffness of {softened:g} cannot be.")
    table = _defaults()
    row = table[state if isinstance(table.get(state), dict) else "other"]
    n, left = row["exponent"], row["left"]
    first_hour = (1 - left) / (left * 1000**n - (1 / 60) ** n)
    return Findley(first_hour / softened, n, table["source"], estimate=True)


@cache
def _defaults() -> dict[str, Any]:
    return tomllib.loads(DEFAULTS.read_text(encoding="utf-8"))


def mittag_leffler(order: float, z: Any) -> Array:
    """E_order(-z) (...) for z >= 0 (...) and 0 < order < 1: what is left of a force that creep lets go by t^order.

    The integral over relaxation times, by the trapezoidal rule in their logarithm, which converges exponentially
    (1e-12). For order 1/2 it is exp(z^2) erfc(z).
    """
    z = np.asarray(z, dtype=float)
    step = min(0.02, order / 8)
    w = np.arange(-36.0, 36.0 + step, step)
    weight = step * math.sin(math.pi * order) / (math.pi * order) / (2 * np.cosh(w) + 2 * math.cos(math.pi * order))
    with np.errstate(divide="ignore", over="ignore"):
        log_time = np.log(z)[..., None] / order
        decay = np.exp(-np.exp(np.minimum(log_time + w / order, 700.0)))
    return np.where(z == 0, 1.0, decay @ weight)
