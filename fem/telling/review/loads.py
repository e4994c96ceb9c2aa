"""The loads on the part: loads, cases, the free body with its balance."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from fem.digits import number
from fem.telling import bolt_rows
from fem.telling.blocks import PHOTO_MM, Block, Cell, Figure, Heading, Items, Section, Table, Text, table
from fem.telling.facts import flat
from fem.telling.reactions import EXPLAINED, HEAD, reaction_rows
from fem.telling.review.clamp_time import clamp_time_blocks
from fem.telling.review.free_body_figure import draw_free_body
from fem.telling.review.joints import fit_blocks, joint_blocks
from fem.telling.review.material import Material
from fem.telling.review.numbers import components
from fem.telling.review.pulls import FreeBody, free_body
from fem.telling.words import force, place

MOST_DRAWN = 3
"""Free bodies drawn; the tables are there for every case."""


def loads(material: Material) -> Section:
    """Loads at unit factor, supports, factors by case, and the free body of each case, the worst first."""
    f = material.findings
    blocks: list[Block] = []
    picture = material.picture("loads.png")
    if picture:
        names = f"Supports: {', '.join(f.supports) or 'none'}. Loads: {', '.join(f.loads) or 'none'}."
        alt = f"The part with its loads and supports. {names} {_resultants(material)}"
        blocks.append(Figure(alt, f"Loads and supports; resultants at unit factor. {names}", PHOTO_MM, picture))
    blocks += [_loads(material), *_supports(material), _factors(material)]
    order = sorted(f.cases, key=lambda name: f.cases[name].reserve.minimum)
    for rank, case in enumerate(order):
        body = free_body(material, case)
        blocks.append(Heading(f"Free body, case {case}"))
        if not body.pulls:
            blocks += [Text("No external load has a resultant on the part."), Items(body.inner)]
            blocks += joint_blocks(material, case)
            continue
        if material.free_bodies and rank < MOST_DRAWN:
            blocks.append(_figure(material, body))
        blocks.append(_balance_table(material, body))
        blocks += _reactions(material, case)
        if body.inner:
            blocks.append(Items(body.inner))
        blocks.append(Text(_balance(material, case)))
    blocks += [*fit_blocks(material), *clamp_time_blocks(f.clamps)]
    if material.free_bodies and len(order) > MOST_DRAWN:
        rest = ", ".join(order[MOST_DRAWN:])
        blocks.append(
            Text(f"Drawn are the {MOST_DRAWN} cases with the lowest reserve factors; by table only: {rest}.", "soft")
        )
    return Section("loads", "Loads and equilibrium", tuple(blocks))


def _resultants(material: Material) -> str:
    sizes = {n: v.get("force_N", v.get("resultant_N")) for n, v in material.findings.loads.items()}
    return "; ".join(f"{n} {force(math.hypot(*v))}" for n, v in sizes.items() if v is not None) + "."


def _loads(material: Material) -> Table:
    rows: list[list[Cell]] = []
    for name, facts in material.findings.loads.items():
        own = facts.get("force_N", facts.get("resultant_N"))
        told = [
            f"{k} {v}" for k, v in flat({k: v for k, v in facts.items() if k not in ("kind", "permanent", "force_N")})
        ]
        size = math.hypot(*own) if own is not None else 0.0
        texts = components(own, scale=size, digits=4) if own is not None else ["–"] * 3
        grows = "permanent" if facts.get("permanent") else "variable"
        rows.append(
            [Cell(name), Cell(str(facts.get("kind", ""))), Cell(grows), *map(Cell, texts), Cell("; ".join(told))]
        )
    head = ("Load", "Kind", "Action", "Fx [N]", "Fy [N]", "Fz [N]", "Further values")
    caption = "Loads at unit factor, in part axes. The reserve factor multiplies variable loads; permanent ones stay."
    return table(head, rows, align="lllrrrl", caption=caption, small=True)


def _supports(material: Material) -> list[Block]:
    rows = []
    for name, facts in material.findings.supports.items():
        told = "; ".join(f"{k} {v}" for k, v in flat({k: v for k, v in facts.items() if k != "face"}))
        rows.append([Cell(name), Cell(str(facts.get("face", ""))), Cell(told)])
    return [table(("Support", "Face", "Definition"), rows, align="lll", caption="Supports.")] if rows else []


def _factors(material: Material) -> Table:
    f = material.findings
    names = list(f.loads)
    rows = [
        [
            name,
            *(number(c.factors[n]) if n in c.factors else "–" for n in names),
            number(_size(c.applied_N), digits=4),
        ]
        for name, c in f.cases.items()
    ]
    return table(("Case", *names, "Sum of forces [N]"), rows, caption="Load factors by case.")


def _figure(material: Material, body: FreeBody) -> Figure:
    said = "; ".join(
        f"{p.name} ({p.role}) force ({', '.join(components(p.force, scale=_size(p.force)))}) N, moment "
        f"({', '.join(components(p.moment / 1000, scale=_most(body)))}) N·m at {place(p.at)}"
        for p in body.pulls
    )
    caption = f"Free-body diagram, case {body.case}: resultants on the part, with the case's load factors."
    return Figure(f"{caption} {said}.", caption, svg=draw_free_body(body, shape=material.shape, box=material.box))


def _balance_table(material: Material, body: FreeBody) -> Table:
    """Each wrench, the sum of the loads, the reaction, and what is left over."""
    big = max([_size(p.force) for p in body.pulls], default=0.0)
    turn = max([_size(p.origin_moment) for p in body.pulls], default=0.0)
    scale = (max(big, turn / material.diagonal), max(turn, 1e-3 * big * material.diagonal))

    def row(name: str, pull: Any, about: Any, at: str, tone: str = "") -> list[Cell]:
        texts = [name, *components(pull, scale=scale[0], digits=4)]
        texts += components(np.asarray(about) / 1000, scale=scale[1] / 1000, digits=4)
        return [Cell(t, tone) for t in (*texts, at)]

    acting = [p for p in body.pulls if p.role == "load"]
    rows = [row(p.name, p.force, p.origin_moment, f"{place(p.at)}, {p.place}") for p in acting]
    rows.append(row("sum of the loads", body.force, body.moment, ""))
    for p in body.pulls:
        if p.role == "reaction":
            rows.append(row("reaction", p.force, p.origin_moment, f"{place(p.at)}, {p.place}"))
    left = body.force + sum((p.force for p in body.pulls if p.role == "reaction"), start=np.zeros(3))
    rows.append([*row("residual", left, (0, 0, 0), "", "soft")[:4], *[Cell("–", "soft")] * 3, Cell("")])
    head = ("", "Fx [N]", "Fy [N]", "Fz [N]", "Mx [N·m]", "My [N·m]", "Mz [N·m]", "Point of application")
    caption = f"Forces and moments on the part in case {body.case}; moments about the origin of the part axes."
    return table(head, rows, align="lrrrrrrl", caption=caption, small=True)


def _reactions(material: Material, case: str) -> list[Block]:
    rows = [[Cell(text) for text in row] for row in reaction_rows(material.findings.cases[case])]
    caption = f"Reactions in case {case}. {EXPLAINED}"
    out: list[Block] = [table(HEAD, rows, align="lrrrrrrll", caption=caption, small=True)] if rows else []
    bolts = [[Cell(text) for text in row] for row in bolt_rows.bolt_rows(material.findings.cases[case])]
    out += joint_blocks(material, case)
    if bolts:
        caption = f"Bolts in case {case}. {bolt_rows.EXPLAINED}"
        out.append(table(bolt_rows.HEAD, bolts, align="lrrrrrrrrrrrr", caption=caption, small=True))
    return out


def _balance(material: Material, case: str) -> str:
    c = material.findings.cases[case]
    return (
        "Equilibrium: the loads and the reactions of all supports add up to zero within "
        f"{number(c.force_error, digits=2)} of the applied forces and {number(c.moment_error, digits=2)} of their "
        "moments, as calculated by the solver. The moment of the reaction in the table is the opposite of the loads' "
        "about the origin; in the diagram it is about the point of application."
    )


def _most(body: FreeBody) -> float:
    return max((_size(p.moment) / 1000 for p in body.pulls), default=0.0)


def _size(values: Any) -> float:
    return float(np.linalg.norm(values))
