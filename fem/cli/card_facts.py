"""A material card in one line, and as plain numbers for scripts."""

from __future__ import annotations

from typing import Any

from fem.printing.polymer import Card, CardState

LINE = [
    *("card", "E [GPa]", "tension, yield [MPa]", "shear 12", "toughness [MPa·m^0.5]"),
    *("break [%]", "scatter [%]", "of E [%]"),
]
"""The heads over the lines of cards."""
ROOT = 1000**-0.5
"""One N/mm^1.5 in MPa·m^0.5."""


def card_line(card: Card) -> list[str]:
    """The values of a card's first state, a cell each; an estimate bears a star."""
    state = next(iter(card.states.values()))
    strength = ("tension", state.tension) if state.yield_stress is None else ("yield", (state.yield_stress,))
    shear = None if state.shear is None else state.shear[2:]
    scatter = None if state.scatter is None else (state.scatter,)
    elastic = None if state.elastic_scatter is None else (state.elastic_scatter,)
    return [
        card.name,
        _told(state, "E", state.E, 1e-3),
        _told(state, *strength),
        _told(state, "shear", shear),
        _told(state, "toughness", state.toughness, ROOT),
        _told(state, "strain_at_break", state.strain_at_break, 100),
        _told(state, "scatter", scatter, 100),
        _told(state, "elastic_scatter", elastic, 100),
    ]


def doubt(card: Card) -> str:
    """How many values of the card's first state are estimates."""
    state = next(iter(card.states.values()))
    return f"{len(set(state.estimates) & set(state.sources))} of {len(state.sources)} values"


def _told(state: CardState, key: str, values: Any, scale: float = 1.0) -> str:
    """Numbers, once where they are all the same, and a star where they are estimates."""
    if values is None:
        return "–"
    each = [f"{round(value * scale, 2):.4g}" for value in values]
    told = each[0] if len(set(each)) == 1 else "/".join(each)
    return told + ("*" if key in state.estimates else "")


def card_facts(card: Card) -> dict[str, Any]:
    """All numbers of a card with their units in the keys, their sources, and which are estimates, by state."""
    states = {name: _state_facts(state) for name, state in card.states.items()}
    return {"kind": card.kind, "about": card.about, "density_g_per_cm3": card.density * 1e9, "states": states}


def _state_facts(state: CardState) -> dict[str, Any]:
    shear = None if state.shear is None else dict(zip(("23", "13", "12"), state.shear, strict=True))
    toughness = None if state.toughness is None else [value * ROOT for value in state.toughness]
    return {
        "E_MPa": list(state.E),
        "nu": dict(zip(("12", "13", "23"), state.nu, strict=True)),
        "G_MPa": dict(zip(("12", "13", "23"), state.G, strict=True)),
        "tension_MPa": _listed(state.tension),
        "compression_MPa": _listed(state.compression),
        "shear_MPa": shear,
        "yield_MPa": state.yield_stress,
        "ultimate_MPa": state.ultimate,
        "toughness_MPa_m05": toughness,
        "critical_distance_mm": state.critical_distance,
        "strain_at_break": _listed(state.strain_at_break),
        "expansion_per_K": _listed(state.expansion),
        "scatter": state.scatter,
        "elastic_scatter": state.elastic_scatter,
        "sources": dict(state.sources),
        "estimates": list(state.estimates),
    }


def _listed(values: Any) -> list[float] | None:
    return None if values is None else list(values)
