"""From batches to the values of a card: what was measured, and what follows from another card scaled by it.

How a value that was not measured is scaled, state by state; a ratio is measured mean over the other card's value:

- E: by the geometric mean of the ratios of E that were measured, else by that of G12.
- G: 13 and 23 by the ratio of G12 where it was measured, else all by that of E.
- nu: by sqrt((E_i / E_j) / (E_i / E_j of the other card)), which keeps a possible material possible.
- tension: by the geometric mean of the ratios of tension that were measured, else of shear, else of compression; this
  is the mean ratio of tension below. Up, which parts layers, by no more than 1: a stronger bead, such as one with
  more fibre, makes no stronger bond.
- compression: where another direction was measured by that ratio, else by tension's ratio in the same direction.
- shear: 12 by the mean ratio of tension; 13 and 23, which part layers, by tension's ratio up where that was measured,
  else by that of shear 12, else by the mean ratio of tension, both no more than 1.
- toughness: by the mean ratio of tension, as cards scale it with strength; where the other card has none, that of
  the direction measured times tension over tension of the two directions, which keeps the critical distance.
- strain at break: by the geometric mean of its ratios that were measured, else not at all.
- first of all, where another state has measured the very number, by that ratio (the geometric mean of several).

All of it is marked as an estimate, and so is a list of three of which one value is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fem.coupons.batches import BatchFit
from fem.coupons.fractile import Sample, scatter_margin
from fem.coupons.laminate import shear_modulus_of
from fem.coupons.nouns import DIAGONAL, DIRECTIONS
from fem.errors import InputError
from fem.printing.card.nouns import ROOM_TEMPERATURE, CardState

NEAR = 3.0
"""Tests within so many degrees [K] of 23 degC count as made there (ISO 291: 23 +- 2 degC; a thermometer's error)."""
STRENGTHS = ("tension", "compression", "shear")
STRAIN = "strain_at_break"
PAIRS = ("12", "13", "23")
SHEARS = ("23", "13", "12")
OUTRANKED = ("tension", "compression", "bending")
"""E comes from the first of these tests that measured it."""

Place = tuple[str, int]
"""A value of a state: its key, and which of its numbers (in the order that the state keeps)."""


@dataclass(frozen=True)
class Found:
    """A number as it was measured: `sample`, by which test (`how`), and the `doubt` that is left ("" for none)."""

    sample: Sample
    how: str
    doubt: str = ""


@dataclass(frozen=True)
class Entry:
    """One number of a card's state: its `value` as the state has it; `sample` what it was measured as, None where it
    is an estimate; `source` where it comes from, `doubt` why a measured one counts as an estimate still."""

    value: float
    source: str
    sample: Sample | None = None
    doubt: str = ""

    @property
    def measured(self) -> bool:
        """Whether it rests on coupons alone."""
        return self.sample is not None and not self.doubt


@dataclass(frozen=True)
class OwnState:
    """All numbers of one state, and the scatter of its strengths and of its moduli."""

    name: str
    entries: dict[Place, Entry]
    scatter: float | None
    scatter_source: str
    elastic_scatter: float | None
    elastic_source: str


def samples_of(fits: Sequence[BatchFit], state: str, base: CardState) -> dict[Place, Found]:
    """What the batches of a state measured, by place; `base` is that state of the card to be made over."""
    out: dict[Place, Found] = {}
    usable = [f for f in fits if f.batch.state == state and abs(f.batch.temperature - ROOM_TEMPERATURE) <= NEAR]
    usable.sort(key=lambda f: OUTRANKED.index(f.batch.test) if f.batch.test in OUTRANKED else len(OUTRANKED))
    for fit in usable:
        for place, found in _places(fit, base):
            if place not in out:
                out[place] = found
            elif place[0] != "E" or found.how == out[place].how:
                both = Sample(out[place].sample.values + found.sample.values)
                out[place] = Found(both, found.how, out[place].doubt or found.doubt)
    _shear_from_diagonal(usable, base, out)
    return out


def _places(fit: BatchFit, base: CardState) -> list[tuple[Place, Found]]:
    """Where a batch's numbers belong in a state."""
    batch, got = fit.batch, fit.samples
    blind = batch.by_crosshead and batch.machine is None
    doubt = "read at the machine without taking off its give: a lower bound" if blind else ""
    if batch.test == "infill":
        return []
    if batch.direction == DIAGONAL:
        out = [(("shear", 2), Found(got["shear"], "tension at ±45"))] if "shear" in got else []
        return [*out, (("G", 0), Found(got["G"], "tension at ±45", doubt))] if "G" in got else out
    i, how = DIRECTIONS[batch.direction], batch.test
    if batch.test == "bending":
        return [(("E", i), Found(_bent(fit, base, i), how, doubt))]
    if batch.test == "notched":
        return [(("toughness", i), Found(got["toughness"], "bending of notched bars"))]
    out = [((batch.test, i), Found(got["strength"], how))]
    if "E" in got:
        out.append((("E", i), Found(got["E"], how, doubt)))
    if "nu" in got and i == 0:
        out.append((("nu", 0), Found(got["nu"], how, doubt)))
    if "break" in got:
        too_long = "read at the machine without taking off its give: an upper bound" if blind else ""
        out.append(((STRAIN, i), Found(got["break"], how, too_long)))
    return out


def _bent(fit: BatchFit, base: CardState, i: int) -> Sample:
    """E of bent strips without the deflection that shear adds: 1 / E = 1 / E_f - 1.2 (h / span)^2 / G, a beam of
    rectangular section (S. Timoshenko, Strength of Materials I, 3rd ed., art. 39; from memory). G, out of the layer,
    is the card's. Errors: InputError where shear is more than a third of the deflection.
    """
    G = base.G[2 if i == 1 else 1]
    span = fit.batch.length
    each = [(f.gives["E"], f.coupon.thickness) for f in fit.fits]
    if max(E * 1.2 * (h / span) ** 2 / G for E, h in each) > 1 / 3:
        advice = "Bend over a span of 16 thicknesses or more."
        raise InputError("shear bends these strips too.", where=f"batch.{fit.batch.name}: span", advice=advice)
    return Sample(tuple(1 / (1 / E - 1.2 * (h / span) ** 2 / G) for E, h in each))


def _shear_from_diagonal(usable: Sequence[BatchFit], base: CardState, out: dict[Place, Found]) -> None:
    """G12 from ±45 coupons whose strain across was not read, by lamination theory with E and nu of this state."""
    if ("G", 0) in out:
        return
    E = [out[("E", i)].sample.mean if ("E", i) in out else base.E[i] for i in range(3)]
    nu = out[("nu", 0)].sample.mean if ("nu", 0) in out else base.nu[0]
    own = all(("E", i) in out for i in (0, 1))
    doubt = "" if own else "from the modulus at ±45 with an E that was not measured"
    values = [
        shear_modulus_of(v, E=(E[0], E[1], E[2]), nu12=nu)
        for fit in usable
        if fit.batch.direction == DIAGONAL and "E45" in fit.samples
        for v in fit.samples["E45"].values
    ]
    if values:
        out[("G", 0)] = Found(Sample(tuple(values)), "tension at ±45 by lamination theory", doubt)


@dataclass(frozen=True)
class Ratios:
    """Measured over the other card's value, by place; and the means over E and over tension (1 where nothing was)."""

    by_place: dict[Place, float]

    def mean(self, key: str, otherwise: float = 1.0) -> float:
        """The geometric mean over one key's numbers."""
        found = [math.log(r) for (k, _), r in self.by_place.items() if k == key]
        return math.exp(sum(found) / len(found)) if found else otherwise

    @property
    def stiffness(self) -> float:
        """By which E scales."""
        return self.mean("E", self.mean("G"))

    @property
    def strength(self) -> float:
        """By which tension scales."""
        return self.mean("tension", self.mean("shear", self.mean("compression")))


def ratios(samples: dict[Place, Found], base: CardState) -> Ratios:
    """The ratio of each measured mean."""
    out = {}
    for (key, i), found in samples.items():
        numbers = getattr(base, key)
        if numbers is not None and key != "nu":
            out[(key, i)] = found.sample.mean / numbers[i]
    return Ratios(out)


def together(each: Sequence[Ratios]) -> Ratios:
    """The ratios of all states that were measured as one: geometric means, place by place."""
    places = dict.fromkeys(place for one in each for place in one.by_place)
    mean = {}
    for place in places:
        logs = [math.log(one.by_place[place]) for one in each if place in one.by_place]
        mean[place] = math.exp(sum(logs) / len(logs))
    return Ratios(mean)


def own_state(
    base: CardState,
    samples: dict[Place, Found],
    scale: Ratios,
    *,
    date: str,
    base_name: str,
    characteristic: bool = False,
) -> OwnState:
    """All numbers of a state: `samples` where they were measured, else those of `base` times `scale`.

    `characteristic` puts characteristic strengths in the place of means, where there are any.
    """
    entries: dict[Place, Entry] = {}
    for place, found in samples.items():
        entries[place] = _measured(place, found, date, characteristic)
    for key in ("E", "tension", "compression", "shear", "toughness", "G", STRAIN):
        for i, number in enumerate(getattr(base, key) or ()):
            if (key, i) not in entries:
                factor, why = _factor(key, i, scale)
                text = f"estimate, {number_text(key, number)} of card {base_name} times {factor:.3g} ({why})"
                entries[(key, i)] = Entry(number * factor, text)
    _spread_toughness(entries)
    for i, (a, b) in enumerate(((0, 1), (0, 2), (1, 2))):
        if ("nu", i) not in entries:
            own = entries[("E", a)].value / entries[("E", b)].value
            factor = math.sqrt(own / (base.E[a] / base.E[b]))
            text = f"estimate, {base.nu[i]:.3g} of card {base_name} times {factor:.3g} (keeps pace with E)"
            entries[("nu", i)] = Entry(base.nu[i] * factor, text)
    strong = _scatter(samples, STRENGTHS, base.scatter, base_name, date)
    return OwnState(base.name, entries, *strong, *_scatter(samples, ("E",), base.elastic_scatter, base_name, date))


def _spread_toughness(entries: dict[Place, Entry]) -> None:
    """Toughness in the directions that neither coupons nor the other card know: from one that they do, over tension,
    so that the critical distance is the same."""
    known = [i for i in range(3) if ("toughness", i) in entries]
    for i in range(3) if known else ():
        if i not in known:
            factor = entries[("tension", i)].value / entries[("tension", known[0])].value
            text = f"estimate, that {axis('toughness', known[0])} times {factor:.3g} (as tension)"
            entries[("toughness", i)] = Entry(entries[("toughness", known[0])].value * factor, text)


def _measured(place: Place, found: Found, date: str, characteristic: bool) -> Entry:
    strong = place[0] in STRENGTHS
    low = found.sample.characteristic if strong and characteristic else None
    text = f"own coupons in {found.how}, n = {found.sample.n}, {date}: {described(place[0], found.sample)}"
    if low is not None:
        text += "; the characteristic value stands on the card"
    if found.doubt:
        text += f"; estimate, {found.doubt}"
    return Entry(found.sample.mean if low is None else low, text, found.sample, found.doubt)


def described(key: str, found: Sample) -> str:
    """A sample in words: mean, band, variation, characteristic value."""
    text = f"mean {number_text(key, found.mean)}"
    if found.half_band is not None and found.cov is not None:
        text += f" ± {100 * found.half_band / found.mean:.2g} % (95 %), CoV {100 * found.cov:.2g} %"
    if found.characteristic is not None and key not in ("E", "G", "nu", STRAIN):
        text += f", characteristic {number_text(key, found.characteristic)} (EN 1990 D7.2)"
    return text


def number_text(key: str, value: float) -> str:
    """A number of a card with its unit, as its file takes it."""
    if key in ("nu", STRAIN):
        return f"{value:.3g}"
    if key == "toughness":
        return f"{value / math.sqrt(1000):.4g} MPa*m^0.5"
    return f"{value / 1000:.4g} GPa" if value >= 1000 else f"{value:.4g} MPa"


def _factor(key: str, i: int, scale: Ratios) -> tuple[float, str]:
    """By what a number that was not measured is scaled, and why, in words."""
    if (key, i) in scale.by_place:
        return scale.by_place[(key, i)], "as in the state measured"
    if key == "E":
        return scale.stiffness, "as the moduli measured"
    if key == STRAIN:
        return scale.mean(STRAIN), "as the strains measured"
    if key == "G":
        pair = ("G", 0) in scale.by_place
        return (scale.by_place[("G", 0)], "as G12") if pair else (scale.stiffness, "as the moduli measured")
    if key == "compression":
        if any(k == "compression" for k, _ in scale.by_place):
            return scale.mean("compression"), "as the compression measured"
        if ("tension", i) in scale.by_place:
            return scale.by_place[("tension", i)], "as tension in this direction"
    if key == "shear" and i != SHEARS.index("12"):
        if ("tension", 2) in scale.by_place:
            return scale.by_place[("tension", 2)], "as tension up the build"
        if ("shear", 2) in scale.by_place:
            return _no_more(scale.by_place[("shear", 2)], "as shear 12")
        return _no_more(scale.strength, "as the strengths measured")
    if (key, i) in (("tension", 2), ("toughness", 2)) and ("tension", 2) not in scale.by_place:
        return _no_more(scale.strength, "as the strengths measured")
    return scale.strength, "as the strengths measured"


def _no_more(factor: float, why: str) -> tuple[float, str]:
    """What parts layers is not scaled up by what beads bear."""
    return (factor, why) if factor <= 1 else (1.0, "stronger beads make no stronger bonds: test coupons up the build")


def _scatter(
    samples: dict[Place, Found], keys: Sequence[str], otherwise: float | None, base_name: str, date: str
) -> tuple[float | None, str]:
    """The largest coefficient of variation, with the margin of few coupons, of the values under `keys` that at least
    three have, since one number serves all directions; `otherwise` the other card's where there is none."""
    each = {p: found.sample for p, found in samples.items() if p[0] in keys}
    known = {p: found for p, found in each.items() if found.n >= 3 and found.cov is not None}
    if not known:
        return otherwise, f"estimate, as card {base_name}"
    key, i = max(known, key=lambda p: known[p].safe_cov or 0.0)
    found = known[(key, i)]
    assert found.cov is not None
    of = f"that of {key} {axis(key, i)}" + (f", the largest of {len(known)}" if len(known) > 1 else "")
    margin = f"CoV {100 * found.cov:.2g} % times {scatter_margin(found.n):.3g}, as few coupons need (75 % sure)"
    return float(f"{found.safe_cov:.3g}"), f"own coupons, n = {found.n}, {date}: {of}, {margin}"


def axis(key: str, i: int) -> str:
    """Which of a key's numbers it is, in words."""
    return PAIRS[i] if key in ("nu", "G") else SHEARS[i] if key == "shear" else tuple(DIRECTIONS)[i]
