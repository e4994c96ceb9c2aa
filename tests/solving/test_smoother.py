"""The smoother must damp the whole spectrum: on slender elements of orthotropic material it once did not."""

import numpy as np
import pytest
from helpers_fe import LOW_X, LOW_Y, block, field, group, material

from fem.loading.loads import pressure_load
from fem.loading.supports import held_face
from fem.solving.equilibrium import Equilibrium
from fem.tensors import orthotropic_stiffness


@pytest.mark.parametrize(("along", "most"), [(6000.0, 70), (53000.0, 150)])
def test_slender_orthotropic_elements_take_few_steps(along, most):
    def bend(p):
        r, angle = 1 + 2 * p[:, 0], p[:, 1] * np.pi / 2
        return np.stack([r * np.cos(angle), r * np.sin(angle), 0.3 * p[:, 2]], axis=1)

    def growing(s):
        return (8.0**s - 1) / 7

    mesh = block((20, 48, 1), bend=bend, grade=(growing, lambda s: s))
    stiffness = orthotropic_stiffness((along, 3000.0, 3000.0), (0.35, 0.0, 0.0), (1200.0, 1200.0, 1200.0))
    held = [held_face(mesh, group(mesh, LOW_Y), fixed=("x", "y", "z"), name="root")]
    equilibrium = Equilibrium(mesh, field(mesh, material(stiffness)), held=held)
    load = pressure_load(mesh, group(mesh, LOW_X), pressure=1.0)
    _, record = equilibrium.solve(load[None])
    assert record.iterations < most
    assert record.history[-1] <= 1e-9
