"""Beads of a body that meets another one at a joint: they must move as the solved part does, and feel its forces.

Two halves of a bar meet in the middle, on meshes that share no nodes. The half in boxes is of one isotropic bead, so
that only what the joint does to the boxes can tell them from the part.
"""

import dataclasses

import numpy as np
import pytest
from helpers_fe import HIGH_X, LOW_X, box, field, group, material

from fem.joining.facing import first_of, opposite_faces
from fem.joining.joint import Joint
from fem.loading.case import JOINTS, LoadCase
from fem.loading.dense import Box
from fem.loading.force import ForceKeys
from fem.loading.kinds import load_of
from fem.loading.plan import LoadPlan
from fem.loading.supports import held_face
from fem.part.tetmesh import joined
from fem.printing.body import printed_body
from fem.printing.filling import layer_grid
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card
from fem.solving.cases import solve_cases, solved_at
from fem.solving.equilibrium import Equilibrium
from fem.solving.joined import joined_of
from fem.tensors import isotropic_stiffness
from fem.zooming.cube import BodyOfBeads, Supported, solve_beads
from fem.zooming.meets import Meeting, pressed

YOUNG, NU = 2000.0, 0.35
LENGTH, WIDTH, HEIGHT = 15.0, 8.0, 6.0
PLAN = PrintPlan((1, 0, 0), raster_zero=(0, 1, 0), bead_width=1.0, bead_height=0.75, walls=0)
WHOLE = ((0.0, 0.0, LENGTH), (WIDTH, HEIGHT, 2 * LENGTH))
NEAR = ((0.0, 0.0, LENGTH), (WIDTH, HEIGHT, 1.5 * LENGTH))
EVERYWHERE = Box(np.eye(3), np.full(3, -np.inf), np.full(3, np.inf))


class Halves:
    """Two halves of a bar along x, held at its low end and loaded at its high one, solved with their joint."""

    def __init__(self, kind, force, *, flipped=False, clearance=0.0, factor=1.0):
        one, two = box((LENGTH, WIDTH, HEIGHT), (7, 5, 5)), box((LENGTH, WIDTH, HEIGHT), (6, 4, 4))
        faces = tuple(dataclasses.replace(face, body="beads") for face in two.faces)
        two = dataclasses.replace(two, nodes=two.nodes + np.array([LENGTH, 0, 0]), bodies=("beads",), faces=faces)
        self.mesh, off = joined([one, two]), len(one.faces)
        how = {"bearing": {"friction": 0.4}, "bonded": {"kind": "bonded"}}[kind]
        sides = first_of(self.mesh, *(self.mesh.triangles_of((f,)) for f in (HIGH_X, off + LOW_X)))
        found = opposite_faces(self.mesh, *(sides[::-1] if flipped else sides), clearance=clearance)
        printed = field(self.mesh, material(isotropic_stiffness(YOUNG, NU)))
        self.joined = joined_of(self.mesh, printed, [Joint("seam", found.facing, opposite=found, **how)])
        plan = LoadPlan("push", "force", ForceKeys(force), "end", False)
        load = load_of(plan, self.mesh, printed, {"end": group(self.mesh, off + HIGH_X)})
        self.wall = held_face(self.mesh, group(self.mesh, LOW_X), fixed=("x", "y", "z"), name="wall")
        equilibrium = Equilibrium(self.mesh, printed, held=[self.wall], joined=self.joined)
        (self.solved,), _ = solve_cases(equilibrium, [LoadCase("case", {"push": 1.0}, {"push": load})], moves={})
        if factor != 1.0:
            self.solved = solved_at(equilibrium, self.solved.cases[0], self.solved, factor=factor)
        self.case, self.factor = self.solved.cases[0], factor
        permanent, growing = (
            self.case.combined(k, self.solved.units) for k in (self.case.permanent, self.case.growing)
        )
        self.whole = permanent + factor * growing
        self.meeting = Meeting(self.joined, self.solved.units, self.whole)

    @property
    def body(self):
        card = load_card("pla")
        made = printed_body(PLAN, card=card, state=next(iter(card.states)))
        shear = YOUNG / (2 + 2 * NU)
        values = dataclasses.replace(made.values, E=(YOUNG,) * 3, nu=(NU,) * 3, G=(shear,) * 3)
        return BodyOfBeads(self.mesh, "beads", dataclasses.replace(made, values=values))

    def in_boxes(self, room, *, meeting=True):
        """How far boxes and part lie apart under the case, over the bending and squeezing of the part."""
        body, cut = self.body, room is not WHOLE
        found = solve_beads(
            body,
            layer_grid(body.outline, low=room[0], high=room[1], step=1.0),
            loads=self.case.loads,
            supported=Supported((self.wall,), meeting=self.meeting if meeting else None),
            displacement=self.solved.units if cut else None,
        )
        number = found.system.boxes.number
        corner = np.argwhere(number >= 0)[np.argsort(number[number >= 0])]
        place = found.beads.grid.origin + corner[:, ::-1] * found.beads.grid.step
        moved = sum(
            (self.factor if k in self.case.growing else 1.0) * f * found.units[k]
            for k, f in self.case.factors.items()
        )
        own = body.locator.find(place @ body.axes).values(self.whole) @ body.axes.T
        return np.abs(moved - own).max() / np.ptp(own, axis=0).max()

    def forces(self, spacing=0.5):
        """The force (3,) [N] of the joint on the half in beads, of all loads together."""
        found = pressed(self.mesh, "beads", self.meeting, spacing=spacing, box=EVERYWHERE)
        return sum(
            (self.factor if k in self.case.growing else 1.0) * f * found.forces[k].sum(axis=0)
            for k, f in self.case.factors.items()
        )


PUSH, BEND, PULL = (-400.0, 0.0, 0.0), (-400.0, 0.0, -20.0), (100.0, 10.0, -5.0)


@pytest.mark.parametrize(
    ("kind", "force", "how"),
    [
        ("bearing", PUSH, {}),
        ("bearing", BEND, {}),  # the lower edge has opened
        ("bearing", BEND, {"flipped": True, "clearance": 0.02}),
        ("bearing", BEND, {"factor": 2.0, "clearance": 0.02}),
        ("bonded", PULL, {}),
        ("bonded", PULL, {"flipped": True}),
    ],
)
def test_a_half_bar_in_boxes_moves_as_the_part_does_against_its_other_half(kind, force, how):
    halves = Halves(kind, force, **how)
    assert (JOINTS in halves.case.factors) == (kind == "bearing")
    for room in (WHOLE, NEAR):
        assert halves.in_boxes(room) < 0.03
    # Whatever the half does, the joint bears all of its load; where it ends within a triangle, points see that better
    assert halves.forces() == pytest.approx(-how.get("factor", 1.0) * np.array(force), abs=0.01 * max(np.abs(force)))


def test_without_its_joint_a_half_bar_is_told_wrong():
    halves = Halves("bearing", BEND)
    assert halves.in_boxes(NEAR, meeting=False) > 0.1
    frozen = Halves("bonded", BEND)
    frozen.meeting = dataclasses.replace(frozen.meeting, units={k: 0 * u for k, u in frozen.meeting.units.items()})
    assert frozen.in_boxes(NEAR) > 0.1
