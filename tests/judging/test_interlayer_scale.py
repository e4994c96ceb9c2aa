"""What a weaker bond between layers is: tension up the build and the shears 23 and 13, of prints alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from fem.criteria.strength import WallBuckling
from fem.judging.interlayer_scale import interlayer_scaled
from fem.printing.body import metal_body, printed_body
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card


@dataclass(frozen=True)
class Field:
    """As much of a printed field as is scaled."""

    materials: tuple


def test_the_bond_alone_is_scaled():
    plan = PrintPlan((0, 0, 1), infill_pattern="grid", infill_density=0.2, walls=2, covers=3)
    made = printed_body(plan, card=load_card("pa12-cf"), state="dry")
    metal = metal_body(load_card("6082-t6")).core
    now = interlayer_scaled(Field((made.wall, made.cover, made.core, metal)), 0.7)
    assert now.materials[3] is metal
    buckling = 0
    for before, after in zip((made.wall, made.cover, made.core), now.materials, strict=False):
        assert after.stiffness is before.stiffness and len(after.phases) == len(before.phases)
        for one, other in zip(before.phases, after.phases, strict=True):
            if isinstance(one.strength, WallBuckling):
                buckling += 1
                assert other.strength is one.strength
                continue
            assert one.strength.tension == pytest.approx([60, 32, 19])
            assert other.strength.tension == pytest.approx([60, 32, 0.7 * 19])
            assert np.array_equal(other.strength.compression, one.strength.compression)
            # In the order of components: 23, 13, 12
            assert other.strength.shear == pytest.approx([0.7 * 12, 0.7 * 15, 17.5])
    assert buckling
