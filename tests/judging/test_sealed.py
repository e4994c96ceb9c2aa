"""No change of a kept file goes unnoticed: bytes, numbers, cuts, and whole files of another making."""

from __future__ import annotations

import json
import math
import random
import re
from dataclasses import replace

import pytest

from fem.errors import InputError
from fem.judging.choice import VariantNumbers, compare
from fem.judging.choice_file import read_choice, write_choice
from fem.judging.sealed import SealBroken, plain, read_sealed, typed, write_sealed

NUMBER = re.compile(rb"-?\d+(\.\d+)?([eE][+-]?\d+)?")


@pytest.fixture
def kept(tmp_path):
    """A file as a comparison leaves it, with all that JSON has: words, unlimited numbers, null, lists, tables."""
    numbers = [
        VariantNumbers(f"{n} walls", {"walls": str(n)}, mass_g=10.0 + n / 3, reserve=1.1 * n, deflection_mm=0.2 / n)
        for n in range(1, 7)
    ]
    numbers[0] = replace(numbers[0], reserve_away=math.inf, at_mm=(1.0, -2.5e-7, 3.0), cautions=('a "quoted" Ω',))
    return write_choice(
        compare(numbers, title="Bar", question="?", required_reserve=2.0, sweep={"walls": tuple("123456")}),
        tmp_path / "comparison.json",
    )


def test_every_change_of_a_byte_is_noticed(kept):
    whole, chance = kept.read_bytes(), random.Random(1)
    for _ in range(2000):
        at = chance.randrange(len(whole))
        other = (whole[at] + chance.randrange(1, 256)) % 256
        kept.write_bytes(whole[:at] + bytes([other]) + whole[at + 1 :])
        with pytest.raises(SealBroken):
            read_sealed(kept)
    kept.write_bytes(whole)
    assert read_choice(kept).title == "Bar"


def test_every_change_of_a_number_is_noticed(kept):
    whole, chance = kept.read_bytes(), random.Random(2)
    places = [found.span() for found in NUMBER.finditer(whole)]
    assert len(places) > 100
    for start, end in places:
        other = chance.choice([b"931", b"NaN", b"-Infinity", b"1e999", b"null", b"true", b'"2"', b"[]", b"{}"])
        kept.write_bytes(whole[:start] + other + whole[end:])
        with pytest.raises(InputError):
            read_choice(kept)


@pytest.mark.parametrize("share", [0.0, 0.01, 0.3, 0.99])
def test_a_file_cut_short_or_lengthened_is_noticed(kept, share):
    whole = kept.read_bytes()
    for text in (whole[: int(share * len(whole))], whole + b" ", whole + whole):
        kept.write_bytes(text)
        with pytest.raises(SealBroken):
            read_sealed(kept)


def test_a_file_that_is_laid_out_anew_counts_as_changed_but_reads_as_plain_json(kept):
    data = json.loads(kept.read_text(encoding="utf-8"))
    assert len(data.pop("digest")) == 64 and data["variants"][0]["reserve_away"] == "unlimited"
    kept.write_text(json.dumps(data))
    with pytest.raises(SealBroken, match="bears no digest"):
        read_sealed(kept)


def test_a_name_that_is_no_text_is_kept_as_it_is(tmp_path):
    data = {"file": "bar\udcff.step"}
    assert read_sealed(write_sealed(data, tmp_path / "a.json")) == data


def test_a_write_that_fails_leaves_the_older_file_alone(kept, monkeypatch):
    whole = kept.read_bytes()

    def full(source, target):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", full)
    with pytest.raises(OSError, match="No space"):
        write_sealed({"a": 1}, kept)
    assert [(p.name, p.read_bytes()) for p in kept.parent.iterdir()] == [("comparison.json", whole)]


@pytest.mark.parametrize(
    ("kind", "value"),
    [(float, "1.5"), (float, True), (int, True), (int, 1.0), (str, None), (tuple[float, ...], "12"), (bool, 1)],
)
def test_values_of_another_kind_are_refused(kind, value):
    with pytest.raises(TypeError):
        typed(kind, value)


def test_what_stands_for_infinity_is_so_in_numbers_alone():
    assert typed(float, plain(math.inf)) == typed(float | None, "unlimited") == math.inf
    assert typed(str, "unlimited") == "unlimited" and typed(float | None, None) is None
