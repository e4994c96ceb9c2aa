"""From the checked form of a study to its plans: `BodyPlan`, `FaceQuery`, `SupportPlan`, `LoadPlan`."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from fem.columns import Column, read_columns
from fem.errors import InputError, nearest
from fem.joining.bolt_plan import BoltPlan
from fem.joining.joint import JointPlan
from fem.judging.bench import BenchTest
from fem.judging.measured import MeasuredCurve
from fem.loading.kinds import LOAD_KINDS
from fem.loading.plan import LoadPlan, SupportPlan
from fem.loading.values import Vector
from fem.part.faces import FaceQuery
from fem.printing.keys import LaminateKeys, PrintKeys
from fem.study.fingerprint import file_digest
from fem.study.form import key_path
from fem.study.plans import DEFAULT_ACCURACY, FINEST_VOXEL, BodyPlan, Judging

if TYPE_CHECKING:
    from fem.study.keys import JudgeForm
    from fem.study.keys.bench import BenchForm
    from fem.study.keys.bodies import BodyForm, LaminateForm, PrintForm
    from fem.study.keys.bolts import BoltForm
    from fem.study.keys.faces import FaceForm
    from fem.study.keys.joints import JointForm
    from fem.study.keys.loads import LoadForm
    from fem.study.keys.supports import SupportForm


def vector(three: Iterable[float]) -> Vector:
    """Three numbers as a plan keeps them."""
    x, y, z = three
    return float(x), float(y), float(z)


def _maybe(three: Iterable[float] | None) -> Vector | None:
    return None if three is None else vector(three)


def body_plan(name: str, form: BodyForm, file: Path) -> BodyPlan:
    """One body. Errors: InputError where its solid is not there, or it cannot be printed so."""
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
        accuracy=form.mesh.accuracy,
        most_unknowns=form.mesh.most_unknowns,
        print=None if form.print is None else _print(form.print, file, where=f"{where}.print"),
        metal=None if form.metal is None else _card(form.metal, file),
        laminate=None if form.laminate is None else _laminate(form.laminate, file, where=f"{where}.laminate"),
        **form.model_dump(include={"unit", "any_size", "state", "part", "fused"}),
    )


def with_accuracy(bodies: Iterable[BodyPlan]) -> dict[str, BodyPlan]:
    """The bodies by name; where none of them names the size of its mesh or an accuracy, the mesh is chosen."""
    named = {body.name: body for body in bodies}
    if any(body.size is not None or body.accuracy is not None for body in named.values()):
        return named
    return {name: replace(body, accuracy=DEFAULT_ACCURACY) for name, body in named.items()}


def _print(form: PrintForm, file: Path, *, where: str) -> PrintKeys:
    keys = PrintKeys(
        polymer=_card(form.polymer, file),
        state=form.state,
        card=form.card,
        temperature=form.temperature,
        build_direction=vector(form.build_direction),
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
        infill_quality=1.0 if form.quality is None else form.quality.infill,
    )
    try:
        _ = keys.plan
    except InputError as error:
        raise InputError(error.message, where=where, advice=error.advice) from None
    return keys


def _laminate(form: LaminateForm, file: Path, *, where: str) -> LaminateKeys:
    try:
        return LaminateKeys(
            card=_card(form.card, file),
            state=form.state,
            plies=tuple(float(angle) for angle in form.plies),
            fibre=vector(form.fibre),
            normal=vector(form.normal),
            temperature=form.temperature,
        )
    except InputError as error:
        raise InputError(error.message, where=where, advice=error.advice) from None


def _left_out(form: PrintForm) -> tuple[str, ...]:
    """The values of a print that the study leaves to their defaults, in words."""
    fields = type(form).model_fields
    names = [key for key in fields if key not in form.model_fields_set and fields[key].default not in (None, {})]
    bead = [f"bead {key}" for key in type(form.bead).model_fields if key not in form.bead.model_fields_set]
    return (*(key.replace("_", " ") for key in names if key != "bead"), *bead)


def _card(name: str, file: Path) -> str:
    """A card's name as it is; the path of a card file made absolute, read from where the study lies."""
    return os.path.abspath(file.parent / name) if name.endswith(".toml") or "/" in name else name


def judging(form: JudgeForm, bodies: Iterable[BodyPlan], file: Path) -> Judging:
    """What is solved bead by bead. Errors: InputError for a voxel that does not suit the beads of a body."""
    judge = Judging(form.zoom, form.whole, form.voxel)
    for body in bodies if judge.voxel is not None else ():
        if body.print is not None:
            refuse_voxel(judge.voxel or 0.0, body.name, body.print.bead_width, where=f"{file}: judge.voxel")
    return judge


def refuse_voxel(voxel: float, body: str, bead_width: float, *, where: str) -> None:
    """Errors: InputError for an edge [mm] of boxes that is wider than a bead [mm] or needlessly fine."""
    finest = bead_width / FINEST_VOXEL
    advice = f'Leave it out, or write voxel = "{bead_width / 4:.4g} mm".'
    if voxel > bead_width * (1 + 1e-9):
        told = f"{voxel:g} mm is wider than a bead of {body}, {bead_width:g} mm: beads could not be told apart."
        raise InputError(told, where=where, advice=advice)
    if voxel < finest * (1 - 1e-9):
        told = f"{voxel:g} mm is less than 1/{FINEST_VOXEL} of a bead of {body}, {finest:.3g} mm."
        raise InputError(told, where=where, advice=advice)


def face_query(form: FaceForm) -> FaceQuery:
    """What is asked of a face. Errors: FaceError as for `FaceQuery`."""
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
        low=None if form.within is None else vector(form.within.low),
        high=None if form.within is None else vector(form.within.high),
        cut=None if form.cut is None else (vector(form.cut.low), vector(form.cut.high)),
    )


def support_plan(name: str, form: SupportForm) -> SupportPlan:
    """What holds a face."""
    return SupportPlan(name, form.kind, form.what, form.face)


def joint_plan(name: str, form: JointForm) -> JointPlan:
    """Two faces that meet; further clearances are tried as well."""
    first, second = form.faces
    asked, *fits = form.clearance
    return JointPlan(name, (first, second), form.kind, form.friction, asked, tuple(fits))


def bolt_plan(name: str, form: BoltForm, file: Path) -> BoltPlan:
    """A bolt by its standard. Errors: InputError for a size, a grade, a holder that there is none of."""
    keys = {key: value for key, value in form.model_dump().items() if value is not None}
    try:
        return BoltPlan(name, **keys)
    except InputError as error:
        raise error.inside(str(file)) from None


def bench_test(name: str, form: BenchForm, cases: Mapping[str, Mapping[str, float]], file: Path) -> BenchTest:
    """A test of the printed part, its curve read. Errors: InputError for a case that does not exist, a load that it
    lacks, and a curve that is none.
    """
    where = f"{file}: {key_path(('bench', name))}"
    case = form.case or next(iter(cases))
    if form.case is None and len(cases) > 1:
        raise InputError(
            "the study has several cases.", where=f"{where}.case", advice=f"Name one: {', '.join(cases)}."
        )
    if case not in cases:
        advice = nearest(case, list(cases)) or f"There are: {', '.join(cases)}."
        raise InputError(f'there is no case "{case}".', where=f"{where}.case", advice=advice)
    if form.load is not None and not cases[case].get(form.load):
        advice = f"It has: {', '.join(cases[case])}."
        raise InputError(f'case {case} holds no load "{form.load}".', where=f"{where}.load", advice=advice)
    wanted = {
        "load": Column("force", form.columns.load or ""),
        "deflection": Column("length", form.columns.deflection or ""),
    }
    try:
        place = file.parent / form.curve
        read = read_columns(place, wanted)
        curve = MeasuredCurve(read["deflection"], read["load"], form.compliance or 0.0)
    except InputError as error:
        raise error.inside(f"{where}.curve") from None
    return BenchTest(
        name,
        curve,
        case,
        load=form.load or "",
        point=form.point or "",
        face=form.face or "",
        direction=_maybe(form.direction),
        mass=None if form.mass is None else 1e6 * form.mass,
        file=place.name,
        sha256=file_digest(place),
        print_time=None if form.print_time is None else form.print_time / 3600,
        **form.model_dump(include={"first_knee", "failure", "stopped"}),
    )


def load_plan(name: str, form: LoadForm) -> LoadPlan:
    """One load; where the study does not say whether it is permanent, its kind does."""
    permanent = LOAD_KINDS[form.kind].permanent if form.permanent is None else form.permanent
    return LoadPlan(name, form.kind, form.what, form.face, permanent, form.scatter)
