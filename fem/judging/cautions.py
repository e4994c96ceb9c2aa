"""What a reader of the numbers must know: each caution has a kind, a sentence and its numbers."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from fem.caution import Caution
from fem.digits import number, reserve_text
from fem.judging.findings import BodyFindings, CaseFindings, MeshFindings, UsedUp

LARGE_DISPLACEMENT = 0.03
"""Maximum displacement over the part's diagonal from which a linear analysis is called doubtful (common practice)."""
PULL_LIMIT = 0.01
"""Share of a foundation's normal forces that may pull before a caution says so."""
CARRIES = 2.0
"""An infill carries where its reserve factor is at most this many times the least of all zones."""
POOR_QUALITY = 0.02
"""Shape quality (1: regular, 0: flat) below which a tetrahedron is a sliver whose stress says little."""

STANDING = tuple(
    Caution("standing", text)
    for text in (
        "The numbers are an engineering estimate from one linear analysis: small displacements, elastic material.",
        "Printed polymer varies from machine to machine, spool to spool and day to day: test coupons from your own "
        "printer, in the state and direction that count.",
        "Polymers soften when they warm, nylon also when it takes up water, and they creep under bolts: preload "
        "fades; check and retighten.",
        "Never let one printed part alone stand between a person and injury: add a second hold, and inspect.",
        "Follow local codes, and have a qualified engineer sign what can hurt someone.",
    )
)
"""What every run, page and report says."""


def cautions_of(
    bodies: Mapping[str, BodyFindings],
    cases: Mapping[str, CaseFindings],
    trust: Mapping[str, Any],
    *,
    mesh: MeshFindings,
    diagonal: float,
    remarks: Iterable[Caution],
) -> tuple[Caution, ...]:
    """All that a run has to say: what decides first, then the particular, the standing cautions last.

    `diagonal` [mm] of the part's box; `remarks` are the cautions of the rooms above.
    """
    out = [*remarks, *_estimates(bodies), *_of_infill(bodies, cases)]
    out += [*_of_cases(cases, diagonal=diagonal), *_of_foundations(cases)]
    out += _of_mesh(cases, trust, mesh=mesh)
    return (*sorted(out, key=lambda c: not c.decisive), *STANDING)


def _estimates(bodies: Mapping[str, BodyFindings]) -> Iterable[Caution]:
    for name, body in bodies.items():
        if body.estimates:
            yield Caution(
                "estimates",
                f"Body {name} uses card {body.material} ({body.state}) in which these values are estimates, not "
                f"measurements: {', '.join(body.estimates)}.",
                {"body": name, "values": list(body.estimates)},
            )


def _of_infill(bodies: Mapping[str, BodyFindings], cases: Mapping[str, CaseFindings]) -> Iterable[Caution]:
    """Where an infill that is taken for sound is nearly the first to fail."""
    near = {
        name: case.reserve.by_zone["core"]
        for name, case in cases.items()
        if (case.reserve.by_zone.get("core") or math.inf) <= CARRIES * case.reserve.homogenised < math.inf
    }
    sound = [n for n, b in bodies.items() if b.print and b.print.cell_mm and b.print.infill_quality == 1]
    if near and sound:
        yield Caution(
            "infill_sound",
            f"The infill of {', '.join(sound)} carries in {', '.join(near)}, and its one-bead walls are taken to be "
            "as sound as all other beads (quality = { infill = 1 }); they seldom are: measure a printed block of it.",
            {"bodies": sound, "cases": list(near)},
        )


def _of_foundations(cases: Mapping[str, CaseFindings]) -> Iterable[Caution]:
    for name, case in cases.items():
        for support, found in case.foundations.items():
            if found.pulling_force_fraction > PULL_LIMIT and not found.bonded:
                yield Caution(
                    "foundation_pulls",
                    f"Case {name}: foundation {support} pulls on the part, with {number(found.pull_N)} N over "
                    f"{number(100 * found.lifted_area_fraction)} % of its area; add "
                    "push_only = true, or bonded = true where it is glued.",
                    {"case": name, "support": support, "pull_N": found.pull_N},
                    decisive=True,
                )
            if found.push_only and found.lifted_area_fraction == 1:
                yield Caution(
                    "foundation_lifted",
                    f"Case {name}: the part has lifted off foundation {support} altogether.",
                    {"case": name, "support": support},
                )


def _of_cases(cases: Mapping[str, CaseFindings], *, diagonal: float) -> Iterable[Caution]:
    # Cases that share their permanent loads are used up at the same places, and told together
    used = {name: case.used_up for name, case in cases.items() if case.used_up}
    for places in dict.fromkeys(used.values()):
        yield _used_up([name for name, own in used.items() if own == places], places)
    for name, case in cases.items():
        r = case.reserve
        if r.minimum == 0 and not case.used_up:
            yield Caution(
                "permanent_loads_fail",
                f"Case {name}: its permanent loads alone are more than the part bears at {_place(r.at_mm)}, in the "
                f"{r.zone}; the reserve factor is 0 there whatever grows. Lower them or spread them.",
                {"case": name, "at_mm": list(r.at_mm)},
                decisive=True,
            )
        if r.singular:
            yield Caution(
                "singular",
                f"Case {name}: the minimum reserve factor {reserve_text(r.minimum)} is read at a support's or a "
                "load's edge, where the stress does not converge with mesh refinement; away from singularities it is "
                f"{reserve_text(r.nonsingular_minimum)}.",
                {"case": name, "minimum": r.minimum, "nonsingular_minimum": r.nonsingular_minimum},
            )
        share = case.maximum_displacement_mm / diagonal
        if share > LARGE_DISPLACEMENT:
            yield Caution(
                "large_displacement",
                f"Case {name} bends by {100 * share:.1f} % of the part's diagonal, more than the "
                f"{100 * LARGE_DISPLACEMENT:g} % up to which a linear analysis is relied on here. Stiffen the part, "
                "or take the numbers for a first guess.",
                {"case": name, "maximum_displacement_mm": case.maximum_displacement_mm, "of_diagonal": share},
                decisive=True,
            )


def _used_up(names: Sequence[str], places: Sequence[UsedUp]) -> Caution:
    """The places that permanent loads alone use up: where, by how much, what would help."""
    worst, others = places[0], places[1:]
    by = "" if worst.reserve is None else f", {1 / max(worst.reserve, 1e-6):.3g} times what it bears"
    near = f" near face {worst.face}" if worst.face else ""
    over = f", over {number(100 * worst.share, digits=2)} % of its volume" if worst.share else ""
    several = f" (and {'; '.join(_place(p.at_mm) for p in others)})" if others else ""
    return Caution(
        "permanent_loads_fail",
        f"{'Case' if len(names) == 1 else 'Cases'} {', '.join(names)}: permanent loads alone use up a place: at "
        f"{_place(worst.at_mm)}{near}, in the {worst.zone} of {worst.body} ({worst.mode}){by}{over}{several}. What "
        "would help: a larger washer, more covers, or solid infill under the washer; else a lower preload. The "
        "reserve factor of the growing loads is that of all other places.",
        {
            "cases": list(names),
            "at_mm": list(worst.at_mm),
            "body": worst.body,
            "zone": worst.zone,
            "face": worst.face,
            "permanent_reserve": worst.reserve,
            "share": worst.share,
            "places": len(places),
        },
        decisive=True,
    )


def _place(at: Iterable[float]) -> str:
    return f"({', '.join(f'{v:.4g}' for v in at)}) mm"


def _coarse(cases: Mapping[str, CaseFindings], off: Mapping[str, Mapping[str, float]], *, chosen: bool) -> Caution:
    """For which number the mesh is coarsest, by how much, and what to do; `chosen` for its accuracy it was."""
    share, name, key = max((share, name, key) for name, own in off.items() for key, share in own.items())
    words = {"reserve": "the minimum reserve factor", "displacement": "the largest displacement"}[key]
    at = cases[name].reserve.at_mm if key == "reserve" else cases[name].maximum_displacement_at_mm
    advice = 'Let the mesh be chosen (mesh = { accuracy = "5 %" }), or ask for a smaller size.'
    if chosen:
        advice = "Ask for a tighter accuracy or a smaller first size, or have its beads solved (--zoom 3)."
    text = (
        f"The mesh is coarse: {words} of case {name}, at {_place(at)}, may lie off by {100 * share:.0f} %. {advice}"
    )
    return Caution("coarse_mesh", text, {"case": name, "of": key, "share": share}, decisive=True)


def _of_mesh(cases: Mapping[str, CaseFindings], trust: Mapping[str, Any], *, mesh: MeshFindings) -> Iterable[Caution]:
    if not trust["mesh_is_fine_enough"]:
        yield _coarse(cases, trust["mesh_may_be_off_by"], chosen="passes" in trust)
    if mesh.worst_quality < POOR_QUALITY:
        yield Caution(
            "poor_tetrahedron",
            f"The worst tetrahedron is nearly flat (shape quality {mesh.worst_quality:.2g}, 1 is regular): a stress "
            "read there says little. Another mesh size or a cleaner solid cures it.",
            {"worst_quality": mesh.worst_quality},
        )
    if not trust["balance_met"]:
        yield Caution(
            "balance",
            f"Forces balance only to {trust['maximum_balance_error']:.1e} of the load.",
            {"maximum_balance_error": trust["maximum_balance_error"]},
            decisive=True,
        )
    if mesh.straightened:
        yield Caution(
            "straightened",
            f"{mesh.straightened} mid-side nodes were straightened; the surface is slightly flattened there.",
            {"nodes": mesh.straightened},
        )


def texts_of(cautions: Iterable[Caution]) -> tuple[str, ...]:
    """The sentences alone."""
    return tuple(c.text for c in cautions)
