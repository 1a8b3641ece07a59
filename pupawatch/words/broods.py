"""Broods from egg to release, in words."""

from collections.abc import Iterator, Mapping

from pupawatch.model.broods import BroodTold
from pupawatch.review.broods import Steps
from pupawatch.review.outcomes import Rate
from pupawatch.words.review import of_n


def brood_line(brood: BroodTold, steps: Steps) -> str:
    """One brood in a line: its source, and how many came through each step."""
    source = f" ({brood.source.replace('-', ' ')})" if brood.source else ""
    lost = ", ".join(f"{number} {cause}" for cause, number in brood.lost.items())
    return f"{brood.name}{source}: {_steps(steps)}" + (f"; lost before pupation: {lost}" if lost else "")


def source_lines(by_source: Mapping[str, Steps], rates: Mapping[str, Rate]) -> Iterator[str]:
    """The steps of each source, with its success rate among the pupae that had time to end."""
    for source, steps in by_source.items():
        rate = f"; sound, of the pupae old enough to tell: {of_n(rates[source])}" if rates[source].n else ""
        yield f"Source {source.replace('-', ' ')}: {_steps(steps)}{rate}."


def age_lines(ages: Mapping[str, Mapping[str, int]]) -> Iterator[str]:
    """To what pupae were lost at which age."""
    for age, causes in ages.items():
        told = ", ".join(f"{cause.replace('-', ' ')} {number}" for cause, number in causes.items())
        yield f"Lost at {age}: {told}."


def _steps(steps: Steps) -> str:
    counts = (
        (steps.eggs, "eggs"), (steps.hatched, "hatched"), (steps.caterpillars, "caterpillars"),
        (steps.pupated, "pupated"), (steps.emerged, "emerged"), (steps.sound, "sound"), (steps.released, "released"),
    )  # fmt: skip
    told = " → ".join(f"{number} {what}" for number, what in counts if number is not None)
    return told + (f" ({steps.pending} not yet emerged)" if steps.pending else "")
