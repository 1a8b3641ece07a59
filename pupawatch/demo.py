"""The invented season, brought in through the same door as any keeper's notebook."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from pupawatch import settings as files
from pupawatch.clock import clock_set_to
from pupawatch.exchange.logger import bringing as logged
from pupawatch.exchange.notebook import bringing as bring
from pupawatch.keeper import Keeper
from pupawatch.keeper.opening import keeper_of
from pupawatch.keeper.session import Session
from pupawatch.model.times import Span

MORNING = datetime(2026, 9, 8, 11, 40, tzinfo=UTC)
"""The morning the demo opens at: 06:40 at the invented keeper's home."""

_BROODS = (("26-D m1", "wild-egg", 31, 24, 3, "a wilted leaf"), ("26-D m2", "wild-egg", 29, 25, 2, "unknown"))
_EGGS = MORNING - timedelta(days=28)
_EVENING = MORNING - timedelta(hours=12)


def demo_keeper(folder: Path) -> Keeper:
    """The invented keeper at work in ``folder``, on copies of everything."""
    examples = files.shipped("examples")
    for name in ("keeper.toml", "places.toml"):
        (folder / name).write_bytes((examples / name).read_bytes())
    keeper = keeper_of(folder / "demo.db", folder, clock_set_to(MORNING))
    bring.notebook_in(keeper, examples / "season.csv")
    walked = [place.name for place in keeper.settings.places if place.temperature_c is None]
    logged.temperatures(keeper, examples / "temperatures.csv", "home", walked)
    keeper.places.looked(when=Span(_EVENING, _EVENING))
    for name, source, eggs, caterpillars, lost, why in _BROODS:
        counts = {"eggs": eggs, "caterpillars": caterpillars, "lost": lost}
        keeper.broods.tell(name, source, counts, why, Span(_EGGS, _EGGS))
    keeper.session = Session()  # nothing of this did the keeper do who plays with it
    return keeper
