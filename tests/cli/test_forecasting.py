"""The forecast on the command line: how a date comes about, and one definition of what it says."""

import json
from datetime import date, timedelta
from typing import Any

from pupawatch.keeper import Keeper
from pupawatch.model.times import Span


def test_how_a_date_comes_about_is_explained(keeper: Keeper, run: Any) -> None:
    now = keeper.clock()
    keeper.pupae.found("M1", "Roof", when=Span(now - timedelta(days=4, hours=12), now - timedelta(days=4)))
    for day in range(20):
        keeper.temperatures.measured("Roof", 17, 27, (now - timedelta(days=day)).date())
    told = run("forecast", "--explain", "M1")
    assert told.code == 0
    for words in (
        "heat so far",
        "degree-days above 12.5 °C",
        "four in five such pupae need",
        "the rest is how much pupae",
    ):
        assert words in told.out
    assert "four in five such pupae need" not in run("forecast", "M1").out
    assert run("forecast", "--explain").code == 2


def test_the_json_holds_what_the_words_are_made_of(keeper: Keeper, run: Any) -> None:
    now = keeper.clock()
    keeper.pupae.found("M1", "Roof", when=Span(now - timedelta(days=9, hours=12), now - timedelta(days=9)))
    (pupa,) = json.loads(run("today", "--json").out)["pupae"]
    told = pupa["forecast"]
    assert told["low"] < told["median"] < told["high"]
    assert date.fromisoformat(told["days"]["low"]) <= date.fromisoformat(told["days"]["high"])
    assert 0 <= told["already"] <= told["morning"]["p"] <= 1
    assert abs(told["survival"][0]["p"] + told["already"] - 1) < 1e-3
    assert 0 <= told["time_left"] <= 1
    assert (told["rests"], told["otherwise"], told["too_cold"]) == (0, None, False)


def test_the_coming_days_are_typed_in_by_one_act_and_reach_the_forecast(keeper: Keeper, run: Any) -> None:
    now = keeper.clock()
    keeper.pupae.found("M1", "Roof", when=Span(now - timedelta(days=4, hours=12), now - timedelta(days=4)))
    for day in range(20):
        keeper.temperatures.measured("Roof", 17, 27, (now - timedelta(days=day)).date())

    def median() -> str:
        (pupa,) = json.loads(run("forecast", "--json").out)["pupae"]
        return str(pupa["forecast"]["median"])

    before = median()
    assert run("expect", *("4", "9") * 10).code == 0
    assert median() > before
    assert run("expect", "9", "4").code == 2
