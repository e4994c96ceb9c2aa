"""Two blocks that meet, with a state of their joint that is given and not solved."""

from dataclasses import replace

import numpy as np
from helpers_fe import HIGH_Z, LOW_Z, box

from fem.joining.facing import faces_opposite, first_of
from fem.joining.joint import Joint
from fem.judging.pressed import PressedJoint
from fem.part.tetmesh import joined


def two_blocks(lower=(4, 4, 2), upper=(7, 5, 3), *, size=(20, 20, 10)):
    """A block on another one, whose meshes share no nodes, and the number of the second's first face."""
    one, two = box(size, lower), box(size, upper)
    two = replace(two, nodes=two.nodes + np.array([0, 0, size[2]]), bodies=("upper",))
    return joined([one, two]), len(one.faces)


def seam(mesh, off, **how):
    """Their joint."""
    first, second = first_of(mesh, mesh.triangles_of((HIGH_Z,)), mesh.triangles_of((off + LOW_Z,)))
    return Joint("seam", faces_opposite(mesh, first, second), **how)


def pressed(joint, *, pressure, opening=None, slipping=None):
    """A joint with a pressure [MPa] and an opening [mm] as functions of places (q, 3), and what slips of it."""
    at = joint.facing.places
    p = np.maximum(pressure(at), 0.0)
    nothing = np.zeros(len(at))
    touching = p > 0
    return PressedJoint(
        joint,
        p,
        nothing if opening is None else np.where(touching, 0.0, opening(at)),
        nothing,
        touching,
        touching & (np.zeros(len(at), dtype=bool) if slipping is None else slipping(at)),
    )
