"""Read a study file: its text becomes tables (here), these a checked form (`form.py`, `names.py`), and that a `Study`
of plain numbers (`to_plans.py`).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fem.errors import Faults, InputError, nearest, toml_trouble
from fem.judging.requirements import Requirements
from fem.study.form import checked_form
from fem.study.plans import Judging, Study
from fem.study.to_plans import (
    bench_test,
    body_plan,
    bolt_plan,
    face_query,
    joint_plan,
    judging,
    load_plan,
    support_plan,
    vector,
    with_accuracy,
)

LARGEST_STUDY = 4_000_000
"""A study file with more bytes than this is some other file."""


def read_study(path: Any) -> Study:
    """Read and check the study at `path`; solids are looked for beside it, but not opened as solids yet. A `Study` is
    given back as it is, so that whatever takes a study's file takes a study too.

    Errors: InputError: no such file, not TOML, or all of its unknown, missing and misshapen keys, quantities without
    or with the wrong unit, and names that stand for nothing, a line each.
    """
    if isinstance(path, Study):
        return path
    file = Path(path)
    text = _text(file)
    return study_of(_parsed(text, file), file=file, text=text)


def study_of(
    tree: dict[str, Any], *, file: Path, text: str, variant: str = "", changes: Mapping[str, str] | None = None
) -> Study:
    """The study that a parsed file's tables hold; `variant` and `changes` say what was changed in them, if anything.

    Errors: InputError as for `read_study`.
    """
    form, faults = checked_form(tree, file), Faults()
    bodies = {name: faults.of(body_plan, name, body, file) for name, body in form.bodies.items()}
    bolts = {name: faults.of(bolt_plan, name, bolt, file) for name, bolt in form.bolts.items()}
    cases = form.cases or {"all": dict.fromkeys(form.loads, 1.0)}
    bench = {name: faults.of(bench_test, name, test, cases, file) for name, test in form.bench.items()}
    read = [body for body in bodies.values() if body is not None]
    judge = faults.of(judging, form.judge, read, file)
    faults.refuse(str(file))
    study = Study(
        path=file,
        title=form.title,
        currency=form.currency or "",
        question=form.question,
        bodies=with_accuracy(read),
        faces={name: face_query(face) for name, face in form.faces.items()},
        supports={name: support_plan(name, support) for name, support in form.supports.items()},
        loads={name: load_plan(name, load) for name, load in form.loads.items()},
        cases=cases,
        points={name: vector(point) for name, point in form.points.items()},
        watch=tuple(dict.fromkeys([*form.watch.faces, *form.requirements.rotation, *form.requirements.displacement])),
        requirements=Requirements(**form.requirements.model_dump()),
        solver=form.solver,
        judge=judge or Judging(),
        variants=form.variants,
        sweep={path: tuple(values) for path, values in form.sweep.items()},
        draft=form.draft,
        joints={name: joint_plan(name, joint) for name, joint in form.joints.items()},
        bolts={name: bolt for name, bolt in bolts.items() if bolt is not None},
        bench={name: test for name, test in bench.items() if test is not None},
    )
    # Only here is it known that plans and text belong together
    for name, value in {"text": text, "tree": tree, "variant": variant, "changes": dict(changes or {})}.items():
        object.__setattr__(study, name, value)
    _ = study.solid_sha256, study.card_sha256  # of the files as they are now
    return study


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
