"""A study with a load and a support that the program does not know: made_up_kinds.py STUDY [unregistered].

Each is registered by one line. Prints, as JSON, what comes of it, or what is wrong with the file.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from fem.errors import InputError
from fem.loading.kind import LoadKind, Site, SupportKind, pushed
from fem.loading.kinds import LOAD_KINDS, SUPPORT_KINDS
from fem.loading.loads import even_traction
from fem.loading.supports import held_face
from fem.loading.values import Direction, Name, Preload


@dataclass(frozen=True)
class TowKeys:
    """A rope that pulls with a `force` [N] towards a direction (3,), away from the face `off`."""

    force: Annotated[Preload, "Pull of the rope.", "an example"]
    off: Annotated[Name, "A face that the rope leaves."]
    towards: Annotated[Direction, "Where it pulls to."] = (1.0, 0.0, 0.0)

    def __post_init__(self) -> None:
        if self.towards[2] != 0:
            raise InputError("a rope pulls along the floor.", advice="Leave z at 0.")


@dataclass(frozen=True)
class WallKeys:
    """Everything is held, or all but one axis."""

    wall: Annotated[str, "The axis that is free, or none."]


def tow(site: Site) -> Any:
    what = site.what
    assert site.groups[what.off].area > 0
    pull = what.force * np.asarray(what.towards) / np.linalg.norm(what.towards)
    return pushed(site, even_traction(site.group, force=pull), {"rope_N": what.force}, site.group.centre)


def wall(what: WallKeys, mesh: Any, group: Any, name: str) -> Any:
    return held_face(mesh, group, fixed=tuple(a for a in "xyz" if a != what.wall), name=name)


TOW = LoadKind(
    "tow", TowKeys, tow, says="A rope.", examples=("[loads.rope]",), names={("off",): "faces"}, permanent=True
)
WALL = SupportKind(
    "wall", WallKeys, wall, lambda what: {"free": what.wall}, says="A wall.", examples=("[supports.w]",)
)


def main(given: Sequence[str]) -> dict[str, Any]:
    if given[1:] != ["unregistered"]:
        LOAD_KINDS[TOW.word], SUPPORT_KINDS[WALL.word] = TOW, WALL
    from fem.study.reference import reference_page
    from fem.study.run import answer

    try:
        from fem.study.file import read_study

        found = answer(read_study(given[0])).findings
    except InputError as error:
        return {"wrong": str(error)}
    case = found.cases["all"]
    page = reference_page()
    return {
        "loads": found.loads,
        "supports": found.supports,
        "applied_N": case.applied_N,
        "reaction_N": case.reaction_N,
        "mean_mm": case.faces["far"].displacement_mm,
        "told": [line for line in page.splitlines() if "`tow" in line or "`wall" in line],
    }


if __name__ == "__main__":
    print(json.dumps(main(sys.argv[1:])))
