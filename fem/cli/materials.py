"""`beadwork cards` and `beadwork cell`."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from fem.cli.console import picture_place, ruled, screen
from fem.errors import CardError, InputError, printable


def cards(options: argparse.Namespace) -> int:
    from fem.cli.card_facts import LINE, card_facts, card_line, doubt
    from fem.printing.polymer import all_cards, load_card

    if options.json:
        found = [load_card(options.name)] if options.name else all_cards()
        print(json.dumps({card.name: card_facts(card) for card in found}, indent=1, ensure_ascii=False))
        return 0
    console = screen()
    if options.name:
        _print_card(load_card(options.name), console)
        return 0
    every = all_cards()
    rows = [[c.name, c.about, ", ".join(c.states), doubt(c)] for c in every]
    console.print(ruled("Material cards", ["card", "what it is", "states", "estimates"], rows))
    console.print(ruled("What they are worth in their first state", LINE, [card_line(card) for card in every]))
    console.print(
        "Along/across/up; break is the strain there, scatter a coefficient of variation; * an estimate, – not "
        "stated. Without a toughness a bead's width counts, on the safe side."
    )
    console.print("`beadwork cards NAME` shows a card's values with their sources.")
    return 0


def _print_card(card: Any, console: Any) -> None:
    """All that a card holds, state by state."""
    kind = f"{card.kind}: {card.about}" if card.about else card.kind
    console.print(f"\n{card.name} ({kind}), density {card.density * 1e9:.4g} g/cm³", style="bold")
    by_factors: dict[Any, list[str]] = {}
    for state in card.states.values():
        console.print(ruled(f"{state.name}, 23 °C", ["value", "", "", "source"], _card_rows(state, card.kind)))
        if state.critical_distance:
            console.print(
                f"{state.name}: critical distance {state.critical_distance:.3g} mm, by toughness and strength\n"
            )
        by_factors.setdefault(state.factors, []).append(state.name)
    for table, names in by_factors.items():
        if table is None:
            console.print(f"{', '.join(names)}: known at 23 °C only\n")
            continue
        rows = [
            [key, *(f"× {x:g}" for x in getattr(table, key)), "estimate" if key in table.estimates else ""]
            for key in ("stiffness", "strength")
        ]
        title = f"{', '.join(names)}: by temperature"
        console.print(ruled(title, ["", *(f"{t:g} °C" for t in table.at), ""], rows))
        console.print(f"  {table.source}\n")


def _card_rows(state: Any, kind: str) -> list[list[str]]:
    """Value with its unit, numbers, whether it is an estimate, and source, once where it repeats."""
    one = state.yield_stress is not None

    def numbers(values: Any, scale: float = 1) -> str:
        scaled = (v * scale for v in values[: 1 if one else 3])
        return " / ".join(f"{v:.0f}" if v >= 1000 else f"{v:.4g}" for v in scaled)

    pairs = "" if one else " 12 / 13 / 23"
    axes = "" if one else " along / across / through" if kind == "laminate" else " along / across / up"
    told = {
        "E": (f"E [MPa]{axes}", numbers(state.E)),
        "nu": (f"nu{pairs}", numbers(state.nu)),
        "G": (f"G [MPa]{pairs}", numbers(state.G)),
        "expansion": (f"expansion [1e-6/K]{axes}", numbers(state.expansion or (), 1e6)),
        "scatter": ("scatter of the strengths", f"{100 * (state.scatter or 0):g} %"),
        "elastic_scatter": ("scatter of the moduli", f"{100 * state.stiffness_scatter:g} %"),
        "strain_at_break": (f"strain at break [%]{axes}", numbers(state.strain_at_break or (), 100)),
        "toughness": (f"toughness [MPa·m^0.5]{axes}", numbers(state.toughness or (), 1000**-0.5)),
    }
    if one:
        told |= {"yield": ("yield [MPa]", f"{state.yield_stress:.4g}")}
        told |= {"ultimate": ("ultimate [MPa]", f"{state.ultimate:.4g}")}
    else:
        told |= {key: (f"{key} [MPa]{axes}", numbers(getattr(state, key))) for key in ("tension", "compression")}
        told |= {"shear": (f"shear [MPa]{pairs}", numbers(state.shear[::-1]))}
    rows, last = [], ""
    for key, source in state.sources.items():
        name, value = told.get(key, (key, ""))
        rows.append(
            [name, value, "estimate" if key in state.estimates else "", "(same)" if source == last else source]
        )
        last = source
    return rows


def cell(options: argparse.Namespace) -> int:
    """Solve one infill cell and tell its effective properties."""
    from fem.numerals import plain_number
    from fem.printing.infill import infill_cell
    from fem.printing.polymer import load_card
    from fem.telling.cell_picture import draw_cell
    from fem.units import quantity

    card = load_card(options.polymer)
    state = options.state or next(iter(card.states))
    warm = (
        None if options.temperature is None else quantity(options.temperature, "temperature", where="--temperature")
    )
    values = card.state(state, temperature=warm)
    if card.kind != "polymer":
        raise CardError(f"{card.name} is a {card.kind} and cannot be printed as beads.", where="--polymer")
    width = quantity(options.bead_width, "length", where="--bead-width")
    height = quantity(options.bead_height, "length", where="--bead-height")
    try:
        density = plain_number(options.density)
    except InputError as error:
        raise InputError(error.message, where="--density", advice="Write a share such as 0.3.") from None
    print(
        f"beadwork: infill cell, {printable(options.pattern)} (solved once, then kept)", file=sys.stderr, flush=True
    )
    made = infill_cell(
        options.pattern,
        density=density,
        bead_width=width,
        bead_height=height,
        E=values.E,
        nu=values.nu,
        G=values.G,
        strength=values.strength,
        expansion=values.expansion,
    )
    picture = picture_place(options.picture or Path(f"cell_{made.pattern}_{100 * made.density:.0f}.png"))
    facts = _cell_facts(made, material=f"{card.name} ({state})")
    if options.json:
        print(json.dumps(facts, indent=1))
    else:
        _print_cell(made, facts)
    draw_cell(made, path=picture)
    print(f"Picture: {printable(str(picture))}", file=sys.stderr)
    return 0


def _cell_facts(made: Any, *, material: str) -> dict[str, Any]:
    """The cell's numbers for scripts, in cell axes (print axes at infill angle 0)."""
    from fem.tensors import engineering_constants

    k = {name: float(v) for name, v in engineering_constants(made.stiffness).items()}
    strength = {key: [float(v) for v in made.strength_MPa[key]] for key in ("tension", "compression")}
    shear = dict(zip(("23", "13", "12"), map(float, made.strength_MPa["shear"]), strict=True))
    return {
        "pattern": made.pattern,
        "material": material,
        "density": float(made.density),
        "bead_width_mm": made.bead_width,
        "bead_height_mm": made.bead_height,
        "period_mm": [float(v) for v in made.size],
        "E_MPa": [k["E1"], k["E2"], k["E3"]],
        "nu": {pair: k[f"nu{pair}"] for pair in ("12", "13", "23")},
        "G_MPa": {pair: k[f"G{pair}"] for pair in ("12", "13", "23")},
        "stiffness_MPa": made.stiffness.tolist(),
        "expansion_per_K": None if made.expansion is None else made.expansion.tolist(),
        "strength_MPa": {**strength, "shear": shear},
        "buckling_MPa": made.strength_MPa["buckling"],
        "stiffness_mesh_change": float(made.moves),
        "strength_mesh_change": float(made.strength_moves),
        "peak_underestimate": float(made.points_short),
    }


def _print_cell(made: Any, facts: dict[str, Any]) -> None:
    console = screen()
    size = " x ".join(f"{v:.3g}" for v in facts["period_mm"])
    title = f"{made.pattern}, density {100 * made.density:.1f} %, {facts['material']}, homogenised over {size} mm"
    rows = [["E1, E2, E3 [MPa]", "  ".join(f"{v:.4g}" for v in facts["E_MPa"])]]
    rows += [["nu12, nu13, nu23", "  ".join(f"{v:.3g}" for v in facts["nu"].values())]]
    rows += [["G12, G13, G23 [MPa]", "  ".join(f"{v:.4g}" for v in facts["G_MPa"].values())]]
    console.print(ruled(title, ["effective stiffness, print axes at infill angle 0", ""], rows))
    strength = facts["strength_MPa"]
    names = [f"{kind} {axis}" for kind in ("tension", "compression") for axis in "123"]
    values = [*strength["tension"], *strength["compression"], *strength["shear"].values()]
    names += [f"shear {pair}" for pair in strength["shear"]]
    buckling = facts["buckling_MPa"]
    rows = [
        [n, f"{v:.3g}", f"{buckling[n]['MPa']:.3g} MPa: {buckling[n]['mode']}" if n in buckling else ""]
        for n, v in zip(names, values, strict=True)
    ]
    heads = ["mean stress", "strength at first bead failure [MPa]", "wall buckling stress, if lower"]
    console.print(ruled("Effective strength, each mean stress alone", heads, rows))
    console.print(
        f"When the cell's mesh was last refined, its moduli changed by {100 * facts['stiffness_mesh_change']:.2g} % "
        f"and its strengths by {100 * facts['strength_mesh_change']:.2g} % at most. The peak bead stress that a "
        f"study takes from it may be underestimated by {100 * facts['peak_underestimate']:.2g} %.",
        soft_wrap=True,
    )
