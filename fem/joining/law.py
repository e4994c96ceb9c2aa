"""What two faces do to each other at a point: glued, or pushing with friction and a gap.

Both sides meet through springs as stiff as a layer of material much thinner than an element, so that a small approach
stands for what rough surfaces and the mesh leave open anyway; how far they approach is told with every answer. The
pressure is p = k max(0, approach), the shear is held by a tangential spring up to mu p and slips beyond
(Coulomb's law in the backward Euler form: J. C. Simo and T. A. Laursen, Computers & Structures 42 (1992) 97).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.tensors import Array

NEAR_ENOUGH = 0.05
"""What is left of the slope where a whole step is taken; a search goes on to a tenth of it."""
FARTHEST = 16.0
"""The longest step, in whole ones."""
MOST_TRIES = 60
"""Places at which a step looks for the least work at the most."""


@dataclass(frozen=True)
class PointLaw:
    """The law of points (q,): unit `normal` (q, 3) out of the first side, `gap` (q,) [mm] to close, springs `push`
    and `hold` (q,) [N/mm] along and across the normal, `friction` (q,) (infinite: what touches sticks), `glued` (q,).
    """

    normal: Array
    gap: Array
    push: Array
    hold: Array
    friction: Array
    glued: NDArray[np.bool_]

    def answer(self, jump: Array, *, rest: Array, pressure: Array | None = None) -> PointState:
        """The state under a `jump` (q, 3) [mm], the motion of the first side minus that of the second.

        Tangential springs are at rest at `rest` (q, 3) [mm]. The limit of the shear is that of `pressure` (q,) [N],
        the normal force of another jump, or of this one's own.
        """
        approach = np.einsum("qi,qi->q", jump, self.normal) - self.gap
        touching = self.glued | (approach > 0)
        force = np.where(touching, self.push * approach, 0.0)
        along = jump - rest
        along = along - np.einsum("qi,qi->q", along, self.normal)[:, None] * self.normal
        shear = np.where(touching, self.hold, 0.0)[:, None] * along
        size = np.linalg.norm(shear, axis=1)
        limit = np.full(len(size), np.inf)
        rubbing = ~self.glued & np.isfinite(self.friction)
        limit[rubbing] = self.friction[rubbing] * np.maximum((force if pressure is None else pressure)[rubbing], 0.0)
        slipping = touching & (size > limit)
        way = shear / np.where(size > 0, size, 1.0)[:, None]
        shear[slipping] = limit[slipping, None] * way[slipping]
        kept = np.ones(len(size))
        kept[slipping] = limit[slipping] / size[slipping]
        return PointState(approach, force, shear, touching, slipping, kept, way)

    def springs(self, state: PointState) -> Array:
        """The tangent (q, 3, 3) [N/mm] at a state, with the limit of the shear held: symmetric, never negative."""
        outer = self.normal[:, :, None] * self.normal[:, None, :]
        across = np.eye(3) - outer
        across = (
            across - np.where(state.slipping, 1.0, 0.0)[:, None, None] * state.way[:, :, None] * state.way[:, None, :]
        )
        push = np.where(state.touching, self.push, 0.0)[:, None, None] * outer
        return push + (np.where(state.touching, self.hold, 0.0) * state.kept)[:, None, None] * across

    def turning(self, state: PointState) -> Array:
        """What the tangent (q, 3, 3) [N/mm] has beside `springs`, since what presses more bears more shear where it
        slips: not symmetric.
        """
        gain = np.where(state.slipping, self.push * np.where(state.slipping, self.friction, 0.0), 0.0)
        return gain[:, None, None] * state.way[:, :, None] * self.normal[:, None, :]

    def held(self, state: PointState) -> Array:
        """The springs (q, 3, 3) [N/mm] of the points that touch, as if all of them stuck that rub at all."""
        return np.where(state.touching, 1.0, 0.0)[:, None, None] * self.closed()

    def closed(self) -> Array:
        """The springs (q, 3, 3) [N/mm] of points that touch and stick, frictionless ones without shear."""
        outer = self.normal[:, :, None] * self.normal[:, None, :]
        hold = np.where(self.glued | (self.friction > 0), self.hold, 0.0)
        return self.push[:, None, None] * outer + hold[:, None, None] * (np.eye(3) - outer)


@dataclass(frozen=True)
class PointState:
    """What happens at points (q,): the `approach` [mm] beyond touching (negative: open), the normal `force` [N]
    (positive: pressed), the `shear` (q, 3) [N], which points are `touching` and `slipping`; `kept` the share of the
    tangential spring that slipping leaves, `way` (q, 3) the direction of the shear.
    """

    approach: Array
    force: Array
    shear: Array
    touching: NDArray[np.bool_]
    slipping: NDArray[np.bool_]
    kept: Array
    way: Array

    def total(self, normal: Array) -> Array:
        """The force (q, 3) [N] that the second side feels; the first feels its opposite."""
        return self.force[:, None] * normal + self.shear

    def same_sets(self, other: PointState) -> bool:
        """Whether the same points touch, and the same of them slip."""
        return bool((self.touching == other.touching).all() and (self.slipping == other.slipping).all())


def rest_after(law: PointLaw, state: PointState, jump: Array) -> Array:
    """Where tangential springs (q, 3) [mm] are at rest once a state is the past: what slipped stays slipped, and what
    is open begins anew where it touches again.
    """
    hold = np.where(law.hold > 0, law.hold, 1.0)[:, None]
    return np.where(state.touching[:, None], jump - state.shear / hold, jump)


def least_work(
    law: PointLaw, *, jump: Array, move: Array, rest: Array, pressure: Array, slope: float, curve: float
) -> float:
    """How far to go along a `move` (q, 3) [mm] from a `jump` so that the work is least, with limits of the shear by
    `pressure` (q,) [N]. `slope` and `curve` are the first and second derivative of all other work.

    The work is convex along the move, so its derivative has one root; close to a whole step, that is taken.
    """

    from fem.joining import law_kernels

    rubbing = ~law.glued & np.isfinite(law.friction)
    limit = np.where(rubbing, np.where(rubbing, law.friction, 0.0) * np.maximum(pressure, 0.0), np.inf)
    gap = law.gap - np.einsum("qi,qi->q", rest, law.normal)
    given = law.normal, gap, law.push, law.hold, limit, law.glued, np.ascontiguousarray(jump - rest), move

    def rise(far: float) -> tuple[float, float]:
        work, growth = law_kernels.rises(*given, far)
        return slope + far * curve + work, curve + growth

    first, end = rise(0.0)[0], rise(1.0)[0]
    if abs(end) <= NEAR_ENOUGH * abs(first):
        return 1.0
    low, high = 0.0, 1.0
    while end < 0 and high < FARTHEST:
        low, high = high, 2 * high
        end = rise(high)[0]
    far = high
    for _ in range(MOST_TRIES):
        here, growth = rise(far)
        if abs(here) <= NEAR_ENOUGH * abs(first) / 10 or high - low <= 1e-12:
            break
        low, high = (far, high) if here < 0 else (low, far)
        newton = far - here / growth if growth > 0 else low
        far = newton if low < newton < high else (low + high) / 2
    return far
