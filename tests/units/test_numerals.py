"""Numbers as people write them: read rightly where one reading is possible, refused with both where two are."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fem.errors import InputError
from fem.numerals import LONGEST, number_and_rest

ONE_READING = [
    ("2,5", 2.5), ("2.5", 2.5), ("1.500", 1.5), ("0,500", 0.5), ("00,500", 0.5), ("1,5000", 1.5),
    ("1234,567", 1234.567),
    (",5", 0.5), (".5", 0.5), ("5.", 5), ("1 200", 1200), ("12 000", 12000), ("1 200,5", 1200.5), ("1 200.5", 1200.5),
    ("1'234'567", 1234567), ("1’200", 1200), ("1,234,567", 1234567), ("1.234.567", 1234567), ("1,234.5", 1234.5),
    ("1.234,5", 1234.5), ("1,234.500", 1234.5), ("1\u00a0200", 1200), ("1\u2009200", 1200), ("1\u202f200", 1200),
    ("−60", -60), ("–60", -60), ("- 60", -60), ("+60", 60), ("2e3", 2000), ("2E−3", 0.002), ("2,5e+2", 250),
    ("-0", 0),
]  # fmt: skip


@pytest.mark.parametrize(("text", "value"), ONE_READING)
def test_one_reading(text, value):
    assert number_and_rest(f"{text} N") == (Decimal(str(value)), "N")


@pytest.mark.parametrize(
    ("text", "both"),
    [
        ("1,500", ("1.5 N", "1500 N")),
        ("12,345", ("12.345 N", "12345 N")),
        ("-999,100", ("-999.1 N", "-999100 N")),
        ("1,500e3", ("1.5e3 N", "1500e3 N")),
    ],
)
def test_two_readings_are_named_both(text, both):
    with pytest.raises(InputError, match="two ways") as error:
        number_and_rest(f"{text} N")
    assert all(reading in error.value.message for reading in both)


@pytest.mark.parametrize(
    "text",
    [
        "N", "", " ", "-", "--5 N", "5.5.5 N", "1,23,456 N", "1.23.456,5 N", "1,234.567,8 N",
        "0 123 456.7,8 N", "5, N",
        "01,234,567 N", "1'23 N", "1 200'300 N", "1,200 300 N", "nan N", "inf N", "٣ N", "½ N", "x5 N", "1e99999 N",
        "1e-99999 N", "1e401 N", "5" * LONGEST + " N",
    ],
)  # fmt: skip
def test_what_is_no_number_is_refused(text):
    with pytest.raises(InputError):
        number_and_rest(text)


@pytest.mark.parametrize(
    ("text", "rest"), [("22 1/K", "1/K"), ("5 mm 2", "mm 2"), ("1 22 N", "22 N"), ("5e N", "e N"), ("2*3 N", "*3 N")]
)
def test_what_is_not_of_the_number_is_left_to_the_unit(text, rest):
    assert number_and_rest(text)[1] == rest


def _in_groups(whole, mark):
    return f"{int(whole):,}".replace(",", mark)


WAYS = {
    "point": lambda whole, part: f"{whole}.{part}",
    "comma": lambda whole, part: f"{whole},{part}",
    "space and comma": lambda whole, part: f"{_in_groups(whole, ' ')},{part}",
    "thin space and point": lambda whole, part: f"{_in_groups(whole, chr(0x2009))}.{part}",
    "apostrophe and point": lambda whole, part: f"{_in_groups(whole, chr(39))}.{part}",
    "comma and point": lambda whole, part: f"{_in_groups(whole, ',')}.{part}",
    "point and comma": lambda whole, part: f"{_in_groups(whole, '.')},{part}",
}


@settings(max_examples=400, deadline=None, derandomize=True)
@given(
    whole=st.integers(0, 10**15),
    part=st.from_regex(r"[0-9]{1,12}", fullmatch=True),
    power=st.one_of(st.none(), st.integers(-300, 280)),
    minus=st.sampled_from(["", "-", "−", "+"]),
    way=st.sampled_from(sorted(WAYS)),
)
def test_however_it_is_written_it_is_the_same_number(whole, part, power, minus, way):
    plain = f"{'-' if minus in ('-', '−') else ''}{whole}.{part}" + ("" if power is None else f"e{power}")
    text = minus + WAYS[way](whole, part) + ("" if power is None else f"E{power}")
    two_readings = way.endswith("comma") and len(part) == 3 and 1 <= whole <= 999
    try:
        value, rest = number_and_rest(f"{text} mm")
    except InputError as error:
        # only these have two readings
        assert two_readings
        assert "two ways" in error.message
        return
    assert rest == "mm"
    assert float(value) == float(plain), "to the last digit"
    assert not two_readings


@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.text(alphabet="0123456789.,' \u2009eE+-−*/^mN()²", max_size=90))
def test_any_text_is_read_or_refused(text):
    try:
        value, _ = number_and_rest(text)
    except InputError as error:
        assert "\n" not in str(error)
    else:
        assert value.is_finite()
