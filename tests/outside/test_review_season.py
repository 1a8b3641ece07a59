"""The whole comparison, fed with pupae, against the published counts of a wounding trial.

Source: Ragonese et al., data of the 2019 temperature experiment, Proc. R. Soc. B 2024: at 18-30 °C, of monarch
pupae pricked for a blood sample 74 had sound wings and 21 not; of those not pricked 183 and 15. It stands in for
"moved" against "not moved": nobody has published a trial of moving pupae.
"""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from scipy.stats import fisher_exact

from pupawatch import settings as files
from pupawatch.model.entries import Emerged, Moved, Wings
from pupawatch.model.pupa import Pupa, Relocation
from pupawatch.review.compare import contests, family
from pupawatch.review.factors import Season
from pupawatch.review.page import page
from pupawatch.words.review_page import lines

FORMED = datetime(2019, 7, 1, tzinfo=UTC)
OUT = FORMED + timedelta(days=10)
PRICKED, LEFT = (74, 21), (183, 15)


def pupa(number: int, moved: bool, wings: str) -> Pupa:
    told: dict[str, Any] = {"act": "a", "recorded": OUT, "zone": "UTC", "pupa": f"p{number}"}
    move = Moved(id=f"{number}m", happened=FORMED + timedelta(hours=50), to="Incubator", **told)
    return Pupa(
        f"p{number}",
        label=f"P{number}",
        species="monarch",
        site="Incubator",
        place="Incubator",
        formed_to=FORMED,
        relocations=[Relocation(move, "Incubator")] if moved else [],
        emerged=Emerged(id=f"{number}e", happened=OUT, **told),
        wings=Wings(id=f"{number}w", happened=OUT, condition=wings, **told),
    )


@pytest.fixture(scope="module")
def trial(tmp_path_factory: pytest.TempPathFactory) -> Season:
    kinds = [(True, "sound")] * 74 + [(True, "crumpled")] * 21 + [(False, "sound")] * 183 + [(False, "crumpled")] * 15
    pupae = [pupa(number, moved, wings) for number, (moved, wings) in enumerate(kinds)]
    return Season(pupae, files.load(Path(tmp_path_factory.mktemp("no-settings"))))


def test_the_comparison_reaches_the_published_p_and_odds_ratio(trial: Season) -> None:
    (contest,) = contests(trial, "moved")
    assert contest.p == pytest.approx(0.00094, abs=5e-6)
    (pair,) = contest.strata
    odds = fisher_exact([[pair.hits, pair.n - pair.hits], [pair.other_hits, pair.other_n - pair.other_hits]])
    assert odds.statistic == pytest.approx(0.289, abs=5e-4)


def test_the_groups_have_the_published_intervals(trial: Season) -> None:
    groups = trial.counts("moved")
    assert groups["moved"].success.interval == pytest.approx((0.686, 0.851), abs=5e-4)
    assert groups["not moved"].success.interval == pytest.approx((0.879, 0.954), abs=5e-4)


def test_the_page_says_so_in_words(trial: Season) -> None:
    text = " ".join(" ".join(lines(page(trial.pupae, trial.settings, OUT + timedelta(days=30), "moved"))).split())
    assert "Pupae moved as planned did worse than those not moved: 74 of 95 sound against 183 of 198" in text
    assert "; p = 0.0028 over all 3 questions" in text  # three times the published one (Holm)
    assert family(trial, "moved").contests[0].certain
