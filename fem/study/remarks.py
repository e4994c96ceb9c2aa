"""What a reader must know of a study before anything is solved; `check` and `run` tell the same."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from fem.caution import Caution
from fem.errors import InputError
from fem.loading.temperature_change import TemperatureChangeKeys
from fem.part.several import chosen
from fem.part.solid import Solid
from fem.part.tetmesh import TetMesh
from fem.printing.card.temperature import other_temperature
from fem.study.plans import Study
from fem.study.prepare import card_of
from fem.study.shared_mesh import Prepared

SMALL = 5.0
"""A solid whose file states no unit and whose longest side is below this [mm] may have been drawn in inches."""


def remarks_of(ready: Prepared) -> tuple[Caution, ...]:
    """All cautions that follow from the study, its solids and its cards. Errors: InputError for a point far off."""
    study = ready.study
    return (
        *drafted(study),
        *_of_solids(study, ready.solids),
        *_touching(study, ready.solids),
        *_idle(study),
        *(caution for load in ready.loads.values() for caution in load.cautions),
        *_far_points(study, ready.mesh),
        *_other_temperatures(study),
    )


def drafted(study: Study) -> Iterable[Caution]:
    """That a study's supports, loads and materials are the program's guesses, where they are."""
    if study.draft:
        held = ", ".join(f"{s.name} on face {s.face}" for s in study.supports.values())
        loaded = ", ".join(
            name if load.face is None else f"{name} on face {load.face}" for name, load in study.loads.items()
        )
        yield Caution(
            "draft",
            f"This is a draft, its loads and supports not yet confirmed: what holds it ({held}), what loads it "
            f"({loaded}) and its material are guesses of the program. Make them yours, then delete draft = true.",
            {"supports": list(study.supports), "loads": list(study.loads)},
            decisive=True,
        )


def _of_solids(study: Study, solids: dict[str, Solid]) -> Iterable[Caution]:
    for name, solid in solids.items():
        yield from (Caution("solid", note) for note in solid.notes)
        if study.bodies[name].unit == "mm" and solid.size < SMALL:
            text = (
                f"Body {name} is only {solid.size:.3g} mm long; drawn in inches it would be "
                f'{25.4 * solid.size:.3g} mm long, and want unit = "in".'
            )
            yield Caution("small_part", text, {"body": name, "size_mm": solid.size}, decisive=True)


def _touching(study: Study, solids: dict[str, Solid]) -> Iterable[Caution]:
    """Bodies of one file that touch, which share no force."""
    number = {}
    for name, solid in solids.items():
        if len(solid.parts) > 1 and not solid.fused and solid.part is not None:
            at = chosen([p.name for p in solid.parts], solid.part, where=str(solid.path))
            number[name] = (solid.path, solid.parts[at])
    names = list(number)
    for i, one in enumerate(names):
        for other in names[i + 1 :]:
            (file, part), (also, second) = number[one], number[other]
            pairs = [{study.faces[face].body for face in joint.faces} for joint in study.joints.values()]
            joined = {one, other} in pairs
            if not joined and file == also and second.number in (*part.touches, *part.overlaps):
                text = (
                    f"Bodies {one} and {other} touch but are not joined: no force passes between them. Hold and load "
                    "each, name the joint between them, or join them on purpose with fused = true."
                )
                yield Caution("not_joined", text, {"bodies": [one, other]}, decisive=True)


def _idle(study: Study) -> Iterable[Caution]:
    """Loads that no case asks for."""
    asked = {load for factors in study.cases.values() for load, factor in factors.items() if factor != 0}
    for name in study.loads:
        if name not in asked:
            yield Caution("idle_load", f"Load {name} works in no case.", {"load": name})


def _far_points(study: Study, mesh: TetMesh) -> Iterable[Caution]:
    """Points that lie off the part, and are read at the nearest node."""
    reach = float(mesh.edge_length.max())
    for name, at in study.points.items():
        off = float(np.linalg.norm(mesh.nodes - np.asarray(at), axis=1).min())
        if off > mesh.diagonal / 2:
            raise InputError(
                f"the point lies {off:.3g} mm off the part.", where=f"points.{name}", advice="Is its unit right?"
            )
        if off > reach:
            text = f"Point {name} lies {off:.3g} mm off the part; the nearest node is read."
            yield Caution("point_off_part", text, {"point": name, "distance_mm": off})


def _other_temperatures(study: Study) -> Iterable[Caution]:
    """Temperature changes that end where a card's values no longer hold."""
    for name, load in study.loads.items():
        if not isinstance(load.what, TemperatureChangeKeys):
            continue
        most = max((abs(factors.get(name, 0.0)) for factors in study.cases.values()), default=1.0)
        for body in load.what.bodies or tuple(study.bodies):
            card, state = card_of(study.bodies[body])
            plan = study.bodies[body].print
            values = card.state(state, temperature=None if plan is None else plan.temperature)
            other = other_temperature(values, change=most * load.what.by)
            if other is not None:
                text = f"Load {name}: body {body}, card {card.name}: {other.text}"
                numbers = {
                    "load": name,
                    "body": body,
                    "values_at_degC": other.values_at,
                    "load_at_degC": other.load_at,
                }
                yield Caution("card_temperature", text, numbers, decisive=True)
