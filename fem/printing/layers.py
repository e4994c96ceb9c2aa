"""Layers of different raster become one material, which still knows what each of its layers feels.

Three-dimensional lamination: the layers share the in-plane strains and the out-of-plane stresses; both are
exact for layers far thinner than the part. The layer normal is axis 3.

Sources: T. W. Chou, J. Carleone and C. M. Hsu, J. Compos. Mater. 6 (1972) 80; C. T. Sun and S. Li, J. Compos.
Mater. 22 (1988) 629; G. E. Backus, J. Geophys. Res. 67 (1962) 4427 (isotropic layers).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fem.criteria.strength import Strength
from fem.errors import CardError
from fem.printing.field import Phase, PrintedMaterial
from fem.printing.keys import LaminateKeys
from fem.printing.plan import PrintPlan, in_layer_rotation, layer_axes, print_axes
from fem.printing.polymer import Card, CardState
from fem.tensors import Array, orthotropic_stiffness, rotate_stiffness, strain_rotation, stress_rotation

OUT_OF_PLANE = [2, 3, 4]
"""Components 33, 23, 13: their stresses are the same in every layer."""
IN_PLANE = [0, 1, 5]
"""Components 11, 22, 12: their strains are the same in every layer."""


@dataclass(frozen=True)
class Laminate:
    """A stack of layers as one material, in laminate axes; or many stacks, along the leading dimensions.

    `stiffness` (..., 6, 6) [MPa]; `localisation` (..., l, 6, 6) takes the mean stress to each layer's; `expansion`
    (..., 6) [1/K] as a strain vector, `residual` (..., l, 6) [MPa/K] the stress in each layer when a free stack warms
    by one kelvin; both None when the layers' expansions are not known.
    """

    stiffness: Array
    localisation: Array
    expansion: Array | None
    residual: Array | None


def laminate(stiffness: Any, *, expansion: Any = None, shares: Any = None) -> Laminate:
    """Homogenise layers of `stiffness` (..., l, 6, 6) [MPa] and free `expansion` (..., l, 6) [1/K] in laminate axes.

    `shares` (..., l) of the thickness, equal when not given. Errors: ValueError for shapes or shares that cannot be.
    """
    c = np.asarray(stiffness, dtype=float)
    if c.ndim < 3 or c.shape[-2:] != (6, 6):
        raise ValueError(f"stiffness must be (..., layers, 6, 6), not {c.shape}")
    count = c.shape[-3]
    w = np.full(c.shape[:-2], 1.0 / count) if shares is None else np.asarray(shares, dtype=float)
    if w.shape != c.shape[:-2] or not np.all(w >= 0) or not np.allclose(w.sum(axis=-1), 1.0, rtol=1e-9):
        raise ValueError("shares must not be negative, one a layer, and add up to 1")

    o, i = OUT_OF_PLANE, IN_PLANE
    soft = np.linalg.inv(c[..., o, :][..., o])
    couple = soft @ c[..., o, :][..., i]
    reduced = c[..., i, :][..., i] - c[..., i, :][..., o] @ couple
    mean_soft, mean_couple = _mean(w, soft), _mean(w, couple)
    out = np.linalg.inv(mean_soft)
    whole = np.empty((*c.shape[:-3], 6, 6))
    whole[(..., *_block(o, o))] = out
    across = out @ mean_couple
    whole[(..., *_block(o, i))] = across
    whole[(..., *_block(i, o))] = _turned(across)
    whole[(..., *_block(i, i))] = _mean(w, reduced) + _turned(mean_couple) @ across
    whole = (whole + _turned(whole)) / 2

    # in-plane stress of a layer: reduced : shared in-plane strain + couple^T : shared out-of-plane stress
    shared = np.linalg.inv(whole)[..., i, :]
    local = np.zeros(c.shape)
    local[..., o, o] = 1.0
    local[..., i, :] = reduced @ shared[..., None, :, :]
    local[(..., *_block(i, o))] += _turned(couple)
    if expansion is None:
        return Laminate(whole, local, None, None)

    free = np.asarray(expansion, dtype=float)
    if free.shape != c.shape[:-1]:
        raise ValueError(f"expansion must be {c.shape[:-1]}, not {free.shape}")
    pull = np.einsum("...ab,...b->...a", reduced, free[..., i])
    grown = np.empty((*c.shape[:-3], 6))
    grown[..., i] = np.linalg.solve(_mean(w, reduced), _mean(w, pull)[..., None])[..., 0]
    held = grown[..., None, i] - free[..., i]
    grown[..., o] = _mean(w, free[..., o] - np.einsum("...ab,...b->...a", couple, held))
    residual = np.zeros(c.shape[:-1])
    residual[..., i] = np.einsum("...ab,...b->...a", reduced, held)
    return Laminate(whole, local, grown, residual)


def raster_material(plan: PrintPlan, *, card: Card, values: CardState, zone: str = "solid") -> PrintedMaterial:
    """The material of stacked raster layers without gaps, in part axes: the plan's raster, laid again and again.

    One phase per distinct raster angle (a half turn lays the same beads). Errors: CardError for a metal's card.
    """
    _refuse_unprinted(card)
    return _stacked(
        plan.raster,
        card=card,
        values=values,
        axes=print_axes(plan),
        zone=zone,
        layer="raster",
        length=bead_length(plan, values),
    )


def laminate_material(keys: LaminateKeys, *, card: Card, values: CardState) -> PrintedMaterial:
    """The material of a laminate's plies laid again and again, in part axes: a phase for each ply angle, each judged
    by what its own fibres feel. Stress is averaged over the critical distance where the card has a toughness.

    Errors: CardError for a card of another kind.
    """
    if card.kind != "laminate":
        write = f'metal = "{card.name}"' if card.kind == "metal" else f'a print with polymer = "{card.name}"'
        raise CardError(f"{card.name} is a {card.kind}, not a laminate.", advice=f"Write {write}.")
    return _stacked(
        keys.plies,
        card=card,
        values=values,
        axes=layer_axes(keys.normal, keys.fibre),
        zone="laminate",
        layer="ply",
        length=values.critical_distance or 0.0,
    )


def _stacked(
    angles: tuple[float, ...],
    *,
    card: Card,
    values: CardState,
    axes: Array,
    zone: str,
    layer: str,
    length: float,
) -> PrintedMaterial:
    """Layers at these angles [degrees] as one material: a phase for each distinct angle, named by its `layer`."""
    families = _families(angles)
    strength = replace(values.strength, ply=card.kind == "laminate")
    turns = np.array([in_layer_rotation(angle) for angle, _ in families])
    stack = laminate(
        rotate_stiffness(orthotropic_stiffness(values.E, values.nu, values.G), turns),
        expansion=None if values.expansion is None else _turned_expansion(values.expansion, turns),
        shares=[count / len(angles) for _, count in families],
    )
    into_print, into_bead = stress_rotation(axes), stress_rotation(turns)
    residual = np.zeros((len(families), 6)) if stack.residual is None else stack.residual
    phases = tuple(
        Phase(
            zone=zone,
            label=f"{layer} {angle:g} deg",
            to_bead=into_bead[k] @ stack.localisation[k] @ into_print,
            thermal_stress=into_bead[k] @ residual[k],
            strength=strength,
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
        zone=zone,
        expansion=None if stack.expansion is None else strain_rotation(axes.T) @ stack.expansion,
        estimates=values.doubtful,
        length=length,
    )


def bead_length(plan: PrintPlan, values: CardState) -> float:
    """The length [mm] below which the stress of beads means nothing: the larger of a bead's width and the critical
    distance that the card's toughness gives. Where the card has none it is the bead's width, on the safe side.
    """
    return max(plan.bead_width, values.critical_distance or 0.0)


def wall_material(plan: PrintPlan, *, card: Card, values: CardState) -> PrintedMaterial:
    """The material of walls, in their own axes: beads side by side along the outline, layer on layer.

    Errors: CardError for a metal's card.
    """
    _refuse_unprinted(card)
    return PrintedMaterial(
        name=card.name,
        state=values.name,
        stiffness=orthotropic_stiffness(values.E, values.nu, values.G),
        print_axes=print_axes(plan),
        density=card.density,
        phases=(Phase("wall", "along the outline", np.eye(6), np.zeros(6), values.strength),),
        zone="wall",
        expansion=None if values.expansion is None else np.array([*values.expansion, 0.0, 0.0, 0.0]),
        estimates=values.doubtful,
        length=bead_length(plan, values),
        follows_outline=True,
    )


def metal_material(card: Card, *, values: CardState) -> PrintedMaterial:
    """The material of a body made of one isotropic metal: its stress is averaged over its critical distance where the
    card has a toughness, and taken as it is where not. Errors: CardError for a polymer's card."""
    if card.kind != "metal":
        raise CardError(
            f"{card.name} is a {'laminate' if card.kind == 'laminate' else 'printed polymer'}, not a metal.",
            advice=f'Write laminate = "{card.name}".'
            if card.kind == "laminate"
            else f'Give a print plan with polymer = "{card.name}".',
        )
    return PrintedMaterial(
        name=card.name,
        state=values.name,
        stiffness=orthotropic_stiffness(values.E, values.nu, values.G),
        print_axes=np.eye(3),
        density=card.density,
        phases=(Phase("metal", "metal", np.eye(6), np.zeros(6), Strength(yield_stress=values.yield_stress)),),
        zone="metal",
        expansion=None if values.expansion is None else np.array([*values.expansion, 0.0, 0.0, 0.0]),
        estimates=values.doubtful,
        length=values.critical_distance or 0.0,
    )


def _refuse_unprinted(card: Card) -> None:
    if card.kind != "polymer":
        told = f"{card.name} is a {card.kind} and has no bead direction."
        raise CardError(told, advice=f'Write {card.kind} = "{card.name}".')


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
    """Mean over the layers: shares (..., l) of values (..., l, a) or (..., l, a, b)."""
    weight = shares.reshape(shares.shape + (1,) * (values.ndim - shares.ndim))
    return np.asarray((weight * values).sum(axis=shares.ndim - 1))


def _block(rows: list[int], columns: list[int]) -> Any:
    return np.ix_(rows, columns)


def _turned(matrix: Array) -> Array:
    return np.swapaxes(matrix, -1, -2)


def _symmetric(matrix: Array) -> Array:
    return (matrix + matrix.T) / 2
