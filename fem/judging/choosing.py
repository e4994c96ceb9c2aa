"""Which of a study's variants to print and why, and the cautions that can turn it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence

from fem.caution import Caution
from fem.digits import number, reserve_text
from fem.judging.deciding import holding
from fem.judging.mesh_apart import mesh_differs, same_but_for_mesh
from fem.judging.variant_numbers import VariantNumbers

ALIKE = 0.005
"""Masses that differ by less than this share are taken as equal: the estimate of a print's mass is no better."""


def candidates_of(variants: Sequence[VariantNumbers]) -> tuple[VariantNumbers, ...]:
    """The solved variants that could be printed; where none is printed at all, all but the reference part."""
    others = [v for v in variants if v.answered and not v.reference]
    return tuple(v for v in others if v.printed) or tuple(others)


def without_mesh(variants: Sequence[VariantNumbers], base: Mapping[str, str]) -> tuple[VariantNumbers, ...]:
    """Of variants that differ in their mesh alone, the one of the lowest reserve factor stands for all; of those
    whose beads were asked, where any were.
    """
    groups = same_but_for_mesh([v.settings for v in variants], base)
    return tuple(min((variants[i] for i in group), key=lambda v: (v.zoomed is None, _reserve(v))) for group in groups)


def _reserve(v: VariantNumbers) -> float:
    return math.inf if v.reserve is None else v.reserve


def mesh_alone(variants: Sequence[VariantNumbers], base: Mapping[str, str]) -> bool:
    """Whether nothing but the mesh differs between those to choose from."""
    candidates = candidates_of(variants)
    return len(candidates) > 1 and len(without_mesh(candidates, base)) == 1


# ---- what can turn the choice


def decisive_of(variants: Sequence[VariantNumbers], base: Mapping[str, str]) -> tuple[Caution, ...]:
    """Each kind of decisive caution once: how many variants carry it, and the sentence of the first."""
    answered = [v for v in variants if v.answered]
    counts = Counter(kind for v in answered for kind in v.decisive)
    first = {kind: v for v in reversed(answered) for kind in v.decisive}
    kinds = [
        Caution(
            kind,
            f"{count} of {len(answered)} variants: {first[kind].decisive[kind]}",
            {"variants": count, "of": len(answered), "first": first[kind].name},
            decisive=True,
        )
        for kind, count in counts.items()
    ]
    return (*_of_mesh(answered, base), *kinds)


def _of_mesh(variants: Sequence[VariantNumbers], base: Mapping[str, str]) -> tuple[Caution, ...]:
    settings = [v.settings for v in variants]
    if not mesh_differs(settings, base):
        return ()
    groups = [[_reserve(variants[i]) for i in group] for group in same_but_for_mesh(settings, base)]
    pairs = [(min(g), max(g)) for g in groups if len(g) > 1]
    if not pairs:
        text = (
            "Variants differ in their mesh and in something else at once: the mesh alone may change the reserve "
            "factor. Give all of them the same mesh."
        )
        return (Caution("mesh_differs", text, decisive=True),)
    changes = [high / low - 1 for low, high in pairs if low > 0 and high < math.inf]
    by = f" by {number(100 * max(changes))} %" if changes else ""
    text = (
        f"Variants differ in their mesh: a change of the reserve factor{by} between them tells how far it depends on "
        "the mesh, not which to make."
    )
    return (Caution("mesh_differs", text, {"reserve_change": max(changes)} if changes else {}, decisive=True),)


# ---- level with each other


def level_with(variants: Sequence[VariantNumbers], v: VariantNumbers) -> tuple[str, ...]:
    """The names of those to choose from with which a variant is level in reserve: their bands overlap, so that
    neither can be called the better one.
    """
    if not v.answered or v.advised is None:
        return ()
    others = [o for o in candidates_of(variants) if o.name != v.name and o.advised is not None]
    known = [o for o in others if v.has_band or o.has_band]
    return tuple(o.name for o in known if o.advised_band.overlaps(v.advised_band))


# ---- the one to print


def meeting_of(
    variants: Sequence[VariantNumbers],
    *,
    required_reserve: float,
    reserve_asked: bool,
    base: Mapping[str, str] | None = None,
) -> tuple[VariantNumbers, ...]:
    """Those to choose from that miss no requirement; variants that differ in their mesh alone count as one."""
    wanted = 0.0 if reserve_asked else required_reserve
    candidates = without_mesh(candidates_of(variants), base or {})
    return tuple(v for v in candidates if not v.missed and _gap(v, wanted) <= 0)


def choose(
    variants: Sequence[VariantNumbers],
    *,
    required_reserve: float,
    reserve_asked: bool = True,
    base: Mapping[str, str] | None = None,
) -> tuple[str | None, str]:
    """The variant to print and one sentence that says why.

    It is the lightest of those that miss no requirement; among equal masses the one with the higher reserve factor
    away from singular places, and of those that are level in it, their bands overlapping, the one printed sooner.
    Where the study asks for no reserve factor, `required_reserve` is asked for in its place. When none meets all,
    none is named and the sentence says which comes nearest. Between meshes nothing is chosen.
    """
    own = base or {}
    candidates = without_mesh(candidates_of(variants), own)
    if not candidates:
        return None, f"No variant{_apart(variants, printed=False)} could be solved, so none can be chosen."
    if mesh_alone(variants, own):
        return None, _of_mesh(candidates_of(variants), own)[0].text
    printed = candidates[0].printed
    noun, apart = "printed variant" if printed else "variant", _apart(variants, printed=printed)
    meeting = meeting_of(variants, required_reserve=required_reserve, reserve_asked=reserve_asked, base=own)
    if not meeting:
        wanted = 0.0 if reserve_asked else required_reserve
        nearest = min(candidates, key=lambda v: (_gap(v, wanted), v.mass_g or 0.0))
        missed = "; ".join(nearest.missed) or f"its reserve factor is {_text(nearest.reserve)}"
        return None, (
            f"None of the {len(candidates)} {noun}s{apart} meets all requirements; {nearest.name} comes nearest: its "
            f"largest shortfall is {100 * _gap(nearest, wanted):.2g} % ({missed})."
        )
    lightest = min(v.mass_g or 0.0 for v in meeting)
    alike = [v for v in meeting if (v.mass_g or 0.0) <= lightest * (1 + ALIKE)]
    best, level = _first(alike)
    asked = "all requirements" if reserve_asked else f"a reserve factor of {required_reserve:g}"
    several = len(meeting) > 1
    among = f"the lightest of the {len(meeting)} {noun}s{apart}" if several else f"the only {noun}{apart}"
    tie = " and has the highest reserve factor among those of equal mass" if len(alike) > 1 else ""
    if level:
        tie = f"; in reserve it is level with {_few(level)} of equal mass, whose bands overlap with its own"
    price = "" if best.time_h is None else f", print time {best.time_h:.3g} h"
    goal = f"{required_reserve:g} {'required' if reserve_asked else 'taken as target'}"
    return best.name, (
        f"{'Print' if printed else 'Take'} {best.name}: it is {among} that {'meet' if several else 'meets'} {asked}"
        f"{tie}, with {best.mass_g or 0.0:.4g} g{price}, a minimum reserve factor of {_text(best.reserve)}"
        f"{_kind(best)}{_within(best.band)} ({goal}) and a maximum deflection of {best.deflection_mm or 0.0:.3g} mm."
        f"{_singular(best)}"
    )


def _first(alike: Sequence[VariantNumbers]) -> tuple[VariantNumbers, list[str]]:
    """Of variants of one mass the one with the highest reserve factor; and the names of those that are level with
    it, of which the one printed soonest is taken.
    """
    top = max(alike, key=lambda v: (v.advised or 0.0, -(v.time_h or 0.0)))
    level = [v for v in alike if v is top or top.name in level_with(alike, v)]
    best = min(level, key=lambda v: (v.time_h or 0.0, -(v.advised or 0.0)))
    return best, [v.name for v in level if v is not best]


def _few(names: Sequence[str], most: int = 3) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def _within(band: Sequence[float]) -> str:
    return f", between {reserve_text(band[0])} and {reserve_text(band[1])}" if len(band) else ""


def _singular(v: VariantNumbers) -> str:
    """Says what the advice rests on where the minimum itself is read at a singular place."""
    if not v.singular or v.advised is None:
        return ""
    return (
        " That minimum is read at a singular place, which the verdict counts; variants are ranked by the minimum "
        f"away from such places, {reserve_text(v.advised)} here."
    )


def _apart(variants: Sequence[VariantNumbers], *, printed: bool) -> str:
    """Says that the reference part is not counted, where the noun alone would count it."""
    counted = any(v.reference and v.answered and (v.printed or not printed) for v in variants)
    return " besides the reference part" if counted else ""


def _gap(v: VariantNumbers, wanted: float) -> float:
    """By what share a variant misses what is asked for, a reserve factor of `wanted` among it."""
    low = math.inf if v.reserve is None else holding(v.reserve, v.band).low
    return max(v.shortfall, 0.0 if low >= wanted else 1 - low / wanted)


def _kind(v: VariantNumbers) -> str:
    """Says that a reserve factor is that of the beads, and what the homogenised answer says."""
    if v.decided_by == "homogenised":
        return ""
    return f" bead by bead, {_text(v.homogenised)} homogenised" if v.homogenised is not None else " bead by bead"


def _text(value: float | None) -> str:
    return "not known" if value is None else reserve_text(value)
