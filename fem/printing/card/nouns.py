"""A material card: its states, the factors of temperature, and what a state was computed from."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fem.criteria.strength import Strength
from fem.errors import CardError
from fem.printing.fibre import MODELS, Fibre, Resin
from fem.tensors import broken_condition

Three = tuple[float, float, float]

ROOM_TEMPERATURE = 23.0
"""Temperature at which a card's values hold as they stand [degC] (ISO 291, standard atmosphere 23/50)."""

STIFF = ("E", "G")
"""Values that a factor on stiffness scales."""
STRONG = ("tension", "compression", "shear", "yield", "ultimate", "toughness")
"""Values that a factor on strength scales. Toughness is among them, so that the critical distance stays: it belongs
to the material's structure, and nothing is gained from a polymer that is tougher when it is warm or wet."""

PLAUSIBLE = {
    "pressure": (1e-3, 1.5e6, "0.001 MPa and 1500 GPa"),
    "density": (1e-11, 2.5e-8, "0.01 and 25 g/cm^3"),
    "expansion": (-1e-2, 1e-2, "-0.01 and 0.01 1/K"),
    "temperature": (-273.15, 4000.0, "absolute zero and 4000 degC"),
    "toughness": (0.03, 3.2e4, "0.001 and 1000 MPa*m^0.5"),
}
"""Kind of quantity -> between which values [MPa, tonne/mm^3, 1/K, degC, N/mm^1.5] materials lie, and how that is
told. What lies beyond diamond (about 1200 GPa), osmium (22.6 g/cm^3), soft gels, or the toughness of foams and pure
metals is a slip of the unit (from memory)."""

LONGEST = 10.0
"""A critical distance [mm] beyond this is refused. Polymers have some hundredths of a millimetre to some millimetres,
laminates up to a few (D. Taylor, The Theory of Critical Distances, 2007, chapters 5 and 8; from memory); what is as
tough as that beside its strength yields long before a crack tears it."""

OLD_STATES = {"soaked": "saturated", "dry": "as_supplied"}
"""Names that states of the cards had before -> their names now."""


def implausible(kind: str, value: float) -> str:
    """What no material has about a `value` of this kind [units of PLAUSIBLE], in words; "" when nothing."""
    if kind not in PLAUSIBLE:
        return ""
    low, high, told = PLAUSIBLE[kind]
    return "" if low <= value <= high else f"materials lie between {told}"


@dataclass(frozen=True)
class Factors:
    """What temperature does to a state: at the temperatures `at` (k,) [degC], rising, stiffness and strength are
    those at 23 degC times `stiffness` (k,) and `strength` (k,); `estimates` names which of the two are estimates."""

    at: tuple[float, ...]
    stiffness: tuple[float, ...]
    strength: tuple[float, ...]
    source: str
    estimates: tuple[str, ...]

    def covers(self, temperature: float) -> bool:
        """Whether the table reaches to `temperature` [degC]."""
        return self.at[0] <= temperature <= self.at[-1]

    def between(self, temperature: float) -> tuple[float, float]:
        """Factors on stiffness and on strength at `temperature` [degC], linear between the rows."""
        return (
            float(np.interp(temperature, self.at, self.stiffness)),
            float(np.interp(temperature, self.at, self.strength)),
        )


@dataclass(frozen=True)
class Constituents:
    """What a state's stiffness was computed from: `mass_fraction` of fibres, their length / diameter `aspect_ratio`,
    their `orientation` (shares along the bead, across it, up the build), the `model`; bonds multiply what the
    model gives `across` the beads and `up` the build. `fibre_share` of the volume, `density` [tonne/mm^3]."""

    resin: Resin
    fibre: Fibre
    mass_fraction: float
    aspect_ratio: float
    orientation: Three
    model: str
    across: float
    up: float
    fibre_share: float
    density: float

    @property
    def words(self) -> str:
        """What was computed from what, in one line."""
        shares = " / ".join(f"{share:g}" for share in self.orientation)
        return (
            f"{MODELS[self.model]} from resin (E {self.resin.E / 1000:g} GPa, nu {self.resin.nu:g}) and "
            f"{100 * self.mass_fraction:g} % by mass, {100 * self.fibre_share:.3g} % by volume, of fibre "
            f"(E {self.fibre.E1 / 1000:g} GPa along, {self.fibre.E2 / 1000:g} GPa across; length / diameter "
            f"{self.aspect_ratio:g}; orientation {shares} along / across / up)"
        )

    @property
    def bonds(self) -> str:
        """What voids and bonds take off E and G, in words; "" when nothing."""
        if self.across == self.up == 1:
            return ""
        return f", times {self.across:g} across the beads and {self.up:g} in the build direction for voids and bonds"


@dataclass(frozen=True)
class CardState:
    """Values of one card in one state.

    `E` (along the bead, across it in the layer, up the build), `nu` and `G` (12, 13, 23) [MPa]; `tension`,
    `compression` as E and `shear` (23, 13, 12) [MPa], None for a metal; `yield_stress`, `ultimate` [MPa], None for a
    printed polymer; `expansion` (3,) [1/K] or None; `scatter` the coefficient of variation of the strengths and
    `elastic_scatter` that of the moduli (None: as the strengths), or None; `sources` where each value comes from;
    `estimates` the values that are estimates. `temperature` [degC] that the values hold at, None as the card stands
    (23 degC); `factors` what temperature does to them, None unknown; `made_of` what the stiffness was computed from,
    None when the card gives it; `from_study` the values that a study set over the card's; `toughness` [N/mm^1.5] as
    E, against a crack that tension in that direction opens, or None; `strain_at_break` as E, told and not computed
    with, or None.

    Errors: CardError for values that no material can have.
    """

    name: str
    E: Three
    nu: Three
    G: Three
    tension: Three | None
    compression: Three | None
    shear: Three | None
    yield_stress: float | None
    ultimate: float | None
    expansion: Three | None
    scatter: float | None
    sources: dict[str, str]
    estimates: tuple[str, ...]
    temperature: float | None = None
    factors: Factors | None = None
    made_of: Constituents | None = None
    from_study: tuple[str, ...] = ()
    toughness: Three | None = None
    strain_at_break: Three | None = None
    elastic_scatter: float | None = None

    def __post_init__(self) -> None:
        for value, numbers in self._stresses.items():
            for number in numbers:
                beyond = implausible("pressure", number) if math.isfinite(number) else "it is no finite number"
                if beyond:
                    raise CardError(f"{value} of {number:g} MPa is not plausible: {beyond}.")
        if self.yield_stress is not None and self.ultimate is not None and self.ultimate < self.yield_stress:
            raise CardError(f"ultimate {self.ultimate:g} MPa is below yield {self.yield_stress:g} MPa.")
        broken = broken_condition(self.E, self.nu, self.G)
        if broken:
            raise CardError(f"no material can have these elastic constants: {broken}.")
        self._check_toughness()

    def _check_toughness(self) -> None:
        for number in self.toughness or ():
            beyond = implausible("toughness", number) if math.isfinite(number) else "it is no finite number"
            if beyond:
                raise CardError(f"toughness of {number:g} N/mm^1.5 is not plausible: {beyond}.")
        if self.critical_distance is not None and self.critical_distance > LONGEST:
            raise CardError(
                f"toughness beside this strength makes a critical distance of {self.critical_distance:.3g} mm.",
                advice=f"Beyond {LONGEST:g} mm a material yields before it tears: check the unit, or leave it out.",
            )

    @property
    def _stresses(self) -> dict[str, tuple[float, ...]]:
        """All moduli and strengths [MPa] by name."""
        single = {"yield": self.yield_stress, "ultimate": self.ultimate}
        out = {name: (value,) for name, value in single.items() if value is not None}
        return {"E": self.E, "G": self.G, **out} | {
            name: value for name in ("tension", "compression", "shear") if (value := getattr(self, name)) is not None
        }

    @property
    def stiffness_scatter(self) -> float:
        """The coefficient of variation of the moduli: that of the strengths where the card knows no other."""
        return (self.scatter if self.elastic_scatter is None else self.elastic_scatter) or 0.0

    @property
    def doubtful(self) -> tuple[str, ...]:
        """What a reader of the numbers must know of: the values that are estimates, and those set in the study."""
        return (
            *(name for name in self.estimates if name not in self.from_study),
            *(f"{name} (set in the study)" for name in self.from_study),
        )

    @property
    def critical_distance(self) -> float | None:
        """The length [mm] below which a stress says nothing: (K_c / strength)^2 / pi, the least of the directions,
        since one length serves all stresses of a zone. None where the card has no toughness.

        Half of it before a long crack that is just at K_c, stress equals strength (point method); a smooth bar fails
        at its strength whatever the length.
        Source: D. Taylor, The Theory of Critical Distances (2007), chapter 3.
        """
        if self.toughness is None:
            return None
        strength = self.tension if self.yield_stress is None else (self.yield_stress,) * 3
        assert strength is not None  # a printed polymer has its strengths
        return min((k / s) ** 2 / math.pi for k, s in zip(self.toughness, strength, strict=True))

    @property
    def holds_at(self) -> float:
        """The temperature [degC] that the values hold at."""
        return ROOM_TEMPERATURE if self.temperature is None else self.temperature

    def factors_to(self, temperature: float) -> tuple[float, float] | None:
        """Factors on stiffness and on strength from the values' own temperature to another [degC]; None where the
        card does not reach to it, or knows one temperature only."""
        table = self.factors
        if table is None or not table.covers(temperature):
            return None
        (stiff, strong), (own_stiff, own_strong) = table.between(temperature), table.between(self.holds_at)
        return stiff / own_stiff, strong / own_strong

    @property
    def strength(self) -> Strength:
        """The strengths, as the judgement takes them."""
        if self.yield_stress is not None:
            return Strength(yield_stress=self.yield_stress)
        return Strength(np.array(self.tension), np.array(self.compression), np.array(self.shear))

    def scaled(self, *, stiffness: float, strength: float) -> CardState:
        """The same state with E and G times `stiffness`, all strengths and toughness times `strength`."""
        return replace(
            self,
            E=_times(self.E, stiffness),
            G=_times(self.G, stiffness),
            tension=None if self.tension is None else _times(self.tension, strength),
            compression=None if self.compression is None else _times(self.compression, strength),
            shear=None if self.shear is None else _times(self.shear, strength),
            yield_stress=None if self.yield_stress is None else self.yield_stress * strength,
            ultimate=None if self.ultimate is None else self.ultimate * strength,
            toughness=None if self.toughness is None else _times(self.toughness, strength),
        )

    def scaled_values(self, key: str) -> tuple[str, ...]:
        """Names of the values that the factor `key`, stiffness or strength, scales."""
        return tuple(value for value in (STIFF if key == "stiffness" else STRONG) if value in self.sources)


@dataclass(frozen=True)
class Card:
    """A material: `kind` is polymer, metal or laminate, `density` [tonne/mm^3], `states` by name, `about` it."""

    name: str
    kind: str
    density: float
    states: dict[str, CardState]
    about: str = ""

    def __post_init__(self) -> None:
        beyond = implausible("density", self.density)
        if beyond:
            raise CardError(f"a density of {self.density * 1e9:g} g/cm^3 is not plausible: {beyond}.")

    def state(self, name: str, temperature: float | None = None) -> CardState:
        """The values in one state, at `temperature` [degC] or as the card stands (23 degC).

        Errors: CardError that lists the states which the card has, or the temperatures that it reaches to.
        """
        if name not in self.states:
            now = OLD_STATES.get(name, "")
            advice = f'It is now called "{now}".' if now in self.states else f"It has: {', '.join(self.states)}."
            raise CardError(f'card {self.name} has no state "{name}".', advice=advice)
        state = self.states[name]
        return state if temperature is None else _warmed(state, temperature, self.name)


def _warmed(state: CardState, temperature: float, card: str) -> CardState:
    """The state at another temperature [degC]; Poisson's ratios, expansion and scatter stay."""
    where = f'card {card}, state "{state.name}"'
    if not math.isfinite(temperature):
        raise CardError(f"{temperature} is no temperature.", where=where)
    factors = state.factors
    if factors is None:
        if temperature != ROOM_TEMPERATURE:
            raise CardError(
                f"says nothing about {temperature:g} degC, only about {ROOM_TEMPERATURE:g} degC.",
                where=where,
                advice="Give the card a [temperature] table.",
            )
        return replace(state, temperature=temperature)
    if not factors.covers(temperature):
        raise CardError(
            f"reaches from {factors.at[0]:g} to {factors.at[-1]:g} degC, not to {temperature:g} degC.",
            where=where,
            advice="Choose a temperature inside, or a material that bears it.",
        )
    by_key = dict(zip(("stiffness", "strength"), factors.between(temperature), strict=True))
    sources, estimates = {**state.sources, "temperature": factors.source}, list(state.estimates)
    if factors.estimates:
        estimates.append("temperature")
    for key, factor in by_key.items():
        if factor == 1:
            continue
        for value in state.scaled_values(key):
            sources[value] += f"; times {factor:.3g} at {temperature:g} degC"
            if key in factors.estimates and value not in estimates:
                estimates.append(value)
    return replace(
        state.scaled(**by_key), sources=sources, estimates=tuple(estimates), temperature=float(temperature)
    )


def _times(values: Three, factor: float) -> Three:
    a, b, c = values
    return (a * factor, b * factor, c * factor)
