"""Hours and intervals in words: never a middle, always both ends."""

from pupawatch.care.hang import HangTime

_HOURS_UP_TO = 96
"""Up to four days hang times are told in hours, beyond in days: what matters there is the day."""
_EXACT = 1e-9
"""What a division may lose of a whole number."""


def hang_words(hang: HangTime) -> str:
    """A hang time as an interval: ``26–38 h``, ``≥ 26 h`` where its upper end is not known, ``6.1–6.6 d``."""
    low, high = hang
    if high == 0:
        return "–"
    # What is certain is rounded down: 23.6 h told as 24 would stand beside a move that is still refused.
    hours, days = f"{int(low + _EXACT)}", f"{int(low / 2.4 + _EXACT) / 10:.1f}"
    if high is None:
        return f"≥ {hours} h" if low <= _HOURS_UP_TO else f"≥ {days} d"
    if high <= _HOURS_UP_TO:
        return interval(hours, f"{high:.0f}") + " h"
    return interval(days, f"{high / 24:.1f}") + " d"


def elapsed(hours: float) -> str:
    """So many hours, or days where they are many."""
    return f"{hours:.0f} h" if hours <= _HOURS_UP_TO else f"{hours / 24:.1f} d"


def hours_minutes(hours: float) -> str:
    """Hours as a clock counts them: ``11:40``."""
    minutes = int(hours * 60)
    return f"{minutes // 60}:{minutes % 60:02}"


def interval(low: str, high: str) -> str:
    """Two ends as one: ``12–24``, or a single one where they are alike."""
    return low if low == high else f"{low}–{high}"
