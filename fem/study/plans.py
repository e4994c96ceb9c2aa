"""What a study asks for, as plain numbers in mm, N, MPa, tonne, s, K: the nouns that the study file is read into.

Nothing here knows the file's form (`keys/`) or how it is read (`file.py`, `to_plans.py`).
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from fem.joining.bolt_plan import BoltPlan
from fem.joining.joint import JointPlan
from fem.judging.bench import BenchTest
from fem.judging.requirements import Requirements
from fem.loading.plan import LoadPlan, SupportPlan
from fem.loading.values import Vector
from fem.part.faces import FaceQuery
from fem.printing.keys import LaminateKeys, PrintKeys

MOST_ZOOMS = 20
"""Places of a case that may be asked to be solved bead by bead."""
FINEST_VOXEL = 12
"""Boxes across a bead, beyond which finer ones would tell nothing more."""

LEAST_ACCURACY, MOST_ACCURACY = 0.005, 0.5
"""Shares between which the accuracy of a mesh may be asked for."""
DEFAULT_ACCURACY = 0.05
"""What the mesh is chosen for where a study names neither a size nor an accuracy, for any of its bodies."""
MOST_UNKNOWNS = 1_500_000
"""Unknowns up to which a mesh is refined for its accuracy where the study does not say."""


@dataclass(frozen=True)
class BodyPlan:
    """One body: `solid` its file, `unit` the length unit it was drawn in where the format has none, `size` and
    `finest` the mesh [mm] (None: chosen from the solid); one of `print`, `metal` (with `state`) and `laminate` is
    set. `part` is the number (from one) or name of the solid in a file of several, `fused` joins them all. With an
    `accuracy` (a share) `size` is that of the first mesh only, and `most_unknowns` bounds the last.
    """

    name: str
    solid: Path
    unit: str | None
    any_size: bool
    size: float | None
    finest: float | None
    print: PrintKeys | None
    metal: str | None
    state: str | None
    part: int | str | None = None
    fused: bool = False
    accuracy: float | None = None
    most_unknowns: int | None = None
    laminate: LaminateKeys | None = None

    @property
    def card_name(self) -> str:
        """Name or file of the material card."""
        if self.laminate is not None:
            return self.laminate.card
        return self.metal or "" if self.print is None else self.print.polymer


@dataclass(frozen=True)
class Judging:
    """What is solved bead by bead besides the homogenised answer.

    `zoom` is the number of places a case (None: those where the homogenised answer is not to be trusted), `whole`
    whether every printed body is solved so, `voxel` [mm] the edge in the layer of the boxes (None: chosen from the
    bead).
    """

    zoom: int | None = None
    whole: bool = False
    voxel: float | None = None


@dataclass(frozen=True)
class Study:
    """A study file as read and checked.

    `currency` is the money of prices and costs, "" where the study does not say. `cases` holds factors by load;
    `points` (3,) [mm]; `watch` the faces whose mean displacement, turn and stiffness are asked for; `variants` and
    `sweep` change its tables by dotted paths, which reading the study does not look into (`variants/expand.py` does);
    a `draft`'s supports, loads and materials are guesses.

    Where it comes from can only be read: `text` the file as it stood, `tree` its tables as parsed and changed,
    `variant` the name of the variant it is, `changes` what was changed, in the file's own words. To change a study,
    use `with_`; what `dataclasses.replace` gives has no text, since no file says what it holds.
    """

    path: Path
    title: str
    question: str
    currency: str
    bodies: Mapping[str, BodyPlan]
    faces: Mapping[str, FaceQuery]
    supports: Mapping[str, SupportPlan]
    loads: Mapping[str, LoadPlan]
    cases: Mapping[str, Mapping[str, float]]
    points: Mapping[str, Vector]
    watch: tuple[str, ...]
    requirements: Requirements
    solver: str
    judge: Judging = Judging()
    variants: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    sweep: Mapping[str, tuple[Any, ...]] = field(default_factory=dict)
    draft: bool = False
    joints: Mapping[str, JointPlan] = field(default_factory=dict)
    bolts: Mapping[str, BoltPlan] = field(default_factory=dict)
    bench: Mapping[str, BenchTest] = field(default_factory=dict)
    text: str = field(default="", init=False)
    tree: Mapping[str, Any] = field(default_factory=dict, init=False, repr=False)
    variant: str = field(default="", init=False)
    changes: Mapping[str, str] = field(default_factory=dict, init=False)

    @classmethod
    def read(cls, path: Any) -> Study:
        """The study that stands in a file. Errors: InputError, all that is wrong with it at once."""
        from fem.study.file import read_study

        return read_study(path)

    @classmethod
    def of(cls, tables: Mapping[str, Any], *, folder: Any = ".", name: str = "study") -> Study:
        """A study without a file, from the same tables as a file has, `{"title": ..., "bodies": {...}}`.

        Solids and cards are looked for from `folder`; `name` stands in messages and names the results. Its `text` is
        the file that says the same. Errors: InputError as for reading a file, all that is wrong at once.
        """
        from fem.study.tables import study_from_tables

        return study_from_tables(tables, folder=folder, name=name)

    def with_(self, changes: Mapping[str, Any]) -> Study:
        """The study with values put at dotted paths, `{"bodies.saddle.print.walls": 3}`, read and checked anew.

        Values are as in the file ("0.4 mm"). Errors: InputError as for reading a file; a path that no key has; a
        study that stands in no file.
        """
        from fem.study.change import changed

        return changed(self, changes, where=str(self.path))

    @property
    def accuracy(self) -> float | None:
        """The accuracy (a share) that the mesh is chosen for, the tightest of all bodies; None: sizes are given."""
        return min((b.accuracy for b in self.bodies.values() if b.accuracy is not None), default=None)

    @property
    def most_unknowns(self) -> int:
        """Unknowns of all bodies up to which a mesh is refined."""
        return min(
            (b.most_unknowns for b in self.bodies.values() if b.most_unknowns is not None), default=MOST_UNKNOWNS
        )

    @property
    def sha256(self) -> str:
        """Digest of the file's text; "" for a study that stands in no file."""
        return hashlib.sha256(self.text.encode()).hexdigest() if self.text else ""

    @cached_property
    def solid_sha256(self) -> dict[str, str]:
        """Digest of each body's solid, taken as the study is read. Errors: OSError."""
        from fem.study.fingerprint import file_digest

        return {name: file_digest(body.solid) for name, body in self.bodies.items()}

    @cached_property
    def card_sha256(self) -> dict[str, str]:
        """Digest of each body's card, taken as the study is read; of its name where it cannot be read."""
        from fem.printing.polymer import card_digest

        return {name: card_digest(body.card_name) for name, body in self.bodies.items()}

    @property
    def inputs(self) -> dict[str, Any]:
        """What findings.json repeats of the input, so that a result can be traced to its files."""
        tests = {} if self.variant else self.bench
        return {
            **({"variant": self.variant} if self.variant else {}),
            **({"changes": dict(self.changes)} if self.changes else {}),
            "study": self.path.name if self.text else f"{self.path.name}, changed by a script: no file holds it",
            "text": self.text,
            "sha256": self.sha256,
            "solids": {
                name: {"file": body.solid.name, "sha256": self.solid_sha256[name]}
                for name, body in self.bodies.items()
            },
            "cards": {
                name: {"card": Path(body.card_name).name, "sha256": self.card_sha256[name]}
                for name, body in self.bodies.items()
            },
            **({"curves": {n: {"file": t.file, "sha256": t.sha256} for n, t in tests.items()}} if tests else {}),
        }

    def _repr_html_(self) -> str:
        from fem.study.tables import study_html

        return study_html(self)
