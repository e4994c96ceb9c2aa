"""The form of a study file: which keys there are, what each may hold, and what is assumed where one is left out.

These modules need pydantic and are loaded only when a study is read. A quantity is text with a unit in the file and
a plain number (mm, N, MPa, tonne, s, K) once read.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from fem.study.keys.bodies import BodyForm
from fem.study.keys.faces import FaceForm
from fem.study.keys.loads import LoadForm
from fem.study.keys.supports import SupportForm
from fem.study.keys.values import Angle, Extent, Form, Mass, Name, Point, Positive, fault

LATER = {
    "joints": "joints between bodies",
}
"""Tables that a study may not hold yet, and what they would bring."""
RENAMED = {
    "hold": "fixed",
    "bed": "foundation",
    "clamp": "preload",
    "ring": "washer",
    "shift": "displacement",
    "warming": "temperature_change",
    "share": "weight_fraction",
    "left_share": "left_fraction",
    "drag_ratio": "drag_to_lift",
    "centre": "centre_of_pressure",
    "turn": "rotation",
    "skins": "covers",
}
"""Keys of older versions, and what they are called now."""


class WatchForm(Form):
    faces: list[Name] = []


class RequirementsForm(Form):
    reserve: Positive | None = None
    rotation: dict[Name, Angle] = {}
    displacement: dict[Name, Extent] = {}
    mass: Mass | None = None
    deflection: Extent | None = None


class StudyForm(Form):
    title: Name
    question: str = ""
    currency: Annotated[str, Field(min_length=1, max_length=8)] | None = None
    bodies: Annotated[dict[Name, BodyForm], Field(min_length=1)]
    faces: dict[Name, FaceForm] = {}
    supports: dict[Name, SupportForm] = {}
    loads: Annotated[dict[Name, LoadForm], Field(min_length=1)]
    cases: dict[Name, Annotated[dict[Name, float], Field(min_length=1)]] = {}
    points: dict[Name, Point] = {}
    watch: WatchForm = WatchForm()
    requirements: RequirementsForm = RequirementsForm()
    solver: Literal["auto", "multigrid", "direct", "distributed"] = "auto"
    variants: dict[Name, dict[Name, Any]] = {}
    sweep: dict[Name, Annotated[list[Any], Field(min_length=1)]] = {}

    @model_validator(mode="before")
    @classmethod
    def _nothing_of_later(cls, data: Any) -> Any:
        for key in LATER:
            if isinstance(data, dict) and key in data:
                raise fault(f"[{key}] is not accepted yet: {LATER[key]} cannot be computed.", "Remove the table.")
        return data


def known_keys(place: tuple[Any, ...]) -> list[str]:
    """The keys that the table at this place of the file may hold; empty where it holds names of the user's own."""
    return list(getattr(form_at(place), "model_fields", {}))


def renamed(place: tuple[Any, ...]) -> str:
    """The present name of a key of an older version at this place of the file; "" where it never was one."""
    new = RENAMED.get(str(place[-1]), "")
    return new if new in known_keys(place[:-1]) else ""


def form_at(place: tuple[Any, ...]) -> Any:
    """What may stand at this place of the file: a form, `dict[...]`, `list[...]`, a plain type; None: no key."""
    form: Any = StudyForm
    for step in place:
        fields = getattr(form, "model_fields", None)
        if fields is not None:
            if step not in fields:
                return None
            form = _inside(fields[step].annotation)
        elif getattr(form, "__origin__", None) in (dict, list):
            form = _inside(form.__args__[-1])
    return form


def _inside(annotation: Any) -> Any:
    """The type itself, without Annotated and `| None`."""
    while True:
        origin = getattr(annotation, "__origin__", None)
        options = [a for a in getattr(annotation, "__args__", ()) if a is not type(None)]
        if hasattr(annotation, "__metadata__"):
            annotation = origin
        elif origin not in (dict, list) and len(options) == 1:
            annotation = options[0]
        else:
            return annotation
