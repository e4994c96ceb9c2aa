"""A drafted study as a file: what stands in it, what is offered as a comment, which lines are to be edited."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fem.digits import number
from fem.errors import printable
from fem.part.query_text import (
    direction_text,
    key_text,
    length_text,
    number_text,
    point_text,
    query_text,
    quoted,
    table_text,
)
from fem.part.solid import Solid, shown_surface
from fem.printing.polymer import Card, all_cards
from fem.study.drafting.guesses import FORCE, Guess
from fem.study.drafting.offers import Named
from fem.tensors import Array

MARK = "# <- edit"
"""At the end of each line that is a guess."""
POLYMER = "pa12-cf"
ACCURACY = "10 %"


@dataclass(frozen=True)
class DraftedBody:
    """One body of a draft: its `solid` as read, the `path` of its file as the study writes it, `unit` and `any_size`
    as given, the `faces` to name, and what is guessed of it; `several` tells that the study has other bodies too.
    """

    name: str
    solid: Solid
    path: str
    unit: str | None
    any_size: bool
    faces: tuple[Named, ...]
    guess: Guess
    several: bool = False


def study_text(bodies: Sequence[DraftedBody]) -> str:
    """The whole file; `bodies` are all those of the study."""
    apart = _comment("No force passes between bodies; to join touching ones, draft with --fused.")
    title = quoted(f"Draft of {bodies[0].solid.path.name}")
    lines = [
        *_comment(
            f"A first study of {printable(bodies[0].solid.path.name)}, written by `beadwork draft`. Each line marked",
            f'"{MARK[2:]}" is a guess: make it yours, then delete the line draft = true.',
        ),
        *(apart if len(bodies) > 1 else []),
        "",
        f"title = {title}",
        "draft = true   # until this line is deleted, every result says that it rests on guesses",
        *_comment('question = "Does it bear ... ?"', 'currency = "EUR"'),
    ]
    cards = all_cards()
    for body in bodies:
        lines += ["", *_body(body), "", *_print(body, cards)]
    lines += ["", "[faces]   # each query matches just the faces that it names"]
    for body in bodies:
        lines += list(_faces(body))
    lines += ["", "[supports]", *(_support(body) for body in bodies), *_other_supports(bodies[0])]
    lines += ["", "[loads]", *(_load(body) for body in bodies), *_other_loads(bodies[0])]
    return "\n".join([*lines, "", *_requirements(bodies), ""])


def own_name(body: DraftedBody, stem: str) -> str:
    """A support's or load's name, that of its body where there are several."""
    return f"{stem}_{body.name}" if body.several else stem


def _comment(*lines: str) -> list[str]:
    return [f"# {line}".rstrip() for line in lines]


def _body(body: DraftedBody) -> Iterator[str]:
    solid = body.solid
    size = " x ".join(f"{v:.4g}" for v in solid.box[1] - solid.box[0])
    yield f"[bodies.{key_text(body.name)}]   # {size} mm, {number(solid.volume)} mm³"
    yield f"solid = {quoted(body.path)}"
    if body.unit is not None:
        yield f"unit = {quoted(body.unit)}"
    if body.any_size:
        yield "any_size = true"
    if solid.part is not None:
        yield f"part = {solid.part if isinstance(solid.part, int) else quoted(solid.part)}"
    if solid.fused:
        yield "fused = true"
    one = f"{{ size = {length_text(float(f'{solid.size / 20:.2g}'))} }}"
    yield f'mesh = {{ accuracy = "{ACCURACY}" }}   # refined until the results stand; sooner: {one}'


def _print(body: DraftedBody, cards: Sequence[Card]) -> Iterator[str]:
    known = [card.name for card in cards if card.kind == "polymer"]
    metals = [card.name for card in cards if card.kind == "metal"]
    states = next(tuple(card.states) for card in cards if card.name == POLYMER)
    yield f"[bodies.{key_text(body.name)}.print]"
    yield f'polymer = "{POLYMER}"   {MARK}: the card: {", ".join(known)}, or the path of your own'
    yield from _comment(f'state = "{states[0]}"   # of this card: {", ".join(states)}')
    yield f"build_direction = {direction_text(body.guess.up)}   # a guess: it stands on {body.guess.held}"
    yield "walls = 3"
    yield "covers = 4"
    yield 'infill = "solid"'
    yield from _comment(
        'infill = { pattern = "gyroid", density = 0.4 }   # woodpile, grid, triangle, honeycomb, cubic, gyroid',
        'bead = { width = "0.45 mm", height = "0.20 mm" }',
        "raster = [45, -45]",
        'temperature = "40 degC"   # in service',
        f"No print but metal: put this in place of the whole table, above: metal = {quoted(metals[0])}"
        f"   # {', '.join(metals)}",
    )


def _faces(body: DraftedBody) -> Iterator[str]:
    for each in body.faces:
        offer = each.offer
        round_one = "" if offer.radius is None else f", radius {number(offer.radius)} mm"
        count = "" if len(offer.faces) == 1 else f", {len(offer.faces)} faces"
        words = f"{offer.what}{round_one}{count}, {number(offer.area)} mm², centre {place(offer.centre)} mm"
        line = f"{key_text(offer.name)} = {query_text(each.query)}   # {words}"
        yield line if offer.named else f"# {line}"
    for name, query in body.guess.cuts:
        yield f"{key_text(name)} = {query_text(query)}   # no flat to hold: a patch"


def place(at: Array) -> str:
    """A place in parts of a tenth of a millimetre."""
    return "(" + ", ".join(f"{round(float(v), 1) + 0.0:g}" for v in at) + ")"


def _support(body: DraftedBody) -> str:
    held = quoted(body.guess.held)
    keys = table_text([f"face = {held}", 'fixed = ["x", "y", "z"]'])
    return f"{key_text(own_name(body, 'hold'))} = {keys}   {MARK}: what holds it, and in which directions"


def _load(body: DraftedBody) -> str:
    keys = table_text([f"face = {quoted(body.guess.loaded)}", f"force = {_forces(body.guess.force)}"])
    return f"{key_text(own_name(body, 'load'))} = {keys}   {MARK}: what it bears; {FORCE:g} N is made up"


def _other_supports(body: DraftedBody) -> list[str]:
    held = quoted(body.guess.held)
    return _comment(
        f'rest = {{ face = {held}, foundation = {{ normal = "400 N/mm^3", push_only = true }} }}   # may lift off',
        f'rubber = {{ face = {held}, spring = "200 N/mm" }}',
    )


def _other_loads(body: DraftedBody) -> list[str]:
    loaded = quoted(body.guess.loaded)
    spot = table_text([f"at = {point_text(_point_on(body))}", f"radius = {length_text(_spot_radius(body))}"])
    lines = [
        f'press = {{ face = {loaded}, pressure = "0.1 MPa" }}',
        f"finger = {{ face = {loaded}, force = {_forces(body.guess.force)}, spot = {spot} }}",
        'weight = { acceleration = ["0 m/s^2", "0 m/s^2", "-9.81 m/s^2"] }',
    ]
    hole = next((n for n in body.faces if n.offer.what == "hole" and n.offer.named), None)
    if hole is not None and hole.offer.axis is not None:
        pull = FORCE * np.linalg.svd(hole.offer.axis[None])[2][1]
        bore = quoted(hole.offer.name)
        lines.append(f"pin = {{ face = {bore}, bearing = {_forces(pull.round(1))} }}   # square to the hole")
    return _comment(*lines)


def _forces(force: Iterable[float]) -> str:
    return "[" + ", ".join(f'"{number_text(f)} N"' for f in force) + "]"


def _point_on(body: DraftedBody) -> Array:
    """The middle of the largest triangle of what is loaded: a point that lies on it for certain."""
    solid, name = body.solid, body.guess.loaded
    points, triangles, face = shown_surface(solid)
    ids = next((n.offer.ids for n in body.faces if n.offer.name == name), tuple(f.id for f in solid.faces))
    own = triangles[np.isin([solid.faces[i].id for i in face], ids)]
    corner = points[own]
    size = np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1)
    return np.asarray(corner[size.argmax()].mean(axis=0).round(1))


def _spot_radius(body: DraftedBody) -> float:
    return float(f"{body.solid.size / 15:.1g}")


def _requirements(bodies: Sequence[DraftedBody]) -> list[str]:
    loads = ", ".join(f"{key_text(own_name(b, 'load'))} = 1.0" for b in bodies)
    heavy = loads.replace("= 1.0", "= 2.0")
    loaded = key_text(bodies[0].guess.loaded)
    return _comment(
        "[cases]   # loads that act together; all of them once if left out",
        f"service = {{ {loads} }}",
        f"overload = {{ {heavy} }}",
        "",
        "[watch]",
        f"faces = [{quoted(bodies[0].guess.loaded)}]",
        "",
        "[requirements]   # what must be met; without them the part must just not fail",
        "reserve = 2.0",
        'deflection = "2 mm"',
        f'displacement = {{ {loaded} = "1 mm" }}',
        'mass = "100 g"',
    )
