"""A state whose stiffness is computed from its resin and its fibres."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fem.errors import CardError, Faults, InputError, shown
from fem.printing.card.nouns import Constituents, Three
from fem.printing.card.values import (
    check_keys,
    factor,
    keyed,
    measured,
    number,
    poisson,
    positive,
    table_of,
    three,
)
from fem.printing.fibre import MODELS, Composite, Fibre, Resin, compose
from fem.tensors import broken_condition, engineering_constants

RESIN_KEYS = ("E", "nu", "density")
FIBRE_KEYS = ("E", "nu", "density", "mass_fraction", "aspect_ratio", "orientation")
BUILT_KEYS = ("resin", "fibre")
COMPUTED = ("E", "nu", "G")

DENSITY_MARGIN = 0.02
"""A card whose density is further than this share from that of its resin and fibres contradicts itself."""


def read_constituents(values: dict[str, Any], where: str) -> tuple[Constituents, Composite]:
    """The tables `resin`, `fibre` and `knockdown` of a state, and what they make."""
    faults = Faults()
    resin = faults.of(_resin, values, where)
    fibre = faults.of(_fibre, values, where)
    across_and_up = faults.of(_knockdown, values, where)
    faults.refuse(where.split(": ")[0])
    assert resin and fibre and across_and_up  # a failure to read one was refused above
    (made_of, share, aspect_ratio, orientation, model), (across, up) = fibre, across_and_up
    try:
        made = compose(
            resin, made_of, mass_fraction=share, aspect_ratio=aspect_ratio, orientation=orientation, model=model
        )
    except InputError as error:
        raise CardError(error.message, where=f"{where}.fibre", advice=error.advice) from None
    parts = Constituents(
        resin, made_of, share, aspect_ratio, orientation, model, across, up, made.fibre_share, made.density
    )
    return parts, made


def printed_constants(parts: Constituents, made: Composite) -> tuple[Three, Three, Three]:
    """E, nu (12, 13, 23) and G (12, 13, 23) [MPa] as printed.

    A bond that is not whole softens what passes through it: E2 and G12 between beads, E3, G13 and G23 between
    layers. The ratios nu12, nu13 belong to a pull along the bead, which passes through no bond.
    """
    k = engineering_constants(made.stiffness)
    E = (k["E1"], k["E2"] * parts.across, k["E3"] * parts.up)
    G = (k["G12"] * parts.across, k["G13"] * parts.up, k["G23"] * parts.up)
    nu = (k["nu12"], k["nu13"], k["nu23"])
    return three(map(float, E)), three(map(float, nu)), three(map(float, G))


def check_density(parts: Constituents, density: float, where: str) -> None:
    """CardError when the card's `density` [tonne/mm^3] is not that of its resin and fibres within two per cent."""
    off = density / parts.density - 1
    if abs(off) > DENSITY_MARGIN:
        raise CardError(
            f"density {density * 1e9:.4g} g/cm^3 lies {100 * abs(off):.1f} % {'above' if off > 0 else 'below'} the "
            f"{parts.density * 1e9:.4g} g/cm^3 that its resin and fibres make.",
            where=where,
            advice="Check both densities and the mass fraction.",
        )


def _resin(values: dict[str, Any], where: str) -> Resin:
    table, where = table_of(values, "resin", where), f"{where}.resin"
    faults = Faults()
    check_keys(table, (*RESIN_KEYS, "expansion"), RESIN_KEYS, where, faults)
    got = {
        "E": faults.of(positive, table.get("E"), "pressure", f"{where}.E") if "E" in table else None,
        "nu": faults.of(poisson, table["nu"], f"{where}.nu") if "nu" in table else None,
        "density": faults.of(positive, table["density"], "density", f"{where}.density")
        if "density" in table
        else None,
    }
    expansion = faults.of(_expansions, table, 1, where) if "expansion" in table else None
    faults.refuse(where.split(": ")[0])
    return Resin(**got, expansion=expansion[0] if expansion else None)  # type: ignore[arg-type]


Filled = tuple[Fibre, float, float, Three, str]
"""Fibre, its share of the mass, length / diameter, orientation, model."""


def _fibre(values: dict[str, Any], where: str) -> Filled:
    table, where = table_of(values, "fibre", where), f"{where}.fibre"
    faults = Faults()
    wanted = (*FIBRE_KEYS, *(("G",) if isinstance(table.get("E"), list) else ()))
    check_keys(table, (*wanted, "model", "expansion"), wanted, where, faults)

    def read(key: str, reader: Callable[..., Any], *more: Any) -> Any:
        return faults.of(reader, table[key], *more, f"{where}.{key}") if key in table else None

    share, aspect_ratio = read("mass_fraction", _share), read("aspect_ratio", number)
    orientation = read("orientation", _orientation)
    model = read("model", _model) or "mori-tanaka"
    density = read("density", positive, "density")
    constants = None
    if all(key in table for key in wanted):
        constants = faults.of(_fibre_constants, table, where)
    count = 2 if isinstance(table.get("E"), list) else 1
    expansion = faults.of(_expansions, table, count, where) if "expansion" in table else None
    faults.refuse(where.split(": ")[0])
    assert constants is not None
    two = None if expansion is None else (expansion[0], expansion[-1])
    fibre = Fibre(*constants, density, two)
    broken = broken_condition(*fibre.constants)
    if broken:
        raise CardError(f"no fibre can have these elastic constants: {broken}.", where=where)
    return fibre, share, aspect_ratio, orientation, model


def _fibre_constants(table: dict[str, Any], where: str) -> tuple[float, float, float, float, float]:
    """E1, E2 [MPa], nu12, nu23, G12 [MPa]: along the fibre and across it, or alike in all directions."""
    if not isinstance(table["E"], list):
        E, nu = positive(table["E"], "pressure", f"{where}.E"), poisson(table["nu"], f"{where}.nu")
        return E, E, nu, nu, E / (2 * (1 + nu))
    if len(table["E"]) != 2:
        raise CardError("must hold one modulus, or two: along the fibre and across it.", where=f"{where}.E")
    e1, e2 = (positive(item, "pressure", f"{where}.E") for item in table["E"])
    nu12, nu23 = (number(v, f"{where}.nu") for v in keyed(table["nu"], ("12", "23"), f"{where}.nu").values())
    if not nu23 > -1:
        raise CardError(f"nu23 = {nu23:g} must lie above -1.", where=f"{where}.nu")
    return e1, e2, nu12, nu23, positive(table["G"], "pressure", f"{where}.G")


def _share(value: Any, where: str) -> float:
    share = number(value, where)
    if not 0 < share < 1:
        raise CardError(f"{share:g} must lie between 0 and 1.", where=where)
    return share


def _orientation(shares: Any, where: str) -> Three:
    if not (isinstance(shares, list) and len(shares) == 3):
        raise CardError(
            "must hold three shares of the fibre directions: along the bead, across it, in the build direction.",
            where=where,
        )
    return three(number(item, where) for item in shares)


def _model(model: Any, where: str) -> str:
    if not isinstance(model, str):
        raise CardError(f"{shown(model)} must be text.", where=where, advice=f"Known: {', '.join(MODELS)}.")
    return model


def _expansions(table: dict[str, Any], count: int, where: str) -> list[float]:
    value, where = table["expansion"], f"{where}.expansion"
    items = value if isinstance(value, list) else [value]
    if len(items) != count:
        wanted = "one value" if count == 1 else "two values: along the fibre and across it"
        raise CardError(f"must hold {wanted}.", where=where)
    return [measured(item, "expansion", where) for item in items]


def _knockdown(values: dict[str, Any], where: str) -> tuple[float, float]:
    if "knockdown" not in values:
        return 1.0, 1.0
    table, where = table_of(values, "knockdown", where), f"{where}.knockdown"
    faults = Faults()
    check_keys(table, ("across", "up"), (), where, faults)
    out = [faults.of(_loss, table.get(key, 1.0), f"{where}.{key}") or 1.0 for key in ("across", "up")]
    faults.refuse(where.split(": ")[0])
    return out[0], out[1]


def _loss(value: Any, where: str) -> float:
    share = factor(value, where)
    if share > 1:
        raise CardError(f"{share:g} must not be above 1.", where=where)
    return share
