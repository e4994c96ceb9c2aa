"""What a viewer takes along: packed as told, never larger than allowed, and it says what was left out."""

from __future__ import annotations

import base64
import zlib

import numpy as np
import pytest
from beam import HEIGHT, LENGTH, WIDTH

from fem.errors import InputError
from fem.telling.hand import hand_html, part_in_hand, read_hand, surface_of, write_hand
from fem.telling.hand.body import levels, thinned
from fem.telling.hand.packing import along_curve, packed, places, signed, unsigned
from fem.telling.hand.quantities import principal_stresses
from fem.telling.hand.things import marks_of


def unpacked(text: str, *, size: int) -> np.ndarray:
    """The numbers of one packed column, undone as its description tells."""
    raw = np.frombuffer(zlib.decompress(base64.b64decode(text)), dtype=np.uint8).reshape(size, -1)
    steps = sum(raw[rank].astype(np.uint64) << np.uint64(8 * rank) for rank in range(size))
    return np.cumsum(steps) % 2 ** (8 * size)


def test_packing_loses_nothing():
    numbers = np.array([0, 65535, 3, 3, 40000, 1], dtype=np.uint16)
    assert np.array_equal(unpacked(packed(numbers), size=2), numbers)
    numbers = np.array([7, 4_000_000_000, 0, 12], dtype=np.uint32)
    assert np.array_equal(unpacked(packed(numbers), size=4), numbers)


def test_steps_are_off_by_half_a_step_and_zero_stays_zero():
    values = np.random.default_rng(3).normal(scale=40, size=500)
    values[17] = 0.0
    told = signed(values, steps=4095)
    back = (unpacked(told["packed"], size=2).astype(float) - told["zero"]) * told["step"]
    assert np.abs(back - values).max() <= 0.5001 * told["step"] and back[17] == 0
    assert told["step"] == pytest.approx(np.abs(values).max() / 4095)
    told = unsigned(np.array([0.0, 1.0, 9.0]), top=4.0)
    assert unpacked(told["packed"], size=2) * told["step"] == pytest.approx([0, 1, 4], abs=told["step"])


def test_a_kept_part_is_the_same_again(scene, findings, tmp_path):
    made = part_in_hand(scene, findings)
    kept = read_hand(write_hand(made, tmp_path / "part.json"))
    assert hand_html(kept, name="part") == hand_html(made, name="part")
    points, triangles = surface_of(kept)
    a, b, c = points[triangles].transpose(1, 0, 2)
    assert np.einsum("ij,ij->", a, np.cross(b, c)) / 6 == pytest.approx(LENGTH * WIDTH * HEIGHT, rel=1e-3)
    (tmp_path / "part.json").write_text('{"title": "a", "data": {"points": {}}}')
    assert read_hand(tmp_path / "part.json") is None and read_hand(tmp_path / "none.json") is None


def test_flat_points_and_fields_of_zero_are_packed():
    assert places(np.array([[0.0, 0, 5], [1, 2, 5]]))["origin"] == [0, 0, 5]
    assert signed(np.zeros(4))["step"] > 0


def test_the_curve_keeps_neighbours_together():
    points = np.random.default_rng(5).uniform(size=(4000, 3))
    order = along_curve(points)
    assert np.array_equal(np.sort(order), np.arange(4000))

    def apart(at):
        return np.linalg.norm(np.diff(at, axis=0), axis=1).mean()

    assert apart(points[order]) < 0.25 * apart(points)


def test_principal_stresses_of_plain_states():
    pull, shear = [30.0, 0, 0, 0, 0, 0], [0.0, 0, 0, 0, 0, 12]
    assert principal_stresses(np.array([pull, shear])) == pytest.approx(np.array([[30, 0, 0], [12, 0, -12]]))


def area(shown) -> float:
    p = shown.points[shown.triangles]
    return float(np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1).sum() / 2)


def volume(shown) -> float:
    four = np.concatenate([shown.straight, shown.curved[:, :4]])
    p = shown.points[four]
    return float(np.abs(np.linalg.det(p[:, 1:] - p[:, :1])).sum() / 6)


def test_every_level_is_the_whole_part(scene):
    whole = 2 * (LENGTH * WIDTH + LENGTH * HEIGHT + WIDTH * HEIGHT)
    shown = list(levels(scene.mesh))
    assert [len(each.node) for each in shown] == sorted((len(each.node) for each in shown), reverse=True)
    for each in shown:
        assert area(each) == pytest.approx(whole, rel=1e-6)
    for each in shown[:-1]:
        assert volume(each) == pytest.approx(LENGTH * WIDTH * HEIGHT, rel=1e-6)
    assert shown[0].note == "" and all(each.note for each in shown[1:])


def test_a_thinned_surface_keeps_its_faces(scene):
    few = thinned(scene.mesh, most=200)
    assert len(few.triangles) <= 260 and set(few.face) == set(scene.mesh.face)


def test_a_smaller_page_takes_less_and_says_so(scene, findings):
    whole = part_in_hand(scene, findings)
    small = part_in_hand(scene, findings, most_bytes=whole.size // 2)
    assert whole.note == "" and small.note and small.size <= whole.size // 2
    assert small.note in hand_html(small)
    with pytest.raises(InputError, match=r"more than 0\.01 MB"):
        part_in_hand(scene, findings, most_bytes=10_000)


def test_findings_of_other_cases_are_refused(scene, findings):
    import dataclasses

    with pytest.raises(InputError, match="other cases"):
        part_in_hand(scene, dataclasses.replace(findings, cases={}))


def test_a_place_that_was_not_looked_at_bead_by_bead_says_so(scene, findings):
    import dataclasses

    name, case = next(iter(findings.cases.items()))
    spot = dataclasses.replace(case.hot_spots[0], verdict="", singular=False)
    told = []
    for decided in ("zoom", "undecided"):
        spots = (dataclasses.replace(spot, decided_by=decided),)
        cases = {**findings.cases, name: dataclasses.replace(case, hot_spots=spots)}
        told.append(marks_of(scene, dataclasses.replace(findings, cases=cases))[name][0].text)
    assert told[1] == f"{told[0]}, homogenised, doubtful"


def test_a_part_without_cases_is_shown_plain(scene):
    import dataclasses

    hand = part_in_hand(dataclasses.replace(scene, cases={}))
    assert hand.data["quantities"] == [] and hand.data["cases"] == {} and hand.data["faces"]


def test_names_are_ids_and_text_is_escaped(scene, findings):
    hand = part_in_hand(scene, findings, title='A "beam" <b>')
    assert "<b>" not in hand_html(hand).replace("<b>Mouse", "").replace("<b>Keys", "")
    with pytest.raises(ValueError, match="plain id"):
        hand_html(hand, name="no id")
    assert hand_html(hand).split(' id="')[1] != hand_html(hand).split(' id="')[1]


def test_arrows_that_push_end_at_the_part_and_those_that_pull_start_there(scene):
    import dataclasses

    from fem.judging.scene import Arrow
    from fem.telling.hand.things import arrows_of

    top, down = np.array([50.0, 10.0, HEIGHT / 2]), np.array([0.0, 0.0, -80.0])
    several = tuple(Arrow(name, "force", top, way, "80 N") for name, way in (("push", down), ("pull", -down)))
    push, pull = arrows_of(dataclasses.replace(scene, arrows=several), None)
    assert push["tip"] == pytest.approx(top) and push["tail"][2] > HEIGHT / 2 + 5
    assert pull["tail"] == pytest.approx(top) and pull["tip"][2] > HEIGHT / 2 + 5
    assert push["colour"] != pull["colour"] and set(push["factors"]) == set(scene.cases)
