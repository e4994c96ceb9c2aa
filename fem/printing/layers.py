"""Layers of different raster become one material, which still knows what each of its layers feels.

Three-dimensional lamination: the layers share the in-plane strains and the out-of-plane stresses; both are
exact for layers far thinner than the part. The layer normal is axis 3.

Sources: T. W. Chou, J. Carleone and C. M. Hsu, J. Compos. Mater. 6 (1972) 80; C. T. Sun and S. Li, J. Compos.
Mater. 22 (1988) 629; G. E. Backus, J. Geophys. Res. 67 (1962) 4427 (isotropic layers).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.errors import CardError
from fem.printing.field import Phase, PrintedMaterial, Strength
from fem.printing.plan import PrintPlan, in_layer_rotation, print_axes
from fem.printing.polymer import Card, CardState
from fem.tensors import Array, orthotropic_stiffness, rotate_stiffness, strain_rotation, stress_rotation

OUT_OF_PLANE = [2, 3, 4]
"""Components 33, 23, 13: their stresses are the same in every layer."""
IN_PLANE = [0, 1, 5]
"""Components 11, 22, 12: their strains are the same in every layer."""


@dataclass(frozen=True)
class Laminate:
    """A stack of layers as one material, in laminate axes.

    `stiffness` (6, 6) [MPa]; `localisation` (l, 6, 6) takes the mean stress to each layer's; `expansion` (6,) [1/K]
    as a strain vector, `residual` (l, 6) [MPa/K] the stress in each layer when a free stack warms by one kelvin;
    both None when the layers' expansions are not known.
    """

    stiffness: Array
    localisation: Array
    expansion: Array | None
    residual: Array | None


def laminate(stiffness: Any, *, expansion: Any = None, shares: Any = None) -> Laminate:
    """Homogenise layers of `stiffness` (l, 6, 6) [MPa] and free `expansion` (l, 6) [1/K], all in laminate axes.

    `shares` (l,) of the thickness, equal when not given. Errors: ValueError for shapes or shares that cannot be.
    """
    c = np.asarray(stiffness, dtype=float)
    if c.ndim != 3 or c.shape[1:] != (6, 6):
        raise ValueError(f"stiffness must be (layers, 6, 6), not {c.shape}")
    count = len(c)
    w = np.full(count, 1.0 / count) if shares is None else np.asarray(shares, dtype=float)
    if w.shape != (count,) or not np.all(w > 0) or not np.isclose(w.sum(), 1.0, rtol=1e-9):
        raise ValueError("shares must be positive, one a layer, and add up to 1")

    o, i = OUT_OF_PLANE, IN_PLANE
    soft = np.linalg.inv(c[:, o][:, :, o])
    couple = soft @ c[:, o][:, :, i]
    reduced = c[:, i][:, :, i] - c[:, i][:, :, o] @ couple
    mean_soft, mean_couple = _mean(w, soft), _mean(w, couple)
    out = np.linalg.inv(mean_soft)
    whole = np.empty((6, 6))
    whole[np.ix_(o, o)] = out
    whole[np.ix_(o, i)] = out @ mean_couple
    whole[np.ix_(i, o)] = whole[np.ix_(o, i)].T
    whole[np.ix_(i, i)] = _mean(w, reduced) + mean_couple.T @ out @ mean_couple
    whole = (whole + whole.T) / 2

    # in-plane stress of a layer: reduced : shared in-plane strain + couple^T : shared out-of-plane stress
    shared = np.linalg.inv(whole)[i]
    local = np.zeros((count, 6, 6))
    local[:, o, o] = 1.0
    local[:, i, :] = reduced @ shared
    for row, component in enumerate(i):
        local[:, component, o] += couple[:, :, row]
    if expansion is None:
        return Laminate(whole, local, None, None)

    free = np.asarray(expansion, dtype=float)
    if free.shape != (count, 6):
        raise ValueError(f"expansion must be ({count}, 6), not {free.shape}")
    pull = np.einsum("lab,lb->la", reduced, free[:, i])
    grown = np.empty(6)
    grown[i] = np.linalg.solve(_mean(w, reduced), _mean(w, pull))
    held = grown[i] - free[:, i]
    grown[o] = _mean(w, free[:, o] - np.einsum("lab,lb->la", couple, held))
    residual = np.zeros((count, 6))
    residual[:, i] = np.einsum("lab,lb->la", reduced, held)
    return Laminate(whole, local, grown, residual)


def printed_material(plan: PrintPlan, *, card: Card, state: str) -> PrintedMaterial:
    """The material of a solid print: the card's beads, laid by the plan's raster, in part axes.

    One phase per distinct raster angle (a half turn lays the same beads). Errors: CardError for a metal's card
    or a state that the card does not have.
    """
    if card.kind != "polymer":
        raise CardError(f"{card.name} is a metal and has no bead direction.", advice=f'Write metal = "{card.name}".')
    values = card.state(state)
    families = _families(plan.raster)
    turns = np.array([in_layer_rotation(angle) for angle, _ in families])
    stack = laminate(
        rotate_stiffness(orthotropic_stiffness(values.E, values.nu, values.G), turns),
        expansion=None if values.expansion is None else _turned_expansion(values.expansion, turns),
        shares=[count / len(plan.raster) for _, count in families],
    )
    axes = print_axes(plan)
    into_print, into_bead = stress_rotation(axes), stress_rotation(turns)
    warming = np.zeros((len(families), 6)) if stack.residual is None else stack.residual
    phases = tuple(
        Phase(
            zone="solid",
            label=f"raster {angle:g} deg",
            to_bead=into_bead[k] @ stack.localisation[k] @ into_print,
            warming_stress=into_bead[k] @ warming[k],
            strength=values.strength,
        )
        for k, (angle, _) in enumerate(families)
    )
    return PrintedMaterial(
        name=card.name,
        state=values.name,
        stiffness=_symmetric(rotate_stiffness(stack.stiffness, axes)),
        print_axes=axes,
        density=card.density,
        phases=phases,
        zones={"solid": 1.0},
        expansion=None if stack.expansion is None else strain_rotation(axes.T) @ stack.expansion,
        estimates=values.estimates,
    )


def metal_material(card: Card, *, state: str = "dry") -> PrintedMaterial:
    """The material of a body made of one isotropic metal. Errors: CardError for a polymer's card."""
    if card.kind != "metal":
        raise CardError(
            f"{card.name} is a printed polymer, not a metal.",
            advice=f'Give a print plan with polymer = "{card.name}".',
        )
    values: CardState = card.state(state)
    return PrintedMaterial(
        name=card.name,
        state=values.name,
        stiffness=orthotropic_stiffness(values.E, values.nu, values.G),
        print_axes=np.eye(3),
        density=card.density,
        phases=(Phase("metal", "metal", np.eye(6), np.zeros(6), Strength(yield_stress=values.yield_stress)),),
        zones={"metal": 1.0},
        expansion=None if values.expansion is None else np.array([*values.expansion, 0.0, 0.0, 0.0]),
        estimates=values.estimates,
    )


def _families(raster: tuple[float, ...]) -> list[tuple[float, int]]:
    """Distinct raster angles [degrees], in the order of the plan, with the number of layers of each."""
    families: list[tuple[float, int]] = []
    for angle in raster:
        for k, (known, count) in enumerate(families):
            apart = (angle - known) % 180.0
            if min(apart, 180.0 - apart) < 1e-9:
                families[k] = (known, count + 1)
                break
        else:
            families.append((angle, 1))
    return families


def _turned_expansion(expansion: tuple[float, float, float], turns: Array) -> Array:
    """Expansion along bead axes (3,) [1/K] as strain vectors (l, 6) in print axes."""
    return strain_rotation(np.swapaxes(turns, -1, -2)) @ np.array([*expansion, 0.0, 0.0, 0.0])


def _mean(shares: Array, values: Array) -> Array:
    return np.tensordot(shares, values, axes=1)


def _symmetric(matrix: Array) -> Array:
    return (matrix + matrix.T) / 2
