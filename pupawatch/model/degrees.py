"""Temperatures: °C everywhere inside, typed and shown in the unit that the keeper's thermometer has."""

import re
from math import isfinite
from typing import Literal

from pupawatch.errors import NotUnderstood
from pupawatch.model.text import quoted

Unit = Literal["C", "F"]

COLDEST_C, HOTTEST_C = -40.0, 60.0
"""What a place at home can be like, and a sensor there can read. Beyond lies a fault: −127 °C is an unplugged probe.
Common practice."""

_TYPED = re.compile(r"([+-]?\d+(?:[.,]\d*)?|[+-]?[.,]\d+) ?[°º]? ?([CF]?)", re.IGNORECASE | re.ASCII)


def degrees(celsius: float, unit: Unit) -> str:
    """A temperature in figures, to the tenth of a degree at most: 93.2."""
    return f"{round(celsius * 1.8 + 32 if unit == 'F' else celsius, 1):g}"


def shown_degrees(celsius: float, unit: Unit) -> str:
    """A temperature with its unit: 93.2 °F."""
    return f"{degrees(celsius, unit)} °{unit}"


def typed_degrees(text: str, unit: Unit) -> float:
    """What was typed, in °C: figures in the keeper's unit, or with °C, °F, C or F behind them; a decimal comma is one.

    Raises NotUnderstood for anything else. Whether any place can be so warm is for the caller to say.
    """
    match = _TYPED.fullmatch(text.strip())
    if not match or not isfinite(value := float(match[1].replace(",", "."))):
        raise NotUnderstood(f"{quoted(text)} is not a temperature; write it like {'70.5' if unit == 'F' else '21.5'}")
    return round((value - 32) / 1.8, 3) if (match[2].upper() or unit) == "F" else value
