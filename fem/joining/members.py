"""Clamped members from material cards: stiffness along the bolt, creep in the card's state, growth by heat."""

from __future__ import annotations

import numpy as np

from fem.caution import Caution
from fem.errors import InputError
from fem.joining.clamped_joint import Grip, Member
from fem.joining.creep import Findley, Prony, default_creep
from fem.printing.card.nouns import CardState
from fem.tensors import Array, orthotropic_compliance, pack_stress, unit


def member_of(state: CardState, *, thickness: float, axis: Array, creep: Findley | Prony | None = None) -> Member:
    """A member `thickness` [mm] thick of a material in one state, clamped along an `axis` (3,) in print axes.

    A polymer creeps as its state does by default, faster when warm (`default_creep`), unless `creep` says how; a
    metal does not.
    """
    n = unit(np.asarray(axis, dtype=float))
    pulled = pack_stress(np.outer(n, n))
    modulus = 1 / float(pulled @ orthotropic_compliance(state.E, state.nu, state.G) @ pulled)
    if state.yield_stress is not None:
        return Member(thickness, modulus)
    if creep is None:
        softened = 1.0 if state.factors is None else state.factors.between(state.holds_at)[0]
        creep = default_creep(state.name, softened=min(softened, 1.0))
    return Member(thickness, modulus, creep)


def growth_by_heat(state: CardState, *, thickness: float, axis: Array, bolt_expansion: float, warmer: float) -> float:
    """How much more than its bolt a member grows [mm] when both are `warmer` [K]; `bolt_expansion` [1/K].

    Errors: InputError where the card knows no expansion.
    """
    if state.expansion is None:
        raise InputError(f'the card says nothing of expansion in the state "{state.name}".')
    n = unit(np.asarray(axis, dtype=float))
    return (float(np.asarray(state.expansion) @ n**2) - bolt_expansion) * thickness * warmer


def creep_cautions(grip: Grip, *, bolt: str) -> tuple[Caution, ...]:
    """What a reader must know of the clamp that is left at a `bolt`: that creep is an estimate, where it is."""
    laws = {member.creep for member in grip.members if member.creep is not None and member.creep.estimate}
    return tuple(
        Caution(
            "creep_estimated",
            f"How the material clamped by bolt {bolt} creeps is an estimate ({law.source}): the clamp that is left "
            "after a time may be far off. Retighten, and give measured creep where the clamp must stay.",
        )
        for law in laws
    )
