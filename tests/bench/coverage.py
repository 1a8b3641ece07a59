"""Do the intervals hold what they say, and do the sentences claim what is not there?

    python tests/bench/coverage.py [SEASONS]

Simulates seasons of 40 pupae (5,000 unless another number is given) of which some are still pupae at the end and
some were never judged. Asked: how often the 95 % interval covers the true rate, over true rates from 0.5 to 0.95;
how often Newcombe's interval covers a true difference; and how often, with no true difference at all between sites,
moved or not, hang times or weeks, the sentences claim one. Exit code 1 where a promise is broken.
"""

import sys
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

from pupawatch import settings as files
from pupawatch.model.entries import Emerged, Lost, Moved, Wings
from pupawatch.model.pupa import Pupa, Relocation
from pupawatch.model.settings import Settings
from pupawatch.review.compare import family
from pupawatch.review.factors import Season
from pupawatch.review.intervals import Pair, difference
from pupawatch.review.outcomes import DEFORMED, LOST, PENDING, SOUND, UNKNOWN, Counts
from pupawatch.words.review import sentences

PUPAE = 40
PENDING_SHARE, UNKNOWN_SHARE = 0.05, 0.05
RATES = [0.5 + 0.05 * step for step in range(10)]
SITES = ("Cage roof", "Cage side", "Stems", "Jar")
START = datetime(2026, 7, 1, 6, tzinfo=UTC)


def main(seasons: int) -> int:
    """Run the three simulations, print what they found, and say by the exit code whether the promises hold."""
    chance = Random(20260901)
    mixed = covered(chance, seasons, None)
    print(f"{seasons} seasons of {PUPAE} pupae, true rate anywhere in 0.5-0.95: {mixed:.2%} of 95 % intervals cover it")
    for rate in RATES:
        print(f"  true rate {rate:.2f}: {covered(chance, seasons, rate):.2%}")
    print(
        f"difference of two halves of such a season: {differences_covered(chance, seasons):.2%} of intervals cover it"
    )
    site, anything = claimed(chance, seasons)
    print(f"no true difference: {site:.2%} of seasons claim one between sites, {anything:.2%} claim anything at all")
    return 0 if 0.93 <= mixed <= 0.97 and anything <= 0.05 else 1


def outcome(chance: Random, rate: float) -> str:
    """What became of one pupa of a season with this true success rate."""
    fate = chance.random()
    if fate < PENDING_SHARE:
        return PENDING
    if fate < PENDING_SHARE + UNKNOWN_SHARE:
        return UNKNOWN
    return SOUND if chance.random() < rate else chance.choice((DEFORMED, LOST + "disease"))


def covered(chance: Random, seasons: int, rate: float | None) -> float:
    """The share of seasons whose interval covers the true rate (None: another one for every season)."""
    hits = 0
    for _ in range(seasons):
        truth = chance.uniform(0.5, 0.95) if rate is None else rate
        low, high = Counts.of(Counter(outcome(chance, truth) for _ in range(PUPAE))).success.interval or (1.0, 0.0)
        hits += low <= truth <= high
    return hits / seasons


def differences_covered(chance: Random, seasons: int) -> float:
    """The share of seasons in which the interval of the difference between two halves covers the true one."""
    hits = 0
    for _ in range(seasons):
        truths = chance.uniform(0.5, 0.95), chance.uniform(0.5, 0.95)
        one, other = (Counts.of(Counter(outcome(chance, t) for _ in range(PUPAE // 2))).success for t in truths)
        _, low, high = difference([Pair(one.hits, one.n, other.hits, other.n)])
        hits += low <= truths[0] - truths[1] <= high
    return hits / seasons


def claimed(chance: Random, seasons: int) -> tuple[float, float]:
    """The shares of seasons that claim a difference between sites, and that claim anything, where nothing differs."""
    with TemporaryDirectory() as folder:
        settings = files.load(Path(folder))
    about_site = about_anything = 0
    for _ in range(seasons):
        season = indifferent_season(chance, settings)
        claims = {sentence.about for sentence in sentences(season, "site", family(season, "site")) if sentence.claims}
        about_site += "site" in claims
        about_anything += bool(claims)
    return about_site / seasons, about_anything / seasons


def indifferent_season(chance: Random, settings: Settings) -> Season:
    """A season in which site, move, hang time and week make no difference to the outcome."""
    rate = chance.uniform(0.5, 0.95)
    return Season([pupa(number, chance, rate) for number in range(PUPAE)], settings)


def pupa(number: int, chance: Random, rate: float) -> Pupa:
    """One pupa whose fate was drawn without regard to anything else about it."""
    formed, site = START + timedelta(hours=chance.randrange(60 * 24)), chance.choice(SITES)
    out = formed + timedelta(days=10)
    told: dict[str, Any] = {"act": "a", "recorded": out, "zone": "UTC", "pupa": f"p{number}", "happened": out}
    found = Pupa(f"p{number}", label=f"P{number}", species="monarch", site=site, place=site, formed_to=formed)
    if chance.random() < 0.5:
        moved = told | {"happened": formed + timedelta(hours=chance.randrange(24, 200))}
        found.relocations = [Relocation(Moved(id="m", to="Chamber", **moved), site)]
    fate = outcome(chance, rate)
    if fate.startswith(LOST):
        found.lost = Lost(id="l", cause=fate.removeprefix(LOST), **told)
    elif fate != PENDING:
        found.emerged = Emerged(id="e", **told)
        condition = {SOUND: "sound", DEFORMED: "crumpled"}.get(fate)
        found.wings = Wings(id="w", condition=condition, **told) if condition else None
    return found


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000))
