"""The chance that a case's least reserve factor reaches a limit, where strengths, stiffness and loads scatter.

Each sample draws few numbers: a factor on all strengths of the beads in a zone (along, across and within the
layer), one on all that binds layers there, one on the stiffness of a body, one on each load that scatters, and one
for how far the reserve may lie off by its mesh. It is judged on stored stresses, without a solve. Dividing a stress
by the factor on its strength says the same as scaling the strength: every criterion that decides keeps its form so.

Factors on materials are lognormal with a mean of 1 (JCSS Probabilistic Model Code, Part 3: a strength is never
negative), loads normal (Part 2, permanent loads; for others the study's coefficient of variation is all that is
known), the numerical band is as likely anywhere between its ends (JCGM 100:2008, 4.3.7). Samples are a scrambled
Sobol' set, sixteen times over: how far these sixteen differ is the error of the chance (A. B. Owen, J. Complexity 14
(1998) 466). Shares are squared correlations with the logarithm of the reserve: of a linear limit state they are the
squared direction cosines (O. Ditlevsen and H. O. Madsen, Structural Reliability Methods (1996), chapter 5).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared
from fem.criteria.strength import WallBuckling, kind_of, limits_of
from fem.judging.places import BeadFamily, Places
from fem.tensors import Array

REPEATS, DRAWS = 16, 1024
SEED = 20_260
SAMPLES = REPEATS * DRAWS
UNSEEN = 3 / SAMPLES
"""What never happens in so many samples has at most this chance, with 95 % confidence ("rule of three")."""
FIRST_LOOK = 64
"""So many samples choose the beads that can be the least at all; these are judged in all samples."""
CLOSE = 1.08
"""Beads stay in the choice that come within this factor of the least in any sample of the first look."""
MOST_INPUTS = 3
BAND = "numerical band"
_BEAD = np.array([True, True, False, False, False, True])
"""Which stresses in bead axes the strengths of the beads themselves bear; the others lie on what binds layers."""


@dataclass(frozen=True)
class Scatter:
    """Coefficients of variation: of `strength` and `stiffness` of each body's material, of `loads` by name."""

    strength: Mapping[str, float] = field(default_factory=dict)
    stiffness: Mapping[str, float] = field(default_factory=dict)
    loads: Mapping[str, float] = field(default_factory=dict)

    @property
    def any(self) -> bool:
        return any(v > 0 for kind in (self.strength, self.stiffness, self.loads) for v in kind.values())


@dataclass(frozen=True)
class Chance:
    """`above` the chance that the reserve factor reaches each limit asked for, `errors` the standard error of each:
    0 where no sample, or every one, fell short, and the chance is then only a bound. `inputs` are the inputs that
    matter most, with their share in the variance of the reserve.
    """

    above: tuple[float, ...]
    errors: tuple[float, ...]
    inputs: tuple[tuple[str, float], ...]


class Draws:
    """Independent standard normal numbers by the name of their input; the same names give the same numbers."""

    def __init__(self, names: tuple[str, ...]) -> None:
        from scipy.special import ndtri
        from scipy.stats import qmc

        self.names = names
        self.normal = np.zeros((SAMPLES, 0))
        self._factors: dict[tuple[str, float], Array] = {}
        if names:
            sets = [qmc.Sobol(len(names), rng=SEED + i).random(DRAWS) for i in range(REPEATS)]
            self.normal = np.asarray(ndtri(np.clip(np.concatenate(sets), 1e-12, 1 - 1e-12)))

    def of(self, name: str) -> Array:
        """The numbers (s,) of an input; zero where it does not scatter."""
        return self.normal[:, self.names.index(name)] if name in self.names else np.zeros(len(self.normal))

    def lognormal(self, name: str, scatter: float) -> Array:
        """Factors (s,) with a mean of 1 and this coefficient of variation."""
        if name not in self.names:
            return np.ones(SAMPLES)
        if (name, scatter) not in self._factors:
            width = math.sqrt(math.log1p(scatter**2))
            self._factors[name, scatter] = np.asarray(np.exp(width * self.of(name) - width**2 / 2))
        return self._factors[name, scatter]


@lru_cache(maxsize=4)
def draws_of(names: tuple[str, ...]) -> Draws:
    """The draws of these inputs: most often all cases of a study have the same."""
    return Draws(names)


def chance_of(
    places: Places,
    *,
    scatter: Scatter,
    limits: tuple[float, ...],
    told: float | None = None,
    band: tuple[float, ...] = (),
) -> Chance | None:
    """The chance that a case's least reserve factor reaches each of the limits.

    `told` is the reserve factor that counts, where beads or a foundation that lifts off say another than these
    places: all samples are taken times its ratio to theirs. `band` (low, high) is how far it may lie off.
    None where nothing scatters, or the places cannot say how the number that counts scatters.
    """
    names = input_names(places, scatter)
    places, steady = _ranked(places, scatter)
    ratio = 1.0 if told is None or told == steady else told / steady if 0 < steady < np.inf else math.nan
    if not 0 <= ratio < math.inf:
        return None
    ends = band if told and len(band) == 2 and band[0] < band[1] < math.inf else ()
    draws = draws_of((*names, BAND) if ends else tuple(names))
    if not draws.names:
        return None
    reserve = _sampled(places, scatter, draws) * ratio
    if ends:
        from scipy.special import ndtr

        assert told
        reserve = reserve * (ends[0] + (ends[1] - ends[0]) * ndtr(draws.of(BAND))) / told
    counted = [_counted(reserve >= limit) for limit in limits]
    above, errors = tuple(c for c, _ in counted), tuple(e for _, e in counted)
    return Chance(above, errors, _shares(reserve, draws))


def input_names(places: Places, scatter: Scatter) -> list[str]:
    """The inputs that scatter, in words."""
    names: dict[str, None] = {}
    bodies = {f.body for f in places.families}
    for family in places.families:
        bead, layers, stiff = _names_of(family, several=len(bodies) > 1)
        if scatter.strength.get(family.body) and not isinstance(family.strength, WallBuckling):
            names |= dict.fromkeys([bead] if family.strength.isotropic else [bead, layers])
        if scatter.stiffness.get(family.body) and (isinstance(family.strength, WallBuckling) or family.change.any()):
            names[stiff] = None
    return [*names, *(f"load {part.name}" for part in places.parts if part.scatter)]


def _names_of(family: BeadFamily, *, several: bool) -> tuple[str, str, str]:
    """Names of the factors on a family's beads, on what binds its layers, and on its stiffness."""
    of = f" of {family.body}" if several else ""
    if family.zone == "metal":
        return f"yield stress{of}", f"yield stress{of}", f"stiffness{of}"
    if family.zone == "laminate":
        return f"ply strength{of}", f"interlaminar strength{of}", f"stiffness{of}"
    return (
        f"bead strength in the {family.zone}{of}",
        f"interlayer strength in the {family.zone}{of}",
        f"stiffness{of}",
    )


@dataclass(frozen=True)
class _Factors:
    """Of s samples: on each part of the load (s, k), and by family on the six strengths (s, 6) and the stiffness."""

    loads: Array
    strengths: list[Array]
    stiffness: list[Array]

    def at(self, some: NDArray[np.intp] | slice) -> _Factors:
        return _Factors(self.loads[some], [v[some] for v in self.strengths], [v[some] for v in self.stiffness])


def _factors(places: Places, scatter: Scatter, draws: Draws, *, some: slice = slice(None)) -> _Factors:
    loads = np.column_stack([1 + part.scatter * draws.of(f"load {part.name}") for part in places.parts])
    strengths, stiffness = [], []
    several = len({f.body for f in places.families}) > 1
    known: dict[tuple[str, str, bool], Array] = {}
    for family in places.families:
        bead, layers, stiff = _names_of(family, several=several)
        stiffness.append(draws.lognormal(stiff, scatter.stiffness.get(family.body, 0.0))[some])
        thin = isinstance(family.strength, WallBuckling)
        key = family.body, family.zone, thin
        if key not in known:
            own = scatter.strength.get(family.body, 0.0)
            each = [draws.lognormal(name, own)[some] for name in (bead, layers)]
            # A thin wall buckles at a stress that goes with its stiffness
            known[key] = np.column_stack([stiffness[-1] if thin else each[0 if b else 1] for b in _BEAD])
        strengths.append(known[key])
    return _Factors(loads[some], strengths, stiffness)


def _ranked(places: Places, scatter: Scatter) -> tuple[Places, float]:
    """The places with the families that bear least first, and the least reserve factor where nothing is off."""
    steady = _factors(places, scatter, draws_of(()), some=slice(0, 1))
    least, each = math.inf, []
    for number, family in enumerate(places.families):
        each.append(float(_reserves(places, family, number, steady, np.full(1, 2 * least)).min()))
        least = min(least, each[-1])
    order = np.argsort(each, kind="stable")
    return Places(places.parts, tuple(places.families[i] for i in order)), least


def _sampled(places: Places, scatter: Scatter, draws: Draws) -> Array:
    """The least reserve factor (s,) of every sample, of the beads that a first look found to matter."""
    factors = _factors(places, scatter, draws)
    first = factors.at(np.arange(0, SAMPLES, SAMPLES // FIRST_LOOK))
    least, found = np.full(FIRST_LOOK, np.inf), []
    for number, family in enumerate(places.families):
        found.append(_reserves(places, family, number, first, least * CLOSE))
        least = np.minimum(least, found[-1].min(axis=1))
    out = np.full(SAMPLES, np.inf)
    for number, stays in _worth(found, least):
        own = _reserves(places, places.families[number].at(stays), number, factors, out, falls=True)
        out = np.minimum(out, own.min(axis=1))
    return out


def _worth(found: list[Array], least: Array) -> Iterator[tuple[int, NDArray[np.intp]]]:
    """Families by number and which of their places come close to the least (s,) of a first look, with reserves
    `found` (s, j). The place that is the least most often comes first, and alone: by it the others are passed over.
    """
    known = np.isfinite(least)
    often = [(reserve[known] <= least[known, None]).sum(axis=0) for reserve in found]
    if not known.any():
        return
    leader = max(range(len(found)), key=lambda number: int(often[number].max()))
    yield leader, np.array([often[leader].argmax()])
    for number, reserve in enumerate(found):
        stays = np.flatnonzero((reserve[known] <= CLOSE * least[known, None]).any(axis=0))
        if len(stays):
            yield number, stays


def _reserves(
    places: Places, family: BeadFamily, number: int, factors: _Factors, below: Array, *, falls: bool = False
) -> Array:
    """Reserve factors (s, j) of a family, infinite where they are not `below` (s,); or, where that `falls`, not below
    what the sample has already come to at another of its places."""
    from fem.judging import chance_kernels

    out = np.empty((len(factors.loads), len(family.nodes)))
    stays = np.array([part.permanent for part in places.parts])
    bears = kind_of(family.strength), limits_of(family.strength)
    felt = np.ascontiguousarray(family.stress), np.ascontiguousarray(family.change), stays
    drawn = factors.loads, factors.stiffness[number] - 1, factors.strengths[number]
    shared(chance_kernels.judge_samples, even_ranges(len(out)), *bears, *felt, *drawn, below, falls, out)
    return out


def _counted(reached: NDArray[np.bool_]) -> tuple[float, float]:
    """The share of samples that reach a limit, and its standard error; a bound and 0 where next to all or none do."""
    means = reached.reshape(REPEATS, DRAWS).mean(axis=1)
    share = float(means.mean())
    if not UNSEEN <= share <= 1 - UNSEEN:
        return (1 - UNSEEN if share > 0.5 else UNSEEN), 0.0
    # Sixteen sets may agree by luck where next to nothing fails: no less than a tenth of what plain samples have
    plain = math.sqrt(share * (1 - share) / SAMPLES)
    return share, max(float(means.std(ddof=1)) / math.sqrt(REPEATS), plain / 10)


def _shares(reserve: Array, draws: Draws) -> tuple[tuple[str, float], ...]:
    """The inputs that matter most, with their share in the variance of the logarithm of the reserve."""
    known = np.isfinite(reserve) & (reserve > 0)
    if known.sum() < SAMPLES / 2:
        return ()
    log = np.log(reserve[known])
    if not log.std() > 1e-9:
        return ()
    each = [(name, float(np.corrcoef(draws.of(name)[known], log)[0, 1] ** 2)) for name in draws.names]
    told = sorted((pair for pair in each if pair[1] >= 0.005), key=lambda pair: -pair[1])
    return tuple((name, round(share, 4)) for name, share in told[:MOST_INPUTS])
