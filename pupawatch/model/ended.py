"""When a pupa has had time to end: the one definition that advice and review share.

Losses are known on the first days, butterflies a week later; so younger pupae would tell of losses alone.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.model.times import hours_between

_OWN = 10
"""So many of the keeper's own emergences tell how long a species takes here."""
_NEARLY_ALL = 0.95


def had_time_to_end(pupae: Iterable[Pupa], now: datetime, settings: Settings) -> list[Pupa]:
    """Those that pupated long enough before ``now``, be they alive or not, and those of which it is not known when."""
    pupae = list(pupae)
    enough = {species: _time_to_end(pupae, species, settings) for species in {pupa.species for pupa in pupae}}
    return [pupa for pupa in pupae if pupa.formed_to is None or now - pupa.formed_to >= enough[pupa.species]]


def _time_to_end(pupae: list[Pupa], species: str, settings: Settings) -> timedelta:
    """As long as the species usually takes at most, or as nearly all of the keeper's own did, if that is longer."""
    own = sorted(
        hours_between(pupa.formed_to, pupa.emerged.happened)
        for pupa in pupae
        if pupa.species == species and pupa.formed_to is not None and pupa.emerged is not None
    )
    usual = 24 * settings.profile(species).pupal_days_high
    if len(own) >= _OWN:
        usual = max(usual, own[min(len(own) - 1, int(_NEARLY_ALL * len(own)))])
    return timedelta(hours=usual)
