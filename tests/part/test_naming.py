"""The shortest query of every face matches just it, as the study reads it back from its text."""

import tomllib

import numpy as np
import pytest
from helpers_cad import SHAPES, bracket, draw, drawn_out, profile, with_stl

from fem.errors import FaceError
from fem.part.faces import FaceQuery, find_faces
from fem.part.families import holes_and_bosses, neighbours_of, same_radius
from fem.part.naming import matched, round_directions, rounded, shortest_queries, shortest_query
from fem.part.query_text import key_text, query_text, quoted
from fem.part.solid import read_solid
from fem.study.keys.faces import FaceForm
from fem.study.to_plans import face_query


def read_back(query):
    """The query as a study's file would hold it, read as the program reads it."""
    table = tomllib.loads(f"face = {query_text(query)}")["face"]
    return face_query(FaceForm.model_validate(table))


def assert_each_face_is_named(faces, *, body=None):
    for i in range(len(faces)):
        query = read_back(shortest_query(faces, [i], body=body))
        assert find_faces(faces, query) == (i,), query_text(query)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("shape", SHAPES)
def test_every_face_of_a_random_extrusion_has_a_query_of_its_own(tmp_path, shape, seed):
    rng = np.random.default_rng([SHAPES.index(shape), seed, 13])
    corners, radius = profile(shape, rng)
    shift = rng.uniform(-400, 400, 3)  # far from the origin a rounded normal moves a place most
    angles = rng.uniform(-np.pi, np.pi, 3) if seed else np.zeros(3)
    path = draw(tmp_path / "part.step", drawn_out(corners, radius, rng.uniform(4, 40), angles, shift))
    step = read_solid(path)
    assert_each_face_is_named(step.faces)
    stl = read_solid(with_stl(path, tmp_path / "part.stl", step.size), unit="in")
    assert stl.size == pytest.approx(25.4 * step.size, rel=1e-4)
    assert_each_face_is_named(stl.faces)


def plate(occ, *, turn=0.0):
    """Four holes of 4 mm, a boss of 6 mm with a hole of 4 mm through it, and two pads of one height, all turned."""
    base = occ.addBox(-40, -25, 0, 80, 50, 6)
    pads = [(3, occ.addBox(x, -25, 6, 10, 50, 3)) for x in (-40, 30)]
    boss = (3, occ.addCylinder(0, 0, 6, 0, 0, 8, 6))
    occ.fuse([(3, base)], [*pads, boss])
    holes = [(3, occ.addCylinder(x, y, -1, 0, 0, 20, 2)) for x in (-20, 20) for y in (-15, 15)]
    occ.cut(occ.getEntities(3), [*holes, (3, occ.addCylinder(0, 0, -1, 0, 0, 20, 2))])
    occ.rotate(occ.getEntities(3), 0, 0, 0, 1, 2, 3, turn)


@pytest.mark.parametrize("turn", [0.0, 0.7])
def test_sets_of_faces_have_queries_too(tmp_path, turn):
    solid = read_solid(draw(tmp_path / "plate.step", lambda occ: plate(occ, turn=turn)))
    faces = solid.faces
    rounds = holes_and_bosses(solid)
    assert [r.hollow for r in rounds] == [True] * 5 + [False]
    assert sorted(r.radius for r in rounds) == pytest.approx([2] * 5 + [6])
    holes = tuple(sorted(i for r in rounds if r.hollow for i in r.faces))
    assert same_radius(faces, holes[0]) == holes
    query = read_back(shortest_query(faces, holes))
    assert find_faces(faces, query) == holes
    assert (query.radius, query.axis, query.ids) == (2.0, None, None)
    # The tops of both pads are one name, and neither alone is asked for by what matches both
    pads = [i for i, f in enumerate(faces) if f.kind == "plane" and f.area == pytest.approx(500)]
    up = next(f for f in faces if f.kind == "plane" and f.area == pytest.approx(np.pi * 32)).normal
    tops = tuple(i for i in pads if faces[i].normal @ up > 0.999)
    assert len(tops) == 2
    both = read_back(shortest_query(faces, tops))
    assert find_faces(faces, both) == tops
    assert both.near is None
    for one in tops:
        alone = read_back(shortest_query(faces, [one]))
        assert find_faces(faces, alone) == (one,)
        assert alone.near is not None
    # Every pair has a query, by its numbers at last
    rng = np.random.default_rng(5)
    for pair in rng.integers(0, len(faces), (20, 2)).tolist():
        assert find_faces(faces, read_back(shortest_query(faces, pair))) == tuple(sorted(set(pair)))


def test_a_query_that_matches_two_faces_is_never_a_name_for_one(tmp_path):
    """The control: the shapes alone match several here, so what is given must say more."""
    solid = read_solid(draw(tmp_path / "plate.step", plate))
    faces = solid.faces
    hole = next(i for i, f in enumerate(faces) if f.hole)
    assert len(matched(faces, FaceQuery(kind="cylinder", radius=2.0))) == 5
    assert len(matched(faces, FaceQuery(kind="cylinder", radius=2.0, axis=(0, 0, 1)))) == 5
    query = shortest_query(faces, [hole])
    assert query != FaceQuery(kind="cylinder", radius=2.0)
    assert find_faces(faces, query) == (hole,)
    assert_each_face_is_named(faces)
    # What no query can tell is refused, not guessed: the same face twice, numbers and all
    with pytest.raises(FaceError, match="no query tells these faces from others"):
        shortest_query([*faces, *faces], [hole])
    with pytest.raises(FaceError, match="nothing to name"):
        shortest_query(faces, [])
    with pytest.raises(FaceError, match="nothing to name"):
        shortest_query(faces, [len(faces)])


def test_many_names_at_once_are_those_of_each(tmp_path):
    faces = read_solid(draw(tmp_path / "plate.step", plate)).faces
    groups = [[i] for i in range(len(faces))]
    assert shortest_queries(faces, groups) == tuple(shortest_query(faces, group) for group in groups)


def test_faces_of_several_bodies_are_told_by_their_body(tmp_path):
    path = draw(tmp_path / "plate.step", plate)
    one, other = (read_solid(path, name=name).faces for name in ("one", "other"))
    faces = (*one, *other)
    for i in range(len(faces)):
        query = read_back(shortest_query(faces, [i], body=faces[i].body))
        assert find_faces(faces, query) == (i,)
        assert query.body == faces[i].body


def test_directions_are_as_round_as_they_may_be():
    assert round_directions(np.array([0.0, 0.0, -2.0])) == ((0, 0, -1),)
    assert round_directions(np.array([0.6, 0.0, 0.8]))[0] == (3, 0, 4)
    assert round_directions(np.array([1e-5, 1, -1]))[0] == (0, 1, -1)
    skew = np.array([0.2, 0.5, 0.31])
    (only,) = round_directions(skew)
    assert np.linalg.norm(np.array(only) - skew / np.linalg.norm(skew)) < 1e-5
    assert rounded(12.34567, within=0.005) == 12.35
    assert rounded(13.0000001, within=0.005) == 13.0


def test_any_name_survives_the_quotes():
    for name in (
        'a "b"\\c',
        "tab\t\x7f\x00\x1b[31m",
        "Haltebügel 支架 ½",
        "ligne\nnouvelle",
        "\u2028\u202e",
        "",
        "a.b",
    ):
        assert tomllib.loads(f"{key_text(name)} = {quoted(name)}") == {name: name}
    assert key_text("top_1") == "top_1"
    assert key_text("hole_8.4") == '"hole_8.4"'


@pytest.mark.parametrize("kind", ["step", "stl"])
def test_faces_grow_along_smooth_edges_and_stop_at_sharp_ones(tmp_path, kind):
    path = draw(tmp_path / "bracket.step", bracket)
    solid = read_solid(path)
    if kind == "stl":
        solid = read_solid(with_stl(path, tmp_path / "bracket.stl", solid.size), unit="mm")
    faces = solid.faces
    near = neighbours_of(solid)
    fillet = next(i for i, f in enumerate(faces) if f.kind == "cylinder" and f.radius == pytest.approx(5, rel=1e-3))
    bore = next(i for i, f in enumerate(faces) if f.hole)
    # The fillet of an L runs on into the inner flats of both legs, and touches the two sides of the bracket too
    inner = sorted(faces[i].normal.round(6).tolist() for i in near.smooth[fillet])
    assert inner == [[0, 0, 1], [1, 0, 0]]
    assert len(near.touching[fillet]) == 4
    assert near.grown([fillet]) == tuple(sorted((fillet, *near.smooth[fillet])))
    assert near.smooth[bore] == ()
    assert near.grown([bore]) == (bore,)
    assert all(i in near.touching[j] for i, own in enumerate(near.touching) for j in own)
