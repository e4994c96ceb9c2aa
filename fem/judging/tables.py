"""Small tables of what was found, for notebooks: as HTML that needs no style sheet, and as rows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

from fem.digits import number, reserve_text, with_unit
from fem.errors import printable
from fem.judging.verdict import outcome_text, range_text, value_text, verdict_of

if TYPE_CHECKING:
    from fem.judging.choice import Comparison
    from fem.judging.findings import CaseFindings, Findings

MOST_ROWS = 60
"""A longer table shows so many rows and counts the rest."""
SENTENCES = {
    "fails": "does not bear its loads",
    "short": "bears its loads; a requirement is not met",
    "not decided": "not decided: the band straddles a limit",
    "holds": "holds",
}


def html_table(heads: Sequence[str], rows: Iterable[Sequence[str]], *, title: str = "", under: str = "") -> str:
    """A table of plain texts, escaped, its `title` above and one line `under` it."""
    told = list(rows)
    head = "".join(f"<th>{_safe(cell)}</th>" for cell in heads)
    lines = "".join(f"<tr>{''.join(f'<td>{_safe(cell)}</td>' for cell in row)}</tr>" for row in told[:MOST_ROWS])
    more = f"<p>and {len(told) - MOST_ROWS} more</p>" if len(told) > MOST_ROWS else ""
    above = f"<p><strong>{_safe(title)}</strong></p>" if title else ""
    below = f"<p>{_safe(under)}</p>" if under else ""
    return f"<div>{above}<table><thead><tr>{head}</tr></thead><tbody>{lines}</tbody></table>{more}{below}</div>"


def _safe(text: str) -> str:
    return escape(printable(text))


def findings_html(findings: Findings) -> str:
    """The verdict, each case's reserve factor with its band, and each requirement."""
    verdict = verdict_of(findings)
    cases = [
        (
            f"case {name}",
            "reserve factor",
            reserve_text(case.reserve.minimum, limit=verdict.required),
            _band(case),
            f"{verdict.required:g} {'required' if verdict.asked else 'as target'}",
            _place(case),
        )
        for name, case in findings.cases.items()
    ]
    wanted = [
        ("required", r.name, value_text(r), range_text(r), with_unit(r.limit, r.unit), outcome_text(r))
        for r in findings.requirements
    ]
    heads = ("", "what", "value", "band", "limit", "")
    title = f"{findings.title}: {SENTENCES.get(verdict.word, verdict.word)}"
    return html_table(heads, [*cases, *wanted], title=title)


def _band(case: CaseFindings) -> str:
    return " to ".join(reserve_text(end) for end in case.reserve.band)


def _place(case: CaseFindings) -> str:
    told = case.reserve
    used = "; permanent loads alone use a place up" if case.used_up else ""
    return f"{told.mode} in {told.zone} at {', '.join(f'{v:.1f}' for v in told.at_mm)} mm{used}"


def comparison_rows(comparison: Comparison) -> list[dict[str, Any]]:
    """A row for each variant: what it changes by path, then its numbers under names that say their units."""
    paths = dict.fromkeys(path for v in comparison.variants for path in v.settings)
    faces = {
        what: dict.fromkeys(face for v in comparison.variants for face in getattr(v, what))
        for what in ("displacement_mm", "rotation_deg")
    }
    out: list[dict[str, Any]] = []
    for v in comparison.variants:
        band, away = v.band or (None, None), v.band_away or (None, None)
        watched = {f"{face}_{what}": getattr(v, what).get(face) for what, of in faces.items() for face in of}
        out.append(
            {
                "variant": v.name,
                **{path: comparison.setting(v, path) for path in paths},
                "mass_g": v.mass_g,
                "time_h": v.time_h,
                "cost": v.cost,
                "deflection_mm": v.deflection_mm,
                **watched,
                "reserve": v.reserve,
                "reserve_low": band[0],
                "reserve_high": band[1],
                "reserve_away": v.reserve_away,
                "reserve_away_low": away[0],
                "reserve_away_high": away[1],
                "homogenised_reserve": v.homogenised_reserve,
                "calculated": v.decided_by if v.answered else None,
                "case": v.reserve_case,
                "mode": v.mode,
                "zone": v.zone,
                "printed": v.printed,
                "reference": v.reference,
                "to_print": v.name == comparison.best,
                "missed": "; ".join(v.missed),
                "error": v.error,
            }
        )
    return out


def comparison_html(comparison: Comparison) -> str:
    """Mass, hours, deflection, reserve factor and what is missed of each variant, and which to print."""
    rows = [
        (
            ("→ " if v.name == comparison.best else "") + v.name + (" (reference)" if v.reference else ""),
            *(number(value) if value is not None else "" for value in (v.mass_g, v.time_h, v.deflection_mm)),
            "" if v.reserve is None else reserve_text(v.reserve, limit=comparison.required_reserve),
            " to ".join(reserve_text(end) for end in v.band),
            v.error or "; ".join(v.missed) or "nothing",
        )
        for v in comparison.variants
    ]
    heads = ("variant", "mass [g]", "time [h]", "deflection [mm]", "reserve factor", "band", "misses")
    return html_table(heads, rows, title=comparison.title, under=comparison.reason)
