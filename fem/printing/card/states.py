"""The states of a card: given value by value, scaled from another state, or computed from resin and fibre."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from fem.errors import CardError, Faults, nearest
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
    check_keys,
    estimates_of,
    factor,
    keyed,
    measured,
    moduli,
    named,
    number,
    plain,
    poisson,
    positive,
    sources_of,
    table_of,
    three,
    triple,
)

SCALED_KEYS = ("as", "stiffness", "strength")
ELASTIC_ORDER = ("12", "13", "23")
SHEAR_ORDER = ("23", "13", "12")
LARGEST_STRAIN = 10.0
"""No printed material stretches to more than eleven times its length before it breaks."""
STRENGTH_KEYS = ("tension", "compression", "shear")
OPTIONAL_KEYS = ("expansion", "scatter", "toughness", "strain_at_break", "elastic_scatter")


def _ratios(value: Any, where: str) -> Three:
    return three(number(v, f"{where}.{k}") for k, v in keyed(value, ELASTIC_ORDER, where).items())


def _moduli(value: Any, where: str) -> Three:
    return moduli(value, ELASTIC_ORDER, where)


def _shears(value: Any, where: str) -> Three:
    return moduli(value, SHEAR_ORDER, where)


def _stress(value: Any, where: str) -> float:
    return positive(value, "pressure", where)


def _scatter(value: Any, where: str) -> float:
    scatter = number(value, where)
    if not 0 <= scatter < 1:
        raise CardError(f"{scatter:g} must lie between 0 and 1.", where=where)
    return scatter


def _expansion(value: Any, where: str) -> Three:
    items = value if isinstance(value, list) else [value]
    if len(items) != 3:
        raise CardError("must hold three values: along the bead, across it, in the build direction.", where=where)
    return three(measured(item, "expansion", where) for item in items)


def _one_or_three(value: Any, where: str) -> Three:
    items = value if isinstance(value, list) else [value]
    return _expansion(items * 3 if len(items) == 1 else items, where)


def _toughness(value: Any, where: str) -> Three:
    """One value for all directions, or three."""
    items = value if isinstance(value, list) else [value] * 3
    if len(items) != 3:
        raise CardError("must hold one value, or three: along the bead, across it, up the build.", where=where)
    return three(positive(item, "toughness", where) for item in items)


def _toughness_of_metal(value: Any, where: str) -> Three:
    return three([positive(value, "toughness", where)] * 3)


def _strain(value: Any, where: str) -> float:
    strain = number(value, where)
    if not 0 < strain <= LARGEST_STRAIN:
        advice = "Write a share: 0.03 for 3 %."
        raise CardError(f"{strain:g} must lie above 0 and at most at {LARGEST_STRAIN:g}.", where=where, advice=advice)
    return strain


def _strains(value: Any, where: str) -> Three:
    """Three strains [1]: along the bead, across it, in the build direction."""
    if not (isinstance(value, list) and len(value) == 3):
        raise CardError("must hold three values: along the bead, across it, in the build direction.", where=where)
    return three(_strain(item, where) for item in value)


def _strain_of_metal(value: Any, where: str) -> Three:
    return three([_strain(value, where)] * 3)


Reader = Callable[[Any, str], Any]
PRINTED: dict[str, Reader] = {
    "E": triple,
    "nu": _ratios,
    "G": _moduli,
    "tension": triple,
    "compression": triple,
    "shear": _shears,
    "expansion": _expansion,
    "scatter": _scatter,
    "toughness": _toughness,
    "strain_at_break": _strains,
    "elastic_scatter": _scatter,
}
"""Values of a printed polymer's state, and how each is read."""
METAL: dict[str, Reader] = {
    "E": _stress,
    "nu": poisson,
    "yield": _stress,
    "ultimate": _stress,
    "expansion": _one_or_three,
    "scatter": _scatter,
    "toughness": _toughness_of_metal,
    "strain_at_break": _strain_of_metal,
    "elastic_scatter": _scatter,
}
"""Values of a metal's state, and how each is read."""


def read_states(
    tables: dict[str, dict[str, Any]],
    *,
    file: str,
    density: float | None,
    sources: dict[str, str],
    estimates: tuple[str, ...],
    factors: Factors | None,
) -> tuple[str, dict[str, CardState]]:
    """The card's kind, polymer or metal, and its states in the order of the file.

    `density` None: it could not be read. `sources`, `estimates` and `factors` are those of the whole card; a state
    may have factors of its own. Errors: CardError naming each state and key at fault.
    """
    metal = {name: _is_metal(values) for name, values in tables.items() if "as" not in values}
    if len(set(metal.values())) > 1:
        raise CardError("some states have one E and some three.", where=file, advice="Give each state the same form.")
    is_metal = any(metal.values())
    done: dict[str, CardState | None] = {}
    faults = Faults()

    def resolve(name: str, asked: tuple[str, ...]) -> CardState | None:
        if name not in done:
            done[name] = faults.of(read, name, asked)
        return done[name]

    def read(name: str, asked: tuple[str, ...]) -> CardState | None:
        values, where, own = tables[name], f"{file}: {name}", Faults()
        own.of(plain, name, where)
        heat = factors
        if "temperature" in values:
            table = own.of(table_of, values, "temperature", where)
            heat = None if table is None else own.of(read_factors, table, f"{where}.temperature")
        if "as" in values:
            base = own.of(_base, values["as"], name, asked, tuple(tables), where)
            out = own.of(_scaled, name, values, where, resolve(base, (*asked, name)) if base else None, is_metal)
            own.refuse(file)
            return out if out is None or "temperature" not in values else replace(out, factors=heat)
        if is_metal:
            out = own.of(_metal, name, values, where)
        elif any(key in values for key in BUILT_KEYS):
            out = own.of(_built, name, values, where, density)
        else:
            out = own.of(_printed, name, values, where)
        own.refuse(file)
        return None if out is None else replace(out, factors=heat)

    read_all = {name: resolve(name, ()) for name in tables}
    faults.refuse(file)
    return "metal" if is_metal else "polymer", {
        name: replace(s, sources={**sources, **s.sources}, estimates=(*estimates, *s.estimates))
        for name, s in read_all.items()
        if s is not None
    }


def with_values(
    state: CardState,
    values: Mapping[str, Any],
    *,
    where: str,
    sources: Mapping[str, str],
    estimates: tuple[str, ...] = (),
    from_study: tuple[str, ...] = (),
) -> CardState:
    """The state with some values put in the place of its own, as a card's file writes them.

    Errors: CardError for unknown keys, values that cannot be read, and a state that no material can have.
    """
    readers, faults = (METAL if state.yield_stress is not None else PRINTED), Faults()
    check_keys(values, readers, (), where, faults)
    got = _read_values(values, readers, where, faults)
    faults.refuse(where.split(": ")[0])
    kept = tuple(name for name in state.estimates if name not in values)
    return _made(
        where,
        replace,
        state,
        **_fields(got, base=state),
        sources={**state.sources, **sources},
        estimates=(*kept, *estimates),
        from_study=(*(name for name in state.from_study if name not in values), *from_study),
        made_of=None if any(key in got for key in COMPUTED) else state.made_of,
    )


def _is_metal(values: dict[str, Any]) -> bool:
    printed = isinstance(values.get("E"), list) or any(key in values for key in (*BUILT_KEYS, *STRENGTH_KEYS, "G"))
    return not printed


def _base(base: Any, name: str, asked: tuple[str, ...], tables: tuple[str, ...], where: str) -> str:
    """The state that another one is scaled from."""
    if not isinstance(base, str) or base not in tables or base == name:
        advice = nearest(str(base), [n for n in tables if n != name]) if isinstance(base, str) else ""
        raise CardError(f"{named(base)} is no other state of this card.", where=f"{where}.as", advice=advice)
    if base in asked:
        raise CardError("the states are each scaled from the other.", where=f"{where}.as")
    return base


def _notes(values: dict[str, Any], where: str, faults: Faults) -> tuple[dict[str, str], tuple[str, ...]]:
    """Sources and estimates of the values that a state's table gives."""
    given = tuple(key for key in values if key not in (*NOTE_KEYS, "temperature"))
    sources = faults.of(sources_of, values, given, where) if "source" in values else None
    return sources or {}, faults.of(estimates_of, values, given, where) or ()


def _read_values(
    values: Mapping[str, Any], readers: Mapping[str, Reader], where: str, faults: Faults
) -> dict[str, Any]:
    """The values that are there and readable, by key."""
    return {key: faults.of(read, values[key], f"{where}.{key}") for key, read in readers.items() if key in values}


def _fields(got: dict[str, Any], *, base: CardState | None = None) -> dict[str, Any]:
    """Values by key as fields of a state; a metal's E and nu (one number each) make its G."""
    out = {"yield_stress" if key == "yield" else key: value for key, value in got.items()}
    single = base.yield_stress is not None if base is not None else "yield" in got
    if single and ("E" in got or "nu" in got):
        E, nu = (got[key] if key in got else getattr(base, key)[0] for key in ("E", "nu"))
        out |= {"E": (E,) * 3, "nu": (nu,) * 3, "G": (E / (2 * (1 + nu)),) * 3}
    return out


def _made(where: str, make: Callable[..., CardState], *arguments: Any, **fields: Any) -> CardState:
    """The state; what it refuses is told with its place."""
    try:
        return make(*arguments, **fields)
    except CardError as error:
        raise error.inside(where) from None


def _scaled(
    name: str, values: dict[str, Any], where: str, base: CardState | None, is_metal: bool
) -> CardState | None:
    """A state that is another one times a factor on stiffness and one on strength, and values of its own on top."""
    readers, faults = (METAL if is_metal else PRINTED), Faults()
    check_keys(values, (*SCALED_KEYS, *readers, "temperature", *NOTE_KEYS), (*SCALED_KEYS, "source"), where, faults)
    given, flagged = _notes(values, where, faults)
    factors = {key: faults.of(factor, values[key], f"{where}.{key}") for key in SCALED_KEYS[1:] if key in values}
    _read_values(values, readers, where, faults)
    faults.refuse(where.split(": ")[0])
    if base is None:
        return None
    times: dict[str, float] = {key: value for key, value in factors.items() if value is not None}
    carried = [key for key in base.sources if key not in (*BUILT_KEYS, "knockdown")]
    sources, estimates = dict.fromkeys(carried, f"as {base.name}"), [e for e in base.estimates if e in carried]
    for key, share in times.items():
        for value in base.scaled_values(key):
            sources[value] = f"{base.name} times {share:g}, {given[key]}"
            if key in flagged and value not in estimates:
                estimates.append(value)
    out = _made(where, base.scaled, **times)
    out = replace(out, name=name, sources=sources, estimates=tuple(estimates), made_of=None)
    own = {key: values[key] for key in values if key in readers}
    if not own:
        return out
    told = {key: given[key] for key in own}
    return with_values(out, own, where=where, sources=told, estimates=tuple(e for e in flagged if e in own))


def _metal(name: str, values: dict[str, Any], where: str) -> CardState:
    return _given(name, values, where, METAL)


def _printed(name: str, values: dict[str, Any], where: str) -> CardState:
    """A printed polymer whose values are all given."""
    return _given(name, values, where, PRINTED)


def _given(name: str, values: dict[str, Any], where: str, readers: Mapping[str, Reader]) -> CardState:
    faults, wanted = Faults(), [key for key in readers if key not in OPTIONAL_KEYS]
    hints = BUILT_KEYS if readers is PRINTED else ()
    check_keys(values, (*readers, *hints, "temperature", *NOTE_KEYS), (*wanted, "source"), where, faults)
    sources, estimates = _notes(values, where, faults)
    got = _read_values(values, readers, where, faults)
    faults.refuse(where.split(": ")[0])
    return _state(name, where, _fields(got), sources, estimates)


def _state(
    name: str, where: str, fields: dict[str, Any], sources: dict[str, str], estimates: tuple[str, ...], **more: Any
) -> CardState:
    empty = dict.fromkeys(("tension", "compression", "shear", "yield_stress", "ultimate", "expansion", "scatter"))
    return _made(
        where, CardState, **{"name": name, **empty, **fields, "sources": sources, "estimates": estimates, **more}
    )


def _built(name: str, values: dict[str, Any], where: str, density: float | None) -> CardState:
    """A printed polymer whose stiffness is computed from its resin and its fibres."""
    faults = Faults()
    given_too = [key for key in COMPUTED if key in values]
    for key in given_too:
        faults.found.append(
            CardError(
                f'"{key}" is given, and computed from resin and fibre as well.',
                where=where,
                advice="Leave out E, nu and G, or resin and fibre.",
            )
        )
    allowed = (*BUILT_KEYS, *STRENGTH_KEYS, "knockdown", *OPTIONAL_KEYS, *given_too, "temperature", *NOTE_KEYS)
    check_keys(values, allowed, (*BUILT_KEYS, "source"), where, faults)
    for key in STRENGTH_KEYS:
        if key not in values:
            faults.found.append(
                CardError(
                    f'"{key}" is missing: resin and fibre give the stiffness, not the strength.',
                    where=where,
                    advice="The bond between beads and layers decides it: give what coupons of your printer bear.",
                )
            )
    given, flagged = _notes(values, where, faults)
    got = _read_values(values, {key: PRINTED[key] for key in (*STRENGTH_KEYS, *OPTIONAL_KEYS)}, where, faults)
    both = faults.of(read_constituents, values, where) if all(key in values for key in BUILT_KEYS) else None
    if both is not None and density is not None:
        faults.of(check_density, both[0], density, where)
    if both is not None and both[1].expansion is not None and "expansion" in values:
        faults.found.append(
            CardError(
                "is given, and computed from resin and fibre as well.",
                where=f"{where}.expansion",
                advice="Leave out one of the two.",
            )
        )
    faults.refuse(where.split(": ")[0])
    assert both is not None  # a failure to read them was refused above
    parts, made = both
    E, nu, G = printed_constants(parts, made)
    bonded, whole = ("E", "G"), ["nu"]
    if made.expansion is not None:
        got["expansion"] = three(float(value) for value in made.expansion[:3])
        whole.append("expansion")
    by_estimate = any(key in flagged for key in (*BUILT_KEYS, "knockdown"))
    sources = {
        **dict.fromkeys(bonded, f"computed by {parts.words}{parts.bonds}"),
        **dict.fromkeys(whole, f"computed by {parts.words}"),
        **given,
    }
    estimates = (*((*bonded, *whole) if by_estimate else ()), *flagged)
    return _state(name, where, {"E": E, "nu": nu, "G": G, **got}, sources, estimates, made_of=parts)
