"""Temperatures are typed and shown in the keeper's unit, and °C inside.

The conversion is checked against NIST Special Publication 811 (2008), section B.8 (t/°C = (t/°F - 32)/1.8) and two of
its fixed points, from memory: water freezes at 32 °F and boils at 212 °F.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pupawatch.errors import NotUnderstood
from pupawatch.model.degrees import Unit, degrees, shown_degrees, typed_degrees


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [("32", 0), ("212", 100), ("-40", -40), ("70", 21.111), ("98,6", 37)]
)
def test_fahrenheit_is_read_as_the_standard_says(fahrenheit: str, celsius: float) -> None:
    assert typed_degrees(fahrenheit, "F") == celsius
    assert typed_degrees(f"{fahrenheit} °F", "C") == celsius


@given(st.floats(-60, 80), st.sampled_from(("C", "F")))
def test_what_is_shown_reads_back_to_the_tenth_of_a_degree(celsius: float, unit: Unit) -> None:
    assert typed_degrees(shown_degrees(celsius, unit), "C") == pytest.approx(celsius, abs=0.0501)
    assert typed_degrees(degrees(celsius, unit), unit) == pytest.approx(celsius, abs=0.0501)


@pytest.mark.parametrize("text", ["21.5", "21,5", " 21.5 C", "21.5°C", "21.5 º c", "+21.5"])
def test_degrees_celsius_are_read_however_they_are_written(text: str) -> None:
    assert typed_degrees(text, "C") == 21.5


@pytest.mark.parametrize("text", ["", "warm", "21.5 K", "1e9", "nan", "inf", "21.5.1", "٢١", "-", "21 22", "9" * 400])
def test_anything_else_is_no_temperature(text: str) -> None:
    with pytest.raises(NotUnderstood, match="is not a temperature"):
        typed_degrees(text, "C")
