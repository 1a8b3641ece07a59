"""What a second look comes to, and how to clean, in words."""

from collections.abc import Sequence

from pupawatch.model.adult_settings import Cleaning, Health


def conclusion(seen: Sequence[str], health: Health) -> list[str]:
    """What the check comes to, a line each: what each sign often means and what to do, and that it is no diagnosis."""
    told = [health.signs[name] for name in seen if name in health.signs]
    if not told:
        return ["Nothing unusual seen."]
    return [*(f"{sign.words}: {sign.means}. {sign.do}" for sign in told), health.disclaimer]


def recipe(cleaning: Cleaning) -> str:
    """The mix and its time in words."""
    water = 100 - cleaning.bleach_percent
    time = (
        f"{cleaning.contact_minutes / 60:g} h"
        if cleaning.contact_minutes >= 120
        else f"{cleaning.contact_minutes:g} min"
    )
    return f"{cleaning.bleach_percent:g} parts household bleach, {water:g} parts water, at least {time}"
