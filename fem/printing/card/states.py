"""The states of a card: given value by value, scaled from another state, or computed from resin and fibre."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fem.errors import CardError, nearest
from fem.printing.card.constituents import (
    BUILT_KEYS,
    COMPUTED,
    check_density,
    printed_constants,
    read_constituents,
)
from fem.printing.card.nouns import CardState, Factors, Three
from fem.printing.card.temperature import read_factors
from fem.printing.card.values import (
    NOTE_KEYS,
    estimates_of,
    factor,
    keyed,
    measured,
    moduli,
    number,
    poisson,
    positive,
    refuse_unknown,
    require,
    sources_of,
    table_of,
    three,
    triple,
)
from fem.tensors import broken_condition

STRENGTH_KEYS = ("tension", "compression", "shear")
PRINTED_KEYS = (*COMPUTED, *STRENGTH_KEYS)
METAL_KEYS = ("E", "nu", "yield", "ultimate")
OPTIONAL_KEYS = ("expansion", "scatter")
SCALED_KEYS = ("as", "stiffness", "strength")
ELASTIC_ORDER = ("12", "13", "23")
SHEAR_ORDER = ("23", "13", "12")


def read_states(
    tables: dict[str, dict[str, Any]],
    *,
    file: str,
    density: float,
    sources: dict[str, str],
    estimates: tuple[str, ...],
    factors: Factors | None,
) -> tuple[str, dict[str, CardState]]:
    """The card's kind, polymer or metal, and its states in the order of the file.

    `sources`, `estimates` and `factors` are those of the whole card; a state may have factors of its own. Errors:
    CardError naming the state and the key.
    """
    metal = {name: _is_metal(values) for name, values in tables.items() if "as" not in values}
    if len(set(metal.values())) > 1:
        raise CardError("some states have one E and some three.", where=file, advice="Give each state the same form.")
    is_metal = any(metal.values())
    done: dict[str, CardState] = {}

    def resolve(name: str, asked: tuple[str, ...]) -> CardState:
        if name in done:
            return done[name]
        values, where = tables[name], f"{file}: {name}"
        own = (
            read_factors(table_of(values, "temperature", where), f"{where}.temperature")
            if "temperature" in values
            else None
        )
        if "as" in values:
            base = values["as"]
            if not isinstance(base, str) or base not in tables or base == name:
                advice = nearest(str(base), [n for n in tables if n != name])
                raise CardError(f'"{base}" is no other state of this card.', where=f"{where}.as", advice=advice)
            if base in asked:
                raise CardError("the states are each scaled from the other.", where=f"{where}.as")
            out = _scaled(name, values, where, resolve(base, (*asked, name)))
            out = out if own is None else replace(out, factors=own)
        else:
            if is_metal:
                out = _metal(name, values, where)
            elif any(key in values for key in BUILT_KEYS):
                out = _built(name, values, where, density)
            else:
                out = _printed(name, values, where)
            out = replace(out, factors=factors if own is None else own)
        done[name] = out
        return out

    states = {name: resolve(name, ()) for name in tables}
    return "metal" if is_metal else "polymer", {
        name: replace(s, sources={**sources, **s.sources}, estimates=(*estimates, *s.estimates))
        for name, s in states.items()
    }


def _is_metal(values: dict[str, Any]) -> bool:
    printed = isinstance(values.get("E"), list) or any(key in values for key in (*BUILT_KEYS, *STRENGTH_KEYS, "G"))
    return not printed


def _notes(values: dict[str, Any], where: str) -> tuple[dict[str, str], tuple[str, ...]]:
    given = tuple(key for key in values if key not in (*NOTE_KEYS, "temperature"))
    return sources_of(values, given, where), estimates_of(values, given, where)


def _scaled(name: str, values: dict[str, Any], where: str, base: CardState) -> CardState:
    """A state that is another one times a factor on stiffness and one on strength."""
    refuse_unknown(values, (*SCALED_KEYS, "temperature", *NOTE_KEYS), where)
    require(values, (*SCALED_KEYS, "source"), where)
    given, flagged = _notes(values, where)
    factors = {key: factor(values[key], f"{where}.{key}") for key in SCALED_KEYS[1:]}
    carried = [key for key in base.sources if key not in (*BUILT_KEYS, "knockdown")]
    sources, estimates = dict.fromkeys(carried, f"as {base.name}"), [e for e in base.estimates if e in carried]
    for key, times in factors.items():
        for value in base.scaled_values(key):
            sources[value] = f"{base.name} times {times:g}, {given[key]}"
            if key in flagged and value not in estimates:
                estimates.append(value)
    return replace(base.scaled(**factors), name=name, sources=sources, estimates=tuple(estimates), made_of=None)


def _metal(name: str, values: dict[str, Any], where: str) -> CardState:
    refuse_unknown(values, (*METAL_KEYS, *OPTIONAL_KEYS, "temperature", *NOTE_KEYS), where)
    require(values, (*METAL_KEYS, "source"), where)
    sources, estimates = _notes(values, where)
    E, nu = positive(values["E"], "pressure", f"{where}.E"), poisson(values["nu"], f"{where}.nu")
    yield_stress = positive(values["yield"], "pressure", f"{where}.yield")
    ultimate = positive(values["ultimate"], "pressure", f"{where}.ultimate")
    if ultimate < yield_stress:
        raise CardError(f"ultimate {ultimate:g} MPa is below yield {yield_stress:g} MPa.", where=f"{where}.ultimate")
    return CardState(
        name=name,
        E=(E,) * 3,
        nu=(nu,) * 3,
        G=(E / (2 * (1 + nu)),) * 3,
        tension=None,
        compression=None,
        shear=None,
        yield_stress=yield_stress,
        ultimate=ultimate,
        expansion=_expansion(values, where, is_metal=True),
        scatter=_scatter(values, where),
        sources=sources,
        estimates=estimates,
    )


def _printed(name: str, values: dict[str, Any], where: str) -> CardState:
    """A printed polymer whose values are all given."""
    refuse_unknown(values, (*PRINTED_KEYS, *OPTIONAL_KEYS, *BUILT_KEYS, "temperature", *NOTE_KEYS), where)
    require(values, (*PRINTED_KEYS, "source"), where)
    sources, estimates = _notes(values, where)
    E = triple(values["E"], f"{where}.E")
    nu = three(number(v, f"{where}.nu.{k}") for k, v in keyed(values["nu"], ELASTIC_ORDER, f"{where}.nu").items())
    G = moduli(values["G"], ELASTIC_ORDER, f"{where}.G")
    return _polymer(name, values, where, (E, nu, G), _expansion(values, where), sources, estimates)


def _built(name: str, values: dict[str, Any], where: str, density: float) -> CardState:
    """A printed polymer whose stiffness is computed from its resin and its fibres."""
    for key in COMPUTED:
        if key in values:
            raise CardError(
                f'"{key}" is given, and computed from resin and fibre as well.',
                where=where,
                advice="Leave out E, nu and G, or resin and fibre.",
            )
    allowed = (*BUILT_KEYS, *STRENGTH_KEYS, "knockdown", *OPTIONAL_KEYS, "temperature", *NOTE_KEYS)
    refuse_unknown(values, allowed, where)
    require(values, BUILT_KEYS, where)
    for key in STRENGTH_KEYS:
        if key not in values:
            raise CardError(
                f'"{key}" is missing: resin and fibre give the stiffness, not the strength.',
                where=where,
                advice="The bond between beads and layers decides it: give what coupons of your printer bear.",
            )
    require(values, ("source",), where)
    given, flagged = _notes(values, where)
    parts, made = read_constituents(values, where)
    check_density(parts, density, where)
    expansion = _expansion(values, where)
    bonded, whole = ("E", "G"), ["nu"]
    if made.expansion is not None:
        if expansion is not None:
            raise CardError(
                "is given, and computed from resin and fibre as well.",
                where=f"{where}.expansion",
                advice="Leave out one of the two.",
            )
        expansion = three(float(value) for value in made.expansion[:3])
        whole.append("expansion")
    by_estimate = any(key in flagged for key in (*BUILT_KEYS, "knockdown"))
    sources = {
        **dict.fromkeys(bonded, f"computed by {parts.words}{parts.bonds}"),
        **dict.fromkeys(whole, f"computed by {parts.words}"),
        **given,
    }
    estimates = (*((*bonded, *whole) if by_estimate else ()), *flagged)
    out = _polymer(name, values, where, printed_constants(parts, made), expansion, sources, estimates)
    return replace(out, made_of=parts)


def _polymer(
    name: str,
    values: dict[str, Any],
    where: str,
    elastic: tuple[Three, Three, Three],
    expansion: Three | None,
    sources: dict[str, str],
    estimates: tuple[str, ...],
) -> CardState:
    out = CardState(
        name,
        *elastic,
        tension=triple(values["tension"], f"{where}.tension"),
        compression=triple(values["compression"], f"{where}.compression"),
        shear=moduli(values["shear"], SHEAR_ORDER, f"{where}.shear"),
        yield_stress=None,
        ultimate=None,
        expansion=expansion,
        scatter=_scatter(values, where),
        sources=sources,
        estimates=estimates,
    )
    broken = broken_condition(out.E, out.nu, out.G)
    if broken:
        raise CardError(f"no material can have these elastic constants: {broken}.", where=where)
    return out


def _scatter(values: dict[str, Any], where: str) -> float | None:
    if "scatter" not in values:
        return None
    scatter = number(values["scatter"], f"{where}.scatter")
    if not 0 <= scatter < 1:
        raise CardError(f"{scatter:g} must lie between 0 and 1.", where=f"{where}.scatter")
    return scatter


def _expansion(values: dict[str, Any], where: str, *, is_metal: bool = False) -> Three | None:
    if "expansion" not in values:
        return None
    value, where = values["expansion"], f"{where}.expansion"
    items = value if isinstance(value, list) else [value]
    numbers = [measured(item, "expansion", where) for item in items]
    if len(numbers) == 1 and is_metal:
        numbers = numbers * 3
    if len(numbers) != 3:
        raise CardError("must hold three values: along the bead, across it, up the build.", where=where)
    return three(numbers)
