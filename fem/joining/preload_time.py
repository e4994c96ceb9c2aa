"""What is left of a bolt's clamp after an hour, a day, a season: embedding, heat and water, creep of what is clamped.

A tightened bolt holds its length; what the members lose in height, bolt and members give back as springs in a row.
Source of the embedding values: VDI 2230 part 1, table of guide values of f_Z (from memory; the middle row was seen
second-hand). They hold for metal faces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fem.errors import InputError
from fem.joining.bolt_plan import BoltPlan
from fem.joining.clamped_joint import Grip, Member
from fem.joining.creep import HOUR, Findley, Prony
from fem.joining.remedies import ALUMINIUM, SLEEVE_WALL, Built, Way, large_washer_way, sleeve_way, washer_way
from fem.tensors import Array

DAY, SEASON = 24 * HOUR, 90 * 24 * HOUR
"""[s]; a season is a quarter of a year."""
TIMES = (HOUR, DAY, SEASON)

EMBEDDING = {10.0: ((3, 2.5, 1.5), (3, 3, 2)), 40.0: ((3, 3, 2), (3, 4.5, 2.5)), 160.0: ((3, 4, 3), (3, 6.5, 3.5))}
"""Largest roughness Rz [um] of the row -> f_Z [um] in the thread, under each head or nut, in each inner interface;
first where the load pulls, then where it shears."""


def embedding(roughness: float, *, heads: int = 1, interfaces: int = 1, shear: bool = False) -> float:
    """How much faces settle after tightening [mm], by their `roughness` Rz [um]: one thread, `heads` (head, and nut
    if there is one), inner `interfaces`. Errors: InputError for a roughness beyond the table."""
    for limit, rows in EMBEDDING.items():
        if 0 < roughness < limit:
            thread, head, inner = rows[shear]
            return (thread + heads * head + interfaces * inner) / 1e3
    raise InputError(f"embedding is known for a roughness Rz up to {max(EMBEDDING):g} um, not of {roughness:g} um.")


def clamp_over_time(
    preload: float,
    *,
    bolt: float,
    grip: Grip,
    times: Sequence[float] = TIMES,
    settling: float = 0.0,
    later: Grip | None = None,
    growth: float = 0.0,
) -> Array:
    """Clamp [N] (k,) at `times` (k,) [s] after a bolt of resilience `bolt` [mm/N] was tightened to `preload` [N].

    `settling` [mm] is lost at once by embedding; `later` is the grip in the state and heat of service, which it has
    from then on; `growth` [mm] how much more its members grow than the bolt when warm or wet. In closed form: exact
    for linear creep. Errors: InputError where members creep by different laws.
    """
    service = later or grip
    given, law, share = _row_of(bolt, service)
    at_once = max((preload * (bolt + sum(grip.resiliences)) + growth - settling) / given, 0.0)
    t = np.asarray(times, dtype=float)
    return np.full(t.shape, at_once) if law is None else at_once * law.kept(t, share)


def clamp_by_steps(preload: float, *, bolt: float, grip: Grip, time: float, steps: int = 400) -> float:
    """Clamp [N] at a `time` [s], by Boltzmann's superposition of small steps: a second way for `clamp_over_time`."""
    _, law, share = _row_of(bolt, grip)
    if law is None:
        return preload
    # Short steps first, where creep is quickest; the trapezoid of the law over each past step
    t = time * (np.arange(steps + 1) / steps) ** 3
    force, strain = np.empty(steps + 1), np.empty(steps + 1)
    force[0] = strain[0] = 1.0  # of the preload, and of its elastic compression
    springs = (1 - share) / share
    for k in range(1, steps + 1):
        if isinstance(law, Findley):
            grown = law.compliance(t[k] - t[: k + 1])
            mean = (grown[1:] + grown[:-1]) / 2
            past = law.compliance(t[k]) + mean[:-1] @ np.diff(force[:k])
            # springs F + past + mean (F - F_before) = springs + 1
            force[k] = (springs + 1 - past + mean[-1] * force[k - 1]) / (springs + mean[-1])
        else:
            eased = law.relaxation(t[k] - t[: k + 1])
            mean = (eased[1:] + eased[:-1]) / 2
            past = law.relaxation(t[k]) + mean[:-1] @ np.diff(strain[:k])
            # F = past + mean (e - e_before), and springs F + e = springs + 1
            force[k] = (past + mean[-1] * (springs + 1 - strain[k - 1])) / (1 + mean[-1] * springs)
            strain[k] = springs + 1 - springs * force[k]
    return float(preload * force[-1])


def _row_of(bolt: float, grip: Grip) -> tuple[float, Findley | Prony | None, float]:
    """What bolt and members give together [mm/N], the law that some of them creep by, and their share of it."""
    parts = grip.resiliences
    laws = {member.creep for member in grip.members if member.creep is not None}
    if len(laws) > 1:
        raise InputError(
            "the clamped members creep by different laws.",
            advice="Take the law of the member that gives most for all.",
        )
    total = bolt + sum(parts)
    creeping = sum(part for part, member in zip(parts, grip.members, strict=True) if member.creep is not None)
    return total, laws.pop() if laws else None, creeping / total


@dataclass(frozen=True)
class Remedy:
    """A way to build a joint: `name`, the mean `pressure` [MPa] where head, washer or sleeve presses on a member,
    `on` what it presses, the `clamp` (k,) [N] at each time."""

    name: str
    on: str
    pressure: float
    clamp: tuple[float, ...]


def compare_remedies(
    plan: BoltPlan,
    members: Sequence[Member],
    *,
    preload: float,
    times: Sequence[float] = TIMES,
    settling: float = 0.0,
    shank: float = 0.0,
    hole: float | None = None,
    outer: float = np.inf,
    sleeve_wall: float = SLEEVE_WALL,
    sleeve_modulus: float = ALUMINIUM,
) -> tuple[Remedy, ...]:
    """A planned bolt through `members` and a nut with the same washer: as it is, with large washers, with a metal
    sleeve of `sleeve_wall` [mm] in place of the members that creep (the clamp then goes through metal alone).

    `preload` [N] after tightening, `shank` [mm] without a thread, `hole` [mm] (None: medium clearance; the sleeve
    stands outside it). Errors: InputError where the washer is wider than the member, or the sleeve than the head or
    washer.
    """
    built = Built(plan.sizes.clearance_hole if hole is None else hole, outer, shank)
    ways = [washer_way("as planned", plan, members, built)]
    if plan.washer != "large":
        ways.append(large_washer_way(plan, members, built))
    ways.append(sleeve_way(plan, members, built, wall=sleeve_wall, modulus=sleeve_modulus))
    return tuple(_remedy(way, preload, times, settling) for way in ways)


def _remedy(way: Way, preload: float, times: Sequence[float], settling: float) -> Remedy:
    """What a way to build a joint keeps of a `preload` [N]."""
    found = clamp_over_time(preload, bolt=way.bolt, grip=way.grip, times=times, settling=settling)
    return Remedy(way.name, way.on, preload / way.area, tuple(float(clamp) for clamp in found))
