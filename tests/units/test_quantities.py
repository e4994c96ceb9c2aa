"""Quantities: one number and one unit, of the kind asked for, and nothing else."""

import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fem.errors import InputError
from fem.units import EXAMPLES, KINDS, LARGEST, SMALLEST, quantity, unit_size

# by definition: the inch (25.4 mm) and the pound (0.45359237 kg), international yard and pound agreement of 1959;
# the pound-force with standard gravity 9.80665 m/s^2; the litre, 1 dm^3 (SI Brochure, table 8)
READ = [
    ("length", "4 mm", 4), ("length", "1 in", 25.4), ("length", "450 um", 0.45), ("length", "700 µm", 0.7),
    ("length", "0,2 m", 200), ("area", "20 mm²", 20), ("area", "2 cm^2", 200), ("area", "2 cm2", 200),
    ("volume", "3 cm³", 3000), ("volume", "1 L", 1e6), ("force", "2,5 kN", 2500), ("force", "−60 N", -60),
    ("force", "1 lbf", 4.4482216152605), ("moment", "8 N*m", 8000), ("moment", "8 N·m", 8000),
    ("moment", "8 Nm", 8000),
    ("moment", "8 N m", 8000), ("moment", "1 kNmm", 1000), ("pressure", "3 MPa", 3), ("pressure", "2 bar", 0.2),
    ("pressure", "1 N/mm^2", 1), ("pressure", "1 N/mm**2", 1), ("pressure", "1 N mm^-2", 1),
    ("pressure", "1 N·mm⁻²", 1),
    ("pressure", "1 N/mm/mm", 1), ("pressure gradient", "10 kPa/m", 1e-5), ("mass", "220 g", 2.2e-4),
    ("mass", "1 lb", 0.45359237e-3), ("density", "1.06 g/cm^3", 1.06e-9), ("density", "1060 kg/m³", 1.06e-9),
    ("acceleration", "9.81 m/s^2", 9810), ("acceleration", "1 g_0", 9806.65), ("speed", "60 mm/s", 60),
    ("angle", "180 deg", 3.141592653589793), ("angle", "180°", 3.141592653589793), ("angle", "1 rad", 1),
    ("temperature", "60 degC", 60), ("temperature", "60 °C", 60), ("temperature", "140 °F", 60),
    ("temperature", "333.15 K", 60), ("temperature", "−40 degF", -40), ("temperature difference", "40 K", 40),
    ("temperature difference", "40 delta_degC", 40), ("temperature difference", "9 delta_degF", 5),
    ("expansion", "2.2e-5 1/K", 2.2e-5), ("expansion", "22e-6/K", 2.2e-5), ("expansion", "2.2e-5 1/°C", 2.2e-5),
    ("expansion", "2.2e-5 K^-1", 2.2e-5), ("expansion", "2,2e-5 K⁻¹", 2.2e-5), ("expansion", "9e-6 1/degF", 1.62e-5),
    ("spring stiffness", "200 N/mm", 200), ("foundation stiffness", "1.5 GN/m^3", 1.5),
    ("foundation stiffness", "4 000 N/mm³", 4000), ("speed", "1 m^2/m/s", 1000),
    ("toughness", "95 N/mm^1.5", 95), ("toughness", "95 N mm^-1.5", 95),
    ("toughness", "95 N/mm^(3/2)", 95), ("toughness", "95 MPa√mm", 95), ("toughness", "95 MPa*sqrt(mm)", 95),
    ("toughness", "3 MPa*m^0.5", 94.86832980505137), ("toughness", "3 MPa m^(1/2)", 94.86832980505137),
    ("toughness", "3 MPa·√m", 94.86832980505137), ("toughness", "3 MPa√(m)", 94.86832980505137),
    ("toughness", "3 MPa m^0,5", 94.86832980505137), ("toughness", "3 MN/m^1.5", 94.86832980505137),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "text", "value"), READ)
def test_read(kind, text, value):
    assert quantity(text, kind) == value, "the double number nearest to what is written"


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_an_example_that_is_read(kind):
    assert quantity(EXAMPLES[kind], kind) > 0
    with pytest.raises(InputError, match="place: 'x'") as error:
        quantity("x", kind, where="place")
    assert EXAMPLES[kind] in str(error.value)


REFUSED = [
    ("5 mm 2", "one number and one unit"), ("mm", "number"), ("5", "no unit"), ("", "number"),
    ("2*3 mm", "one number"),
    ("9**9**9 mm", "one number"), ("1e400 mm", "too large|outside"), ("1e-400 mm", "too small|outside"),
    ("1e31 mm", "too large"), ("1e-31 mm", "too small"), ("1e30 km", "too large"), ("5 mm^999", "is no unit"),
    ("5 mm^7", "is no unit"), ("5 mm^0", "is no unit"), ("5 mm^1.5", "not a length"), ("5 mm-1", "is no unit"),
    ("5 mm + 2 mm", "is no unit"), ("5 (mm)", "is no unit"), ("5 mm*mm*mm*mm*mm*mm*mm", "is no unit"),
    ("5 N/mm*mm", "two ways"), ("5 N/mm mm", "two ways"), ("5 MM", "not a length"), ("5 Mpa", '"Mpa"'),
    ("5 __class__", "is no unit"), ("5 percent", '"percent"'), ("5 mm*percent", '"percent"'), ("5 pi*mm", '"pi"'),
    ("5 MPa", "not a length"), ("5 degC", "scale"), ("5 rad", "not a length"), ("1,500 mm", "1.5 mm or 1500 mm"),
    ("nan mm", "number"), ("inf mm", "number"), ("5 m;m", "is no unit"), ("5\nmm", "is no unit"),
    ("5 m\x00", "is no"),
    ("(" * 60 + "mm", "number"), ("1 " + "mm*" * 400 + "mm", "too long"), ("9" * 10**6 + " mm", "too long"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "words"), REFUSED, ids=range(len(REFUSED)))
def test_refused(text, words):
    with pytest.raises(InputError, match=words) as error:
        quantity(text, "length")
    assert "\n" not in str(error.value) and len(str(error.value)) < 250


@pytest.mark.parametrize(
    "value", [5, 5.0, True, None, ["5 mm"], {"a": 1}, 10**5000, [10**5000], "5" * 5000], ids=range(9)
)
def test_what_is_no_text_is_refused(value):
    with pytest.raises(InputError) as error:
        quantity(value, "length")
    assert len(str(error.value)) < 250


@pytest.mark.parametrize(
    ("kind", "text", "words"),
    [
        ("temperature difference", "40 degC", "scale, not a difference"),
        ("temperature", "40 delta_degC", "not a temperature"),
        ("temperature", "40 K^2", "not a temperature"),
        ("temperature", "-1 K", "absolute zero"),
        ("temperature", "4 mdegC", "no unit is called"),
        ("temperature difference", "4 kdegF", "no unit is called"),
        ("expansion", "4 1/mdegC", "no unit is called"),
        ("mass", "5 ton", "1000 kg.*907"),
        ("angle", "5 percent", "percent"),
        ("angle", "0.1 mm/mm", "not an angle"),
        ("moment", "5 N*m/rad", "not a moment"),
        ("spring stiffness", "5 N/mm^3", "not a spring stiffness"),
        ("force", "5 kn", "not a force"),  # a knot
        ("toughness", "3 MPa", "not a toughness.*MPa\\*m\\^0.5"),
        ("toughness", "3 MPa*m", "not a toughness"),
        ("toughness", "3 MPa*m^1/2", "no unit"),
        ("toughness", "3 MPa*m^0.25", "no unit"),
        ("toughness", "3 MPa√m^2", "no unit"),
        ("toughness", "3 MPa*m^1.55", "no unit"),
    ],
)
def test_refused_of_its_kind(kind, text, words):
    with pytest.raises(InputError, match=words):
        quantity(text, kind)


OWN = {"length": "mm", "force": "N", "pressure": "N/mm^2", "temperature difference": "K", "density": "tonne/mm³"}


@settings(max_examples=300, deadline=None, derandomize=True)
@given(
    number=st.floats(SMALLEST, LARGEST) | st.floats(-LARGEST, -SMALLEST) | st.just(0.0),
    kind=st.sampled_from(sorted(OWN)),
    form=st.sampled_from(["{!r} {}", "{!r}{}", "{:.17e} {}", "{:.17E}\u00a0{}"]),
)
def test_a_number_in_the_programs_unit_comes_back_to_the_last_digit(number, kind, form):
    assert quantity(form.format(number, OWN[kind]), kind) == number


@settings(max_examples=200, deadline=None, derandomize=True)
@given(hundredths=st.integers(-(10**12), 10**12), unit=st.sampled_from([("um", -3), ("cm", 1), ("m", 3), ("km", 6)]))
def test_a_power_of_ten_loses_no_digit(hundredths, unit):
    word, power = unit
    assert quantity(f"{hundredths}e-2 {word}", "length") == float(f"{hundredths}e{power - 2}")


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.text(alphabet="0123456789.,' e+-−*/^mNPakKC°²_()", max_size=120), st.sampled_from(sorted(KINDS)))
def test_any_text_is_read_or_refused_in_one_line(text, kind):
    try:
        out = quantity(text, kind)
    except InputError as error:
        assert "\n" not in str(error) and len(str(error)) < 400
    else:
        assert abs(out) <= LARGEST


def test_a_refusal_takes_a_bounded_number_of_steps():
    """Lines run for texts as hostile as their length allows, against a plain one; a power tower never ended."""

    def steps(text):
        count = 0

        def tracer(frame, event, _):
            nonlocal count
            count += event == "line"
            return tracer

        sys.settrace(tracer)
        try:
            quantity(text, "length")
        except InputError:
            pass
        finally:
            sys.settrace(None)
        return count

    quantity("1 mm", "length")
    for text in ("9**9**9 mm", "9" * 10**6, "1 " + "mm/" * 26, "1e999999 mm", "1,1" * 26, "1 " * 39, "(" * 10**6):
        assert steps(text) < 3000, text[:20]


def test_a_unit_alone():
    assert unit_size("cm", "length") == 10
    for wrong in ("000 mm", "2 mm", "", None, "MPa", "mm 2"):
        with pytest.raises(InputError):
            unit_size(wrong, "length")
