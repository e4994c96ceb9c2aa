"""The form of a study file: which keys there are, what each may hold, and what is assumed where one is left out.

These modules need pydantic and are loaded only when a study is read. A quantity is text with a unit in the file and
a plain number (mm, N, MPa, tonne, s, K) once read.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from fem.loading.kinds import LOAD_KINDS, SUPPORT_KINDS
from fem.study.keys.bench import BenchForm
from fem.study.keys.bodies import BodyForm
from fem.study.keys.bolts import BoltForm
from fem.study.keys.faces import FaceForm
from fem.study.keys.forms import PLAIN, TABLE
from fem.study.keys.joints import JointForm
from fem.study.keys.loads import LoadForm
from fem.study.keys.supports import SupportForm
from fem.study.keys.values import Angle, Extent, Form, Mass, Name, Point, Positive, Preload
from fem.study.plans import FINEST_VOXEL, MOST_ZOOMS

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
    faces: list[Name] = Field(
        default=[],
        description="Faces whose mean displacement, rotation and 6 × 6 stiffness are told.",
        examples=['[watch]\nfaces = ["pad", "back"]'],
    )


class RequirementsForm(Form):
    reserve: Positive | None = Field(default=None, description="Minimum reserve factor of every case.")
    reserve_away: Positive | None = Field(
        default=None,
        description="Minimum reserve factor of every case away from singular places: edges of supports and loads, "
        "and sharp corners where several meshes tell them. `reserve` counts these places, too.",
        examples=["[requirements]\nreserve = 1.0\nreserve_away = 2.0"],
    )
    load: dict[Name, Preload] = Field(
        default={},
        description="Safe load: the force that a load of this name must reach, on its face and in its direction, "
        "before the first bead fails, in every case in which it grows. The other loads of the case grow with it; "
        "permanent ones stay as they are.",
        examples=['[requirements]\nload = { hang = "300 N" }'],
    )
    chance: Annotated[float | None, Field(gt=0, lt=1)] = Field(
        default=None,
        description="Minimum chance, in every case, that the required reserve factor (1 if none is required) is "
        "there, as strengths, stiffness and loads scatter. `beadwork orient` leaves it out.",
        examples=["[requirements]\nreserve = 1.5\nchance = 0.99"],
    )
    rotation: dict[Name, Angle] = Field(
        default={},
        description="Maximum rotation of a face, in every case.",
        examples=['[requirements]\nrotation = { pad = "0.4 deg" }'],
    )
    displacement: dict[Name, Extent] = Field(
        default={},
        description="Maximum mean displacement of a face, in every case.",
        examples=['[requirements]\ndisplacement = { pad = "2 mm" }'],
    )
    mass: Mass | None = Field(default=None, description="Maximum mass of all bodies together.")
    deflection: Extent | None = Field(
        default=None,
        description="Maximum displacement of any point, in every case.",
        examples=['[requirements]\nreserve = 2.0\nmass = "60 g"\ndeflection = "2.5 mm"'],
    )


class JudgeForm(Form):
    zoom: Annotated[int | None, Field(ge=0, le=MOST_ZOOMS)] = Field(
        default=None,
        description="Places of each case that are solved bead by bead, the worst first; 0 for none. Those where the "
        "homogenised answer is not to be trusted if left out. Of a comparison only the leaders are solved so.",
        examples=["[judge]\nzoom = 3"],
    )
    whole: bool = Field(
        default=False,
        description="Solve every printed body bead by bead as a whole. Takes minutes and much memory.",
        examples=['[judge]\nwhole = true\nvoxel = "0.225 mm"'],
    )
    voxel: Extent | None = Field(
        default=None,
        description="Edge, in the layer, of the boxes that the beads are made of: at most a bead's width, at least "
        f"1/{FINEST_VOXEL} of it. Chosen from the bead if left out. Beside `whole` it counts for the whole "
        "part alone, which takes half a bead's width if it is left out.",
    )


class StudyForm(Form):
    title: Name = Field(description="What the study is called on every page.")
    question: str = Field(default="", description="What the study is to find out, in a sentence.")
    currency: Annotated[str, Field(min_length=1, max_length=8)] | None = Field(
        default=None, description="Money in which prices and costs are given, such as `EUR`."
    )
    draft: bool = Field(
        default=False,
        description="Supports, loads and materials are guesses, as `beadwork draft` writes them: every result says "
        "so until this line is deleted.",
        examples=["draft = true"],
    )
    solver: Literal["auto", "multigrid", "direct", "distributed"] = Field(
        default="auto",
        description="Conjugate gradients with multigrid, a factorisation, or multigrid shared among ranks. "
        "`auto` takes multigrid, and a factorisation where the iteration does not arrive.",
    )
    bodies: Annotated[dict[Name, BodyForm], Field(min_length=1)] = Field(
        description="The solids, their meshes and their materials. Bodies are joined "
        "by `joints` alone; what these leave free needs supports."
    )
    faces: dict[Name, FaceForm] = Field(
        default={}, description="Names for faces of the solids. Keys of one name narrow each other down."
    )
    supports: dict[Name, SupportForm] = Field(
        default={},
        description=f"What holds the part. Each says exactly one of {', '.join(f'`{k}`' for k in SUPPORT_KINDS)}.",
    )
    joints: dict[Name, JointForm] = Field(
        default={}, description="Faces of different bodies that meet: they push, rub and part, or are glued."
    )
    bolts: dict[Name, BoltForm] = Field(
        default={}, description="Bolts: tightened first, then locked and loaded with every case."
    )
    loads: Annotated[dict[Name, LoadForm], Field(min_length=1)] = Field(
        description=f"What acts on the part. Each says exactly one of {', '.join(f'`{k}`' for k in LOAD_KINDS)}."
    )
    cases: dict[Name, Annotated[dict[Name, float], Field(min_length=1)]] = Field(
        default={},
        description="Loads that act together, each with a factor. All loads at factor 1 if left out.",
        examples=["[cases]\nlifted = { hang = -0.5 }\nheavy = { hang = 2.5 }"],
    )
    points: dict[Name, Point] = Field(
        default={},
        description="Points of the part whose displacement is told.",
        examples=['[points]\ncorner = ["80 mm", "15 mm", "10 mm"]'],
    )
    watch: WatchForm = Field(default=WatchForm(), description="What is watched.")
    requirements: RequirementsForm = Field(
        default=RequirementsForm(),
        description="What the part must meet. Limits hold in every case; those of a face or a load go by its name.",
    )
    judge: JudgeForm = Field(
        default=JudgeForm(),
        description="What is solved bead by bead besides the homogenised answer.",
    )
    bench: dict[Name, BenchForm] = Field(
        default={},
        description="Tests of the printed part itself: the report draws each measured curve beside its prediction. "
        "They are of the part as the file describes it; variants have none.",
    )
    variants: dict[Name, dict[Name, Any]] = Field(
        default={},
        description="Variants for `beadwork compare`: paths of keys in quotes, and their values. `reference = true` "
        "marks the one that the others are compared with, `cost` is its price where the program cannot know it.",
        examples=[
            '[variants.machined]\n"bodies.bracket.metal" = "6082-t6"\nreference = true\ncost = 140',
            '[variants.upright]\n"bodies.bracket.print.build_direction" = [0, 0, 1]',
        ],
    )
    sweep: dict[Name, Annotated[list[Any], Field(min_length=1)]] = Field(
        default={},
        description="Paths of keys in quotes, each with a list of values; every combination is a variant.",
        examples=['[sweep]\n"bodies.bracket.print.walls" = [2, 4]\n"bodies.bracket.mesh.size" = ["6 mm", "4 mm"]'],
    )


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
        if step in (PLAIN, TABLE):  # which of two forms was meant; no key of the file
            continue
        fields = getattr(form, "model_fields", None)
        if fields is not None:
            if step not in fields:
                return None
            form = inside(fields[step].annotation)
        elif getattr(form, "__origin__", None) in (dict, list):
            form = inside(form.__args__[-1])
    return form


def inside(annotation: Any) -> Any:
    """The type itself, without Annotated and `| None`."""
    while True:
        origin = getattr(annotation, "__origin__", None)
        options = [a for a in getattr(annotation, "__args__", ()) if a is not type(None)]
        forms = [a for a in options if hasattr(bare(a), "model_fields")]
        if hasattr(annotation, "__metadata__"):
            annotation = origin
        elif origin not in (dict, list) and len(options) > 1 and len(forms) == 1:
            annotation = forms[0]
        elif origin not in (dict, list) and len(options) == 1:
            annotation = options[0]
        else:
            return annotation


def bare(annotation: Any) -> Any:
    """A type without Annotated."""
    return annotation.__origin__ if hasattr(annotation, "__metadata__") else annotation
