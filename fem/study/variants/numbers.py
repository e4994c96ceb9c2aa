"""From a variant's findings to the numbers that are put side by side, and the table of them as a file."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from fem.judging.advice import advised_of, homogenised_of, rests_on_singular
from fem.judging.band import NOT_DECIDED, ONE_MESH
from fem.judging.cautions import texts_of
from fem.judging.choice import Comparison, VariantNumbers
from fem.judging.choosing import level_with
from fem.judging.deciding import holding, outcome, reserve_of
from fem.judging.findings import CaseFindings, Findings, RequirementFindings
from fem.judging.verdict import is_lower, is_reserve, range_text, value_text
from fem.study.plans import Study
from fem.study.variants.series import VariantResult
from fem.telling.files import safe_cell, write_text
from fem.telling.words import money, with_unit
from fem.telling.zoom_words import kind_of


def numbers_of_variant(told: VariantResult) -> VariantNumbers:
    """What is compared of one variant."""
    variant, found = told.variant, told.findings
    if found is None:
        return VariantNumbers(variant.name, variant.settings, variant.reference, error=told.error)
    plans = [b.print for b in found.bodies.values() if b.print is not None]
    cost = sum(p.cost for p in plans) if plans else None
    worst_case = found.cases[found.worst_case]
    worst = worst_case.reserve
    away, band_away = advised_of(found.cases.values())
    homogenised_away, homogenised_band = homogenised_of(found.cases.values())
    places = [(name, place) for name, case in found.cases.items() for place in case.used_up]
    used_up = [f"permanent loads alone use up a place (case {name})" for name in dict.fromkeys(n for n, _ in places)]
    over = [1 - (place.reserve or 0.0) for _, place in places]
    bends = max(found.cases, key=lambda c: found.cases[c].maximum_displacement_mm)
    return VariantNumbers(
        name=variant.name,
        settings=variant.settings,
        reference=variant.reference,
        printed=bool(plans),
        mass_g=sum(b.mass_g for b in found.bodies.values()),
        time_h=sum(p.time_h for p in plans) if plans else None,
        cost=cost if variant.cost is None else variant.cost,
        deflection_mm=found.cases[bends].maximum_displacement_mm,
        deflection_case=bends,
        displacement_mm=_largest(found, "displacement_mm"),
        rotation_deg=_largest(found, "rotation_deg"),
        reserve=worst.minimum,
        reserve_away=away,
        reserve_case=found.worst_case,
        mode=worst.mode,
        zone=worst.zone,
        body=worst.body,
        at_mm=tuple(worst.at_mm),
        singular=rests_on_singular(worst_case),
        decided_by=worst.decided_by,
        homogenised=min(map(_homogenised, found.cases.values())),
        zoomed=_zoomed(variant.study, found),
        missed=(*used_up, *(_missed(r) for r in found.requirements if not r.met)),
        shortfall=max((*over, *(_short(r) for r in found.requirements if not r.met)), default=0.0),
        other_shortfall=max((_short(r) for r in found.requirements if not r.met and not is_lower(r)), default=0.0),
        cautions=texts_of(found.cautions),
        decisive=_decisive(found),
        findings_file=told.file,
        band=reserve_of(found.cases.values())[1],
        band_away=band_away,
        homogenised_away=homogenised_away,
        homogenised_band=homogenised_band,
        band_common=worst_case.bands_from == ONE_MESH and worst.decided_by == "homogenised",
    )


def _homogenised(case: CaseFindings) -> float:
    """The homogenised minimum of a case, whatever decided it."""
    r = case.reserve
    return r.minimum if r.decided_by == "homogenised" and math.isinf(r.homogenised) else r.homogenised


def _zoomed(study: Study | None, found: Findings) -> int | None:
    """How many places were solved bead by bead; None where none were asked for."""
    if study is None or (study.judge.zoom == 0 and not study.judge.whole):
        return None
    return len({(z.body, z.at_mm) for case in found.cases.values() for z in case.zooms})


def _decisive(found: Findings) -> dict[str, str]:
    """The first sentence of each kind that can turn the verdict, in the order told."""
    out: dict[str, str] = {}
    for caution in found.cautions:
        if caution.decisive:
            out.setdefault(caution.kind, caution.text)
    return out


def _largest(found: Findings, what: str) -> dict[str, float]:
    """By watched face, the largest over the cases."""
    cases: list[CaseFindings] = list(found.cases.values())
    faces = dict.fromkeys(face for case in cases for face in case.faces)
    return {f: max(math.hypot(*getattr(c.faces[f], what)) for c in cases if f in c.faces) for f in faces}


def _missed(r: RequirementFindings) -> str:
    """A requirement that is not met or not decided, in words with numbers."""
    told = f"not decided, {range_text(r)}" if outcome(r) == NOT_DECIDED and r.band else value_text(r)
    if is_reserve(r):
        return f"reserve factor {told}, {r.limit:g} required (case {r.where})"
    where = "" if r.name == "mass" else f" (case {r.where})"
    bound = "at least {} required" if is_lower(r) else "at most {} allowed"
    return f"{r.name} {told}, {bound.format(with_unit(r.limit, r.unit))}{where}"


def _short(r: RequirementFindings) -> float:
    """By what share a requirement is missed, or may be missed where its band straddles the limit."""
    band = holding(r.value, r.band if outcome(r) == NOT_DECIDED else ())
    return max(0.0, 1 - band.low / r.limit if is_lower(r) else band.high / r.limit - 1)


# ---- the table as a file


def write_table(comparison: Comparison, path: Path) -> Path:
    """Write comparison.csv: a row for each variant, the unit in each head; beside its place and renamed."""
    text = io.StringIO()
    rows = ([safe_cell(cell) for cell in row] for row in table_rows(comparison))
    csv.writer(text, lineterminator="\n").writerows(rows)
    return write_text(text.getvalue(), path)


def table_rows(comparison: Comparison) -> Iterator[list[Any]]:
    """The heads, then a row for each variant; empty where a variant has no such number."""
    variants = comparison.variants
    paths = list(dict.fromkeys(path for v in variants for path in v.settings))
    turned = _faces(variants, "rotation_deg")
    displaced = _faces(variants, "displacement_mm")
    yield [
        "variant",
        *paths,
        "reference part",
        "mass [g]",
        "print time [h]",
        f"cost [{money(comparison.currency)}]",
        "maximum deflection [mm]",
        "in case",
        *(f"displacement of {face} [mm]" for face in displaced),
        *(f"rotation of {face} [deg]" for face in turned),
        "minimum reserve factor [-]",
        "minimum reserve factor, lowest [-]",
        "minimum reserve factor, highest [-]",
        "minimum reserve factor away from singular places [-]",
        "away from singular places, lowest [-]",
        "away from singular places, highest [-]",
        "level in reserve with",
        "calculated",
        "homogenised minimum reserve factor [-]",
        "by case",
        "mode",
        "zone",
        "body",
        "at x [mm]",
        "at y [mm]",
        "at z [mm]",
        "mass over reference [-]",
        "stiffness over reference [-]",
        "reserve over reference [-]",
        "cost over reference [-]",
        "none lighter is stiffer",
        "none lighter has more in reserve",
        "to print",
        "requirements missed",
        "why not solved",
        "findings file",
    ]
    for v in variants:
        ratio = comparison.ratios.get(v.name, {})
        yield [
            v.name,
            *(comparison.setting(v, path) for path in paths),
            _yes(v.reference),
            *map(_number, (v.mass_g, v.time_h, v.cost, v.deflection_mm)),
            v.deflection_case,
            *(_number(v.displacement_mm.get(face)) for face in displaced),
            *(_number(v.rotation_deg.get(face)) for face in turned),
            *map(_number, (v.reserve, *(v.band or (None, None)))),
            *map(_number, (v.reserve_away, *(v.band_away or (None, None)))),
            "; ".join(level_with(comparison.variants, v)),
            kind_of(v) if v.answered and v.printed else "",
            _number(v.homogenised_reserve),
            v.reserve_case,
            v.mode,
            v.zone,
            v.body,
            *(map(_number, v.at_mm or (None, None, None))),
            *(_number(ratio.get(key)) for key in ("mass", "stiffness", "reserve", "cost")),
            _yes(v.name in comparison.fronts["stiffness"]),
            _yes(v.name in comparison.fronts["reserve"]),
            _yes(v.name == comparison.best),
            "; ".join(v.missed),
            v.error,
            v.findings_file,
        ]


def _faces(variants: Sequence[VariantNumbers], what: str) -> list[str]:
    return list(dict.fromkeys(face for v in variants for face in getattr(v, what)))


def _number(value: float | None) -> str:
    """Nine digits: more than any reader needs, and enough to compute on."""
    if value is None:
        return ""
    return "inf" if math.isinf(value) else f"{value:.9g}"


def _yes(value: bool) -> str:
    return "yes" if value else ""
