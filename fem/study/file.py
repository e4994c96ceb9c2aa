"""Read a study file: its text becomes a `Study` of plain numbers, or one line that says what is wrong where.

The line has the form `file: key.path: what is wrong. What to do.`
"""

from __future__ import annotations

import json
import os
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.errors import InputError, nearest, toml_trouble
from fem.loading.kinds import KINDS
from fem.loading.plan import ForceKeys, LoadKeys, LoadPlan, PressureKeys
from fem.loading.pressure import DepthPressure
from fem.loading.spot import Spot
from fem.part.faces import FaceQuery
from fem.study.plans import (
    BodyPlan,
    PrintKeys,
    Requirements,
    Study,
    SupportPlan,
    Vector,
)

if TYPE_CHECKING:
    from fem.study.keys import StudyForm
    from fem.study.keys.bodies import BodyForm, PrintForm
    from fem.study.keys.faces import FaceForm
    from fem.study.keys.loads import LoadForm
    from fem.study.keys.supports import SupportForm

LARGEST_STUDY = 4_000_000
"""A study file with more bytes than this is some other file."""


def read_study(path: Any) -> Study:
    """Read and check the study at `path`; solids are looked for beside it, but not opened as solids yet.

    Errors: InputError with one line: no such file, not TOML, an unknown, missing or misshapen key, a quantity
    without or with the wrong unit, a name that stands for nothing.
    """
    file = Path(path)
    text = _text(file)
    return study_of(_parsed(text, file), file=file, text=text)


def study_of(
    tree: dict[str, Any], *, file: Path, text: str, variant: str = "", changes: Mapping[str, str] | None = None
) -> Study:
    """The study that a parsed file's tables hold; `variant` and `changes` say what was changed in them, if anything.

    Errors: InputError as for `read_study`.
    """
    form = _checked(tree, file)
    bodies = {name: _body(name, body, file) for name, body in form.bodies.items()}
    study = Study(
        path=file,
        title=form.title,
        currency=form.currency or "",
        question=form.question,
        bodies=bodies,
        faces={name: _query(face) for name, face in form.faces.items()},
        supports={name: _support(name, support) for name, support in form.supports.items()},
        loads={name: _load(name, load) for name, load in form.loads.items()},
        cases=form.cases or {"all": dict.fromkeys(form.loads, 1.0)},
        points={name: _vector(point) for name, point in form.points.items()},
        watch=tuple(dict.fromkeys([*form.watch.faces, *form.requirements.rotation, *form.requirements.displacement])),
        requirements=Requirements(**form.requirements.model_dump()),
        solver=form.solver,
        variants=form.variants,
        sweep={path: tuple(values) for path, values in form.sweep.items()},
    )
    # Only here is it known that plans and text belong together
    for name, value in {"text": text, "tree": tree, "variant": variant, "changes": dict(changes or {})}.items():
        object.__setattr__(study, name, value)
    _refuse_unknown_names(study)
    _ = study.solid_sha256, study.card_sha256  # of the files as they are now
    return study


# ---- from bytes to a checked form


def _text(file: Path) -> str:
    where = str(file)
    if file.is_dir():
        raise InputError("this is a folder, not a study file.", where=where)
    if not file.is_file():
        beside = [p.name for p in file.parent.glob("*.toml")] if file.parent.is_dir() else []
        raise InputError("there is no such file.", where=where, advice=nearest(file.name, beside))
    try:
        raw = file.read_bytes() if file.stat().st_size <= LARGEST_STUDY else b"\xff"
        text = raw.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError:
        advice = "A study file is text in UTF-8 and TOML form."
        raise InputError("this is not a text file.", where=where, advice=advice) from None
    except OSError as error:
        raise InputError(f"the file cannot be read: {error.strerror}.", where=where) from None
    if not text.strip():
        raise InputError("the file is empty.", where=where)
    return text


def _parsed(text: str, file: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        told = re.fullmatch(r"(.*) \(at (.*)\)", toml_trouble(error), re.DOTALL)
        what, place = told.groups() if told else (toml_trouble(error), "")
        twice = re.fullmatch(r"Cannot declare \((.*)\) twice", what)
        if twice:
            table = ".".join(re.findall(r"'([^']*)'", twice[1]))
            raise InputError(
                f"[{table}] stands here a second time.", where=f"{file}: {place}", advice="Give it a name of its own."
            ) from None
        if what == "Cannot overwrite a value":
            what, advice = "a key stands here a second time", "Keep one of them."
        else:
            what, advice = what[:1].lower() + what[1:].rstrip("."), "Correct this line; the file is in TOML form."
        raise InputError(f"{what}.", where=f"{file}: {place}" if place else str(file), advice=advice) from None


def _checked(data: dict[str, Any], file: Path) -> StudyForm:
    from pydantic import ValidationError

    from fem.study.keys import StudyForm

    try:
        return StudyForm.model_validate(data)
    except ValidationError as error:
        # a misspelt key often leaves another one missing: name the spelling first
        found = sorted(error.errors(), key=lambda e: e["type"] != "extra_forbidden")
        first = found[0]
    what, advice = _in_words(first)
    raise InputError(what, where=f"{file}: {key_path(first['loc'])}".removesuffix(": "), advice=advice)


SILENT = ("[key]", "[even]", "[growing]")
"""Steps that tell forms apart and are no keys of the file."""


def key_path(steps: Iterable[Any]) -> str:
    """The place in the file as the user would write it: `loads.lift.force[1]`."""
    out = ""
    for step in steps:
        if isinstance(step, int):
            out += f"[{step + 1}]"
        elif step not in SILENT:
            plain = step if re.fullmatch(r"[A-Za-z0-9_-]+", step) else json.dumps(step, ensure_ascii=False)
            out += f".{plain}" if out else plain
    return out


WANTED = {
    "string_type": "must be text in quotes",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "float_type": "must be a number without a unit",
    "finite_number": "must be a finite number",
    "bool_type": "must be true or false",
    "list_type": "must be a list in square brackets",
    "dict_type": "must be a table",
    "model_type": "must be a table",
    "model_attributes_type": "must be a table",
}
"""Kinds of a misshapen value -> what it must be."""


def _in_words(error: Mapping[str, Any]) -> tuple[str, str]:
    """What is wrong and what to do, for one error of the form's check."""
    from fem.study.keys import known_keys, renamed

    kind, value, context = error["type"], _shown(error["input"]), error.get("ctx", {})
    if kind == "beadwork":
        return context["message"], context["advice"]
    if kind == "extra_forbidden" and (new := renamed(error["loc"])):
        return f'this key is called "{new}" now.', "Rename it."
    if kind == "extra_forbidden":
        return "unknown key.", nearest(str(error["loc"][-1]), known_keys(error["loc"][:-1]))
    if kind == "missing":
        return "this key is missing.", "Add it."
    if kind in WANTED:
        return f"{WANTED[kind]}, not {value}.", ""
    if kind in ("too_short", "too_long"):
        bound = context["min_length"] if kind == "too_short" else context["max_length"]
        if bound == 3:
            return f"needs three entries, not {context['actual_length']}.", "One for each of x, y, z."
        return "must not be empty.", ""
    if kind == "string_too_short":
        return "must not be empty.", ""
    bounds = {
        "greater_than": ("gt", "more than"),
        "greater_than_equal": ("ge", "at least"),
        "less_than": ("lt", "less than"),
        "less_than_equal": ("le", "at most"),
    }
    if kind in bounds:
        key, word = bounds[kind]
        return f"must be {word} {context[key]:g}, not {value}.", ""
    if kind == "literal_error":
        return f"{value} is not accepted.", f"Write {context['expected']}."
    return f"{value} is not accepted: {error['msg']}.", ""


def _shown(value: Any) -> str:
    try:
        text = json.dumps(value, ensure_ascii=False, default=str)
    except (TypeError, ValueError):
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."


# ---- from the form to the nouns


def _vector(three: Iterable[float]) -> Vector:
    x, y, z = three
    return float(x), float(y), float(z)


def _maybe(three: Iterable[float] | None) -> Vector | None:
    return None if three is None else _vector(three)


def _body(name: str, form: BodyForm, file: Path) -> BodyPlan:
    where = f"{file}: {key_path(('bodies', name))}"
    solid = file.parent / form.solid
    if not solid.is_file():
        beside = [p.name for p in solid.parent.glob("*") if p.is_file()] if solid.parent.is_dir() else []
        raise InputError(f"there is no file {solid}.", where=f"{where}.solid", advice=nearest(solid.name, beside))
    return BodyPlan(
        name=name,
        solid=solid,
        size=form.mesh.size,
        finest=form.mesh.finest,
        print=None if form.print is None else _print(form.print, file, where=f"{where}.print"),
        metal=None if form.metal is None else _card(form.metal, file),
        **form.model_dump(include={"unit", "any_size", "state", "part", "fused"}),
    )


def _print(form: PrintForm, file: Path, *, where: str) -> PrintKeys:
    keys = PrintKeys(
        polymer=_card(form.polymer, file),
        state=form.state,
        card=form.card,
        temperature=form.temperature,
        build_direction=_vector(form.build_direction),
        raster_zero=_maybe(form.raster_zero),
        bead_width=form.bead.width,
        bead_height=form.bead.height,
        walls=form.walls,
        covers=form.covers,
        raster=tuple(float(angle) for angle in form.raster),
        infill_pattern=form.infill.pattern,
        infill_density=1.0 if form.infill.density is None else form.infill.density,
        infill_angle=form.infill.angle,
        speed=form.speed,
        filament_diameter=form.filament_diameter,
        price_per_kg=form.price_per_kg,
        assumed=_left_out(form),
    )
    try:
        _ = keys.plan
    except InputError as error:
        raise InputError(error.message, where=where, advice=error.advice) from None
    return keys


def _left_out(form: PrintForm) -> tuple[str, ...]:
    """The values of a print that the study leaves to their defaults, in words."""
    fields = type(form).model_fields
    names = [key for key in fields if key not in form.model_fields_set and fields[key].default is not None]
    bead = [f"bead {key}" for key in type(form.bead).model_fields if key not in form.bead.model_fields_set]
    return (*(key.replace("_", " ") for key in names if key != "bead"), *bead)


def _card(name: str, file: Path) -> str:
    """A card's name as it is; the path of a card file made absolute, read from where the study lies."""
    return os.path.abspath(file.parent / name) if name.endswith(".toml") or "/" in name else name


def _query(form: FaceForm) -> FaceQuery:
    from fem.study.keys.faces import SHAPES

    kind = next((shape for shape in SHAPES if getattr(form, shape) is not None), None)
    shape = getattr(form, kind) if kind else None
    return FaceQuery(
        body=form.body,
        kind=kind,
        normal=_maybe(getattr(shape, "normal", None)),
        at=getattr(shape, "at", None),
        radius=getattr(shape, "radius", None),
        axis=_maybe(getattr(shape, "axis", None)),
        near=_maybe(form.near),
        ids=None if form.id is None else tuple(form.id),
        low=None if form.within is None else _vector(form.within.low),
        high=None if form.within is None else _vector(form.within.high),
        cut=None if form.cut is None else (_vector(form.cut.low), _vector(form.cut.high)),
    )


def _support(name: str, form: SupportForm) -> SupportPlan:
    if (on := form.foundation) is not None:
        return SupportPlan(name, form.face, (), on.normal, on.tangential, push_only=on.push_only)
    if form.spring is not None:
        return SupportPlan(name, form.face, spring=(form.spring.x or 0.0, form.spring.y or 0.0, form.spring.z or 0.0))
    return SupportPlan(name, form.face, fixed="normal" if form.fixed == ["normal"] else tuple(form.fixed or ()))


def _load(name: str, form: LoadForm) -> LoadPlan:
    permanent = form.kind == "preload" if form.permanent is None else form.permanent
    return LoadPlan(name, form.kind, _load_keys(form), form.face, permanent)


def _load_keys(form: LoadForm) -> LoadKeys:
    given = _tuples(form.model_dump(include={form.kind, "spot"}))
    what, spot = given[form.kind], given["spot"] and Spot(**given["spot"])
    if form.kind == "force":
        return ForceKeys(what, spot)
    if form.kind == "pressure":
        return PressureKeys(DepthPressure(**what) if isinstance(what, dict) else what, spot)
    keys = KINDS[form.kind].keys
    return keys(**what) if isinstance(what, dict) else keys(what)


def _tuples(value: Any) -> Any:
    """The same with tuples for lists, so that a plan never changes."""
    if isinstance(value, dict):
        return {k: _tuples(v) for k, v in value.items()}
    return tuple(_tuples(v) for v in value) if isinstance(value, list) else value


# ---- names that must stand for something


TABLES = {"body": "bodies", "face": "faces", "load": "loads"}


def _refuse_unknown_names(study: Study) -> None:
    faces, bodies, loads = list(study.faces), list(study.bodies), list(study.loads)

    def known(word: str | None, words: list[str], kind: str, *place: Any) -> None:
        if word is not None and word not in words:
            advice = nearest(word, words) or f"Describe it under [{TABLES[kind]}]."
            raise InputError(f'there is no {kind} "{word}".', where=f"{study.path}: {key_path(place)}", advice=advice)

    for name, query in study.faces.items():
        known(query.body, bodies, "body", "faces", name, "body")
        if query.body is None and len(bodies) > 1:
            raise InputError(
                "with several bodies a face must say whose it is.",
                where=f"{study.path}: {key_path(('faces', name))}",
                advice=f'Add body = "{bodies[0]}" (or {", ".join(bodies[1:])}).',
            )
    for name, support in study.supports.items():
        known(support.face, faces, "face", "supports", name, "face")
    for name, load in study.loads.items():
        known(load.face, faces, "face", "loads", name, "face")
        for key in KINDS[load.kind].faces:
            known(getattr(load.what, key), faces, "face", "loads", name, load.kind, key)
        for i, body in enumerate(getattr(load.what, "bodies", None) or ()):
            known(body, bodies, "body", "loads", name, load.kind, "bodies", i)
    for name, factors in study.cases.items():
        for load_name in factors:
            known(load_name, loads, "load", "cases", name, load_name)
    asked = {"rotation": study.requirements.rotation, "displacement": study.requirements.displacement}
    for key, limits in asked.items():
        for face in limits:
            known(face, faces, "face", "requirements", key, face)
    for i, face in enumerate(study.watch):
        known(face, faces, "face", "watch", "faces", i)
