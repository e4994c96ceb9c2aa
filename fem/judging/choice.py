"""Which way to print it: variants of one study side by side, the effect of each step, the one to print and why.

The nouns are plain numbers, which the page, the table and the report draw from; the verbs are pure. A number is None
where a variant has none: the print time of a machined part, everything of a variant that could not be computed.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fem.caution import Caution
from fem.errors import InputError, nearest
from fem.judging.band import Band
from fem.judging.choosing import candidates_of, choose, decisive_of, mesh_alone, without_mesh
from fem.judging.variant_numbers import VariantNumbers as VariantNumbers


@dataclass(frozen=True)
class Step:
    """The effect of one step of a swept key: the differences from variant `name_from` to `name_to`, which differ in
    `key` alone.

    `mass_g`, `time_h`, `cost`, `reserve` and `deflection_mm` are differences (to - from); `stiffness` is the gain in
    1 / deflection as a share. The quotients per gram and per hour are None where the step adds no mass or time.
    `reserve` is that away from singular places, by the homogenised answer; where the bands of both variants overlap
    they are `level`: the step changes nothing that could be told, and has no quotients of the reserve.
    """

    key: str
    from_setting: str
    to_setting: str
    name_from: str
    name_to: str
    mass_g: float
    time_h: float | None
    cost: float | None
    reserve: float | None
    deflection_mm: float
    stiffness: float | None
    reserve_per_g: float | None
    reserve_per_h: float | None
    stiffness_per_g: float | None
    stiffness_per_h: float | None
    level: bool = False


@dataclass(frozen=True)
class Comparison:
    """All variants of a study and what follows from them.

    `required_reserve` is what the study asks for, or the usual target where it asks for none (`reserve_asked`).
    `sweep` holds the swept keys with their values in the file's words and order. `fronts` names, under "stiffness"
    and "reserve", the printed variants that are Pareto-optimal in mass and that number, by rising mass.
    `ratios` are by variant against the reference part: "mass", "stiffness" (reference's deflection over the
    variant's), "reserve", "cost", as far as both have the number; empty when there is no reference part.
    `best` is the variant to print, or None; `reason` one sentence that says why. `cautions` are those that all share;
    `decisive` has each kind that can turn the verdict once. `base` holds what the study itself has at the paths that
    its variants change; `fingerprint` stands for all that the comparison was made from. `leaders` names the variants
    that were solved bead by bead, in the order in which they were; steps compare homogenised reserve factors, which
    all variants have.
    """

    title: str
    question: str
    required_reserve: float
    reserve_asked: bool
    variants: tuple[VariantNumbers, ...]
    sweep: dict[str, tuple[str, ...]]
    fronts: dict[str, tuple[str, ...]]
    steps: tuple[Step, ...]
    ratios: dict[str, dict[str, float]]
    best: str | None
    reason: str
    cautions: tuple[str, ...] = ()
    beadwork: str = ""
    base: dict[str, str] = field(default_factory=dict)
    currency: str = ""
    fingerprint: str = ""
    decisive: tuple[Caution, ...] = ()
    leaders: tuple[str, ...] = ()

    def setting(self, variant: VariantNumbers, path: str) -> str:
        """What stands at a path in a variant: what it changed, else the study's own value; "" where neither applies.

        A path inside a table that the variant replaced (an infill, a print plan by a metal or a laminate) applies no
        longer.
        """
        if path in variant.settings:
            return variant.settings[path]
        for changed in variant.settings:
            body, _, key = changed.rpartition(".")
            table = f"{body}.print" if key in ("metal", "laminate") else changed
            if path == table or path.startswith(table + "."):
                return ""
        return self.base.get(path, "")

    @property
    def printed(self) -> bool:
        """Whether the choice is among printed variants."""
        return any(v.printed for v in candidates_of(self.variants))

    @property
    def reference(self) -> VariantNumbers | None:
        """The reference part, where one is marked and was solved."""
        return next((v for v in self.variants if v.reference and v.answered), None)

    def rows(self) -> list[dict[str, Any]]:
        """A row for each variant, ready for a table: what it changes by path, then what came out, each number under a
        name that says its unit, None where a variant has none. `pandas.DataFrame(comparison.rows())` takes it.
        """
        from fem.judging.tables import comparison_rows

        return comparison_rows(self)

    def _repr_html_(self) -> str:
        from fem.judging.tables import comparison_html

        return comparison_html(self)

    def __getitem__(self, name: str) -> VariantNumbers:
        """The variant of a name. Errors: InputError that names those there are."""
        for variant in self.variants:
            if variant.name == name:
                return variant
        raise InputError(f"there is no variant {name!r}.", advice=nearest(name, [v.name for v in self.variants]))


def compare(
    variants: Sequence[VariantNumbers],
    *,
    title: str,
    question: str,
    required_reserve: float,
    reserve_asked: bool = True,
    sweep: Mapping[str, tuple[str, ...]] | None = None,
    cautions: Sequence[str] = (),
    beadwork: str = "",
    base: Mapping[str, str] | None = None,
) -> Comparison:
    """Put the variants side by side and choose."""
    swept, own = dict(sweep or {}), dict(base or {})
    told = without_mesh(candidates_of(variants), own)
    candidates = () if mesh_alone(variants, own) else told
    best, reason = choose(variants, required_reserve=required_reserve, reserve_asked=reserve_asked, base=own)
    return Comparison(
        title=title,
        question=question,
        required_reserve=required_reserve,
        reserve_asked=reserve_asked,
        variants=tuple(variants),
        sweep=swept,
        fronts={"stiffness": _front(candidates, "stiffness"), "reserve": _front(candidates, "advised")},
        steps=steps_of(variants, swept),
        ratios=ratios_of(variants),
        best=best,
        reason=reason,
        cautions=tuple(cautions),
        beadwork=beadwork,
        base=own,
        decisive=decisive_of(variants, own),
    )


# ---- Pareto-optimal variants


def non_dominated(points: Sequence[tuple[float, float]], bands: Sequence[Band] | None = None) -> tuple[int, ...]:
    """The points (mass, gain) for which no other has at most the mass and at least the gain, and betters one of them.

    Equal points are kept together; the order is by rising mass. With `bands` of the gains, a heavier point whose band
    overlaps with that of a lighter one on the front gains nothing that could be told.
    """
    order = sorted(range(len(points)), key=lambda i: (points[i][0], -points[i][1]))
    kept: list[int] = []
    for i in order:
        more = not kept or points[i][1] > points[kept[-1]][1]
        if more and kept and bands is not None:
            more = not bands[i].overlaps(bands[kept[-1]])
        if more or points[i] == points[kept[-1]]:
            kept.append(i)
    return tuple(kept)


def _front(variants: Sequence[VariantNumbers], what: str) -> tuple[str, ...]:
    known = [(v, v.mass_g, getattr(v, what)) for v in variants]
    usable = [(v, mass, gain) for v, mass, gain in known if mass is not None and gain is not None]
    bands = [v.advised_band for v, _, _ in usable] if what == "advised" else None
    return tuple(usable[i][0].name for i in non_dominated([(mass, gain) for _, mass, gain in usable], bands))


# ---- the effect of a step


def steps_of(variants: Sequence[VariantNumbers], sweep: Mapping[str, tuple[str, ...]]) -> tuple[Step, ...]:
    """Every pair of answered variants that differ in one swept number alone, by one step of it, upwards.

    Keys whose values are not numbers (a pattern, a direction) have no steps.
    """
    answered = {
        tuple(v.settings.get(k) for k in sweep): v for v in variants if v.answered and set(sweep) <= {*v.settings}
    }
    out = []
    for at, key in enumerate(sweep):
        sizes = {text: leading_number(text) for text in sweep[key]}
        if any(size is None for size in sizes.values()):
            continue
        rising = sorted(dict.fromkeys(sweep[key]), key=lambda text: sizes[text] or 0.0)
        after = dict(itertools.pairwise(rising))
        for place, variant in answered.items():
            following = after.get(str(place[at]))
            other = answered.get((*place[:at], following, *place[at + 1 :]))
            if following is not None and other is not None:
                out.append(_step(key, variant, other))
    return tuple(out)


def leading_number(text: str) -> float | None:
    """The number that a setting begins with ("3", "0.45 mm"), None for any other text."""
    found = re.match(r'\s*"?\s*([-+]?\d+(\.\d*)?([eE][-+]?\d+)?)(?=$|[\s"])', text)
    return float(found[1]) if found else None


def _step(key: str, low: VariantNumbers, high: VariantNumbers) -> Step:
    mass = (high.mass_g or 0.0) - (low.mass_g or 0.0)
    time, cost = (_difference(getattr(low, k), getattr(high, k)) for k in ("time_h", "cost"))
    reserve = _difference(low.homogenised_advised, high.homogenised_advised)
    level = reserve is not None and low.homogenised_advised_band.overlaps(high.homogenised_advised_band)
    gain = None if level and reserve else reserve
    bend = (high.deflection_mm or 0.0) - (low.deflection_mm or 0.0)
    stiffness = None
    if low.deflection_mm and high.deflection_mm:
        stiffness = low.deflection_mm / high.deflection_mm - 1
    return Step(
        key=key,
        from_setting=low.settings[key],
        to_setting=high.settings[key],
        name_from=low.name,
        name_to=high.name,
        mass_g=mass,
        time_h=time,
        cost=cost,
        reserve=reserve,
        deflection_mm=bend,
        stiffness=stiffness,
        reserve_per_g=_per(gain, mass, low.mass_g),
        reserve_per_h=_per(gain, time, low.time_h),
        stiffness_per_g=_per(stiffness, mass, low.mass_g),
        stiffness_per_h=_per(stiffness, time, low.time_h),
        level=level,
    )


def _difference(low: float | None, high: float | None) -> float | None:
    if low is None or high is None or math.isinf(low) or math.isinf(high):
        return None
    return high - low


def _per(gain: float | None, spent: float | None, whole: float | None) -> float | None:
    """Gain over what was spent; None where as good as nothing was."""
    if gain is None or spent is None or spent <= 1e-6 * (whole or 0.0):
        return None
    return gain / spent


# ---- against the reference part


def ratios_of(variants: Sequence[VariantNumbers]) -> dict[str, dict[str, float]]:
    """Mass, stiffness, reserve and cost of each answered variant over those of the reference part.

    Where that is printed too, both reserve factors are the homogenised ones; both are away from singular places.
    """
    reference = next((v for v in variants if v.reference and v.answered), None)
    if reference is None:
        return {}
    out = {}
    for v in variants:
        if v.answered:
            pairs = {
                "mass": (v.mass_g, reference.mass_g),
                "stiffness": (v.stiffness, reference.stiffness),
                "reserve": (
                    (v.homogenised_advised, reference.homogenised_advised)
                    if reference.printed
                    else (v.advised, reference.advised)
                ),
                "cost": (v.cost, reference.cost),
            }
            out[v.name] = {
                k: own / base for k, (own, base) in pairs.items() if _finite(own) and _finite(base) and own and base
            }
    return out


def _finite(value: float | None) -> bool:
    return value is not None and math.isfinite(value)
