"""A state whose stiffness is computed from its resin and its fibres."""

from __future__ import annotations

from typing import Any

from fem.errors import CardError, InputError
from fem.printing.card.nouns import Constituents, Three
from fem.printing.card.values import (
    factor,
    keyed,
    measured,
    number,
    poisson,
    positive,
    refuse_unknown,
    require,
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
    resin = _resin(table_of(values, "resin", where), f"{where}.resin")
    table, at = table_of(values, "fibre", where), f"{where}.fibre"
    fibre = _fibre(table, at)
    share = number(table["mass_fraction"], f"{at}.mass_fraction")
    if not 0 < share < 1:
        raise CardError(f"{share:g} must lie between 0 and 1.", where=f"{at}.mass_fraction")
    aspect_ratio = number(table["aspect_ratio"], f"{at}.aspect_ratio")
    shares = table["orientation"]
    if not (isinstance(shares, list) and len(shares) == 3):
        raise CardError(
            "must hold three shares of the fibre directions: along the bead, across it, up the build.",
            where=f"{at}.orientation",
        )
    orientation = three(number(item, f"{at}.orientation") for item in shares)
    model = table.get("model", "mori-tanaka")
    if not isinstance(model, str):
        raise CardError(f"{model!r} must be text.", where=f"{at}.model", advice=f"Known: {', '.join(MODELS)}.")
    across, up = _knockdown(values, where)
    try:
        made = compose(
            resin, fibre, mass_fraction=share, aspect_ratio=aspect_ratio, orientation=orientation, model=model
        )
    except InputError as error:
        raise CardError(error.message, where=at, advice=error.advice) from None
    parts = Constituents(
        resin, fibre, share, aspect_ratio, orientation, model, across, up, made.fibre_share, made.density
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


def _resin(table: dict[str, Any], where: str) -> Resin:
    refuse_unknown(table, (*RESIN_KEYS, "expansion"), where)
    require(table, RESIN_KEYS, where)
    return Resin(
        E=positive(table["E"], "pressure", f"{where}.E"),
        nu=poisson(table["nu"], f"{where}.nu"),
        density=positive(table["density"], "density", f"{where}.density"),
        expansion=_expansions(table, 1, where)[0] if "expansion" in table else None,
    )


def _fibre(table: dict[str, Any], where: str) -> Fibre:
    unlike = isinstance(table.get("E"), list)
    refuse_unknown(table, (*FIBRE_KEYS, "model", "expansion", *(("G",) if unlike else ())), where)
    require(table, (*FIBRE_KEYS, *(("G",) if unlike else ())), where)
    density = positive(table["density"], "density", f"{where}.density")
    if not unlike:
        E, nu = positive(table["E"], "pressure", f"{where}.E"), poisson(table["nu"], f"{where}.nu")
        expansion = _expansions(table, 1, where)[0] if "expansion" in table else None
        return Fibre.isotropic(E=E, nu=nu, density=density, expansion=expansion)
    if len(table["E"]) != 2:
        raise CardError("must hold one modulus, or two: along the fibre and across it.", where=f"{where}.E")
    e1, e2 = (positive(item, "pressure", f"{where}.E") for item in table["E"])
    nu12, nu23 = (number(v, f"{where}.nu") for v in keyed(table["nu"], ("12", "23"), f"{where}.nu").values())
    g12 = positive(table["G"], "pressure", f"{where}.G")
    if not nu23 > -1:
        raise CardError(f"nu23 = {nu23:g} must lie above -1.", where=f"{where}.nu")
    two = None
    if "expansion" in table:
        along, across = _expansions(table, 2, where)
        two = (along, across)
    out = Fibre(e1, e2, nu12, nu23, g12, density, two)
    broken = broken_condition(*out.constants)
    if broken:
        raise CardError(f"no fibre can have these elastic constants: {broken}.", where=where)
    return out


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
    refuse_unknown(table, ("across", "up"), where)
    out = []
    for key in ("across", "up"):
        share = factor(table.get(key, 1.0), f"{where}.{key}")
        if share > 1:
            raise CardError(f"{share:g} must not be above 1.", where=f"{where}.{key}")
        out.append(share)
    return out[0], out[1]
