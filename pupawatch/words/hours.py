"""Hours and intervals in words: never a middle, always both ends."""

from pupawatch.care.hang import EXACT, HOURS_UP_TO, HangTime, at_least_words


def hang_words(hang: HangTime) -> str:
    """A hang time as an interval: ``26–38 h``, ``≥ 26 h`` where its upper end is not known, ``6.1–6.6 d``."""
    low, high = hang
    if high == 0:
        return "–"
    if high is None:
        return f"≥ {at_least_words(low)}"
    if high <= HOURS_UP_TO:
        return interval(at_least_words(low).removesuffix(" h"), f"{high:.0f}") + " h"
    return interval(f"{int(low / 2.4 + EXACT) / 10:.1f}", f"{high / 24:.1f}") + " d"


def elapsed(hours: float) -> str:
    """So many hours, or days where they are many."""
    return f"{hours:.0f} h" if hours <= HOURS_UP_TO else f"{hours / 24:.1f} d"


def hours_minutes(hours: float) -> str:
    """Hours as a clock counts them: ``11:40``."""
    minutes = int(hours * 60)
    return f"{minutes // 60}:{minutes % 60:02}"


def interval(low: str, high: str) -> str:
    """Two ends as one: ``12–24``, or a single one where they are alike."""
    return low if low == high else f"{low}–{high}"
