"""Every line of what to do about a pupa, and of what became of it: what is known of it, and the words that must follow.

The words are the program's own; which line comes before which is the order of urgency of the move rule.
"""

from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from pupawatch.words.pupae import became, to_do

NOW = datetime(2026, 9, 8, 11, 40, tzinfo=UTC)
ZONE = "America/Chicago"
DUE = NOW + timedelta(days=2)


def outlook(**known: Any) -> Any:
    """A forecast of Thursday the tenth, from Wednesday to Friday."""
    told = {
        "median": DUE, "low": DUE - timedelta(days=1), "high": DUE + timedelta(days=1), "already": 0.01, "later": 0.0,
        "overdue": False, "time_left": 0.9, "horizon": DUE + timedelta(days=70), "by_day": ((date(2026, 9, 10), 1.0),),
        "morning": None, "basis": "heat", "too_cold": False,
    }  # fmt: skip
    return SimpleNamespace(**(told | known))


def standing(kind: str, **known: Any) -> Any:
    """A pupa with this verdict of which nothing else is known."""
    pupa = SimpleNamespace(is_open=True, danger=known.pop("danger", ""))
    goals = known.pop("goals", ())
    choice = SimpleNamespace(candidate=SimpleNamespace(goals=goals))
    verdict = SimpleNamespace(kind=kind, movable_from=known.pop("movable_from", None))
    told = {
        "stage": "set", "suggestion": None, "unsafe": False, "look_again": False, "outlook": None, "is_sick": False,
        "wants_aid": False, "decision": decided("peace"), "protection": (),
        "pupates_by": None, "alive": 1.0,
    }  # fmt: skip
    return SimpleNamespace(pupa=pupa, choice=choice, verdict=verdict, **(told | known))


ROOF = SimpleNamespace(place="Roof")


def decided(kind: str, morning: int | None = None, toss_up: bool = False) -> Any:
    """What the plan of the shelf says of it: to the roof on that morning, or on none."""
    return SimpleNamespace(kind=kind, later=morning and SimpleNamespace(place="Roof", morning=morning), toss_up=toss_up)


@pytest.mark.parametrize(
    ("seen", "told"),
    [
        (standing("rescue", suggestion=ROOF), "rescue to Roof now"),
        (standing("rescue"), "rescue to a climbable place now"),
        (standing("rescue", suggestion=ROOF, danger="fallen"), "rescue to Roof now"),
        # One that is soft dents at a touch (common practice, no source): it goes on the paper it lies on.
        (
            standing("rescue", suggestion=ROOF, danger="fallen", stage="soft"),
            "do not lift it: bring it on paper to Roof",
        ),
        (standing("free", suggestion=ROOF, decision=decided("move", toss_up=True)), "move to Roof, or leave it"),
        (standing("leave", wants_aid=True), "bring a climbing aid to it"),
        (standing("leave", is_sick=True), "do not touch; sick: keep the others away"),
        (standing("leave", unsafe=True), "do not touch; make room below"),
        (standing("leave"), "do not touch; out today"),
        (standing("leave", outlook=outlook()), "do not touch; due Thu 10 (9–11)"),
        (standing("wait", movable_from=NOW + timedelta(hours=3)), "hands off until 09:40"),
        (standing("wait"), "hands off"),
        (standing("wait", protection=(1,)), "protect it where it hangs; hands off"),
        (standing("leave", unsafe=True, protection=(1,)), "protect it where it hangs; out today"),
        (standing("wait", stage="prepupa"), "hands off"),
        (
            standing("wait", stage="prepupa", pupates_by=NOW + timedelta(hours=3)),
            "hands off; likely to pupate by 09:40",
        ),
        (standing("none"), "find the butterfly; then record it as out or lost"),
        (standing("free", outlook=outlook(already=0.9), suggestion=ROOF), "probably out: check"),
        (standing("free", suggestion=ROOF), "move to Roof"),
        (standing("soon", wants_aid=True), "bring a climbing aid to it"),
        (standing("free", is_sick=True), "sick: keep it away from the others"),
        (standing("free", decision=decided("later", 1)), "move it tomorrow to Roof"),
        (standing("free", decision=decided("later", 2)), "move it in 2 days to Roof"),
        (standing("free", decision=decided("later"), goals=(ROOF,)), "leave it today; every better place is full"),
        (standing("free", unsafe=True), "unsafe here; find it a climbable place"),
        (standing("free", unsafe=True, decision=None, goals=(ROOF,)), "unsafe here; comparing places …"),
        (standing("free", look_again=True), "check that it holds"),
        (standing("soon"), "leave it; out within days"),
        (standing("soon", alive=0.4), "may be dead (60 %): check the signs"),
        (standing("soon", outlook=outlook()), "leave it; due Thu 10 (9–11)"),
        (standing("free", outlook=outlook(overdue=True)), "overdue: leave it, check the signs"),
        (standing("care"), "leave it alone"),
        (standing("free", outlook=outlook()), "leave it alone; due Thu 10 (9–11)"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_to_do(seen: Any, told: str) -> None:
    assert to_do(seen, NOW, ZONE) == told


@pytest.mark.parametrize(("kind", "how"), [("care", "gently"), ("soon", "today")])
def test_a_move_says_how(kind: str, how: str) -> None:
    assert how in to_do(standing(kind, suggestion=ROOF), NOW, ZONE)


def finished(**known: Any) -> Any:
    told = {"lost": None, "emerged": None, "wings": None, "released": None, "died": None}
    return SimpleNamespace(**(told | {name: SimpleNamespace(**fields) for name, fields in known.items()}))


OUT, SOUND = {"happened": NOW}, {"condition": "sound"}


@pytest.mark.parametrize(
    ("pupa", "told"),
    [
        (finished(lost={"happened": NOW, "cause": "parasitoid"}), "lost 06:40: parasitoid"),
        (finished(), "released"),
        (finished(emerged=OUT), "wings unjudged, out 06:40"),
        (finished(emerged=OUT, wings=SOUND), "wings sound, out 06:40"),
        (finished(emerged=OUT, wings=SOUND, released=OUT), "wings sound, released 06:40"),
        (finished(emerged=OUT, wings=SOUND, died=OUT), "wings sound, died 06:40"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_became_of_it(pupa: Any, told: str) -> None:
    assert became(pupa, NOW, ZONE) == told
