"""The plan, the move log and the places as screens: what they tell, and what their keys write down.

What a keeper does by them (the move rule's hours, a climb for a clear one) is common practice, no source.
"""

from collections.abc import Callable
from datetime import timedelta
from typing import TYPE_CHECKING

import msgspec
import pytest

from pupawatch.keeper import Keeper
from pupawatch.keeper.conditions import expected_days
from pupawatch.model.entries import Moved
from pupawatch.model.times import Span
from pupawatch.tui.screens.move_log import MoveLogScreen
from pupawatch.tui.screens.places import PlacesScreen
from pupawatch.tui.screens.plan import PlanScreen

if TYPE_CHECKING:
    from conftest import Hand, Opened

WIDE = (130, 40)


async def plan_of(hand: "Hand") -> PlanScreen:
    """Open the plan and wait until it is worked out."""
    await hand.press("g")
    screen = hand.app.screen
    assert isinstance(screen, PlanScreen)
    assert await hand.until(lambda: screen.plan is not None)
    await hand.pilot.pause()
    return screen


async def again(hand: "Hand", screen: PlanScreen, *keys: str) -> None:
    """Press these keys and wait for the plan that follows."""
    before = screen.plan
    await hand.press(*keys)
    assert await hand.until(lambda: screen.plan is not before)
    await hand.pilot.pause()


async def log_of(hand: "Hand") -> MoveLogScreen:
    """Open the move log and wait until it is read."""
    await hand.press("y")
    screen = hand.app.screen
    assert isinstance(screen, MoveLogScreen)
    assert await hand.until(lambda: screen.moves is not None)
    await hand.pilot.pause()
    return screen


def labels(screen: PlanScreen) -> list[str]:
    assert screen.plan is not None
    return [one.standing.pupa.label for one in screen.plan.proposals]


async def test_the_plan_proposes_and_its_key_writes_the_move_with_its_reason(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        screen = await plan_of(hand)
        assert labels(screen) == ["B1"]
        assert "1 move of at most 8" in hand.seen()
        await again(hand, screen, "D", "enter")
        (moved,) = hand.written()
        assert isinstance(moved, Moved)
        assert (moved.to, moved.method, moved.emergency) == ("Roof", "silk", "")
        assert "cannot be climbed" in moved.reason
        assert labels(screen) == []
        assert "nothing to move" in hand.seen()


async def test_undo_in_the_plan_takes_the_move_back_and_proposes_it_again(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        screen = await plan_of(hand)
        await again(hand, screen, "D", "enter")
        await again(hand, screen, "u")
        assert labels(screen) == ["B1"]


async def test_what_is_left_in_peace_says_why_and_nothing_is_written(small: Keeper, opened: "Opened") -> None:
    async with opened(small, WIDE) as hand:
        screen = await plan_of(hand)
        screen.go_to(small.pupa("A2").id)
        await hand.press("D")
        assert "A2 stays: may be moved from 20:40; has hung at least 10 h, soft until 24 h" in hand.seen()
        assert hand.written() == []


async def test_the_numbers_stand_behind_a_key(small: Keeper, opened: "Opened") -> None:
    async with opened(small, WIDE) as hand:
        await plan_of(hand)
        assert "to be expected" not in hand.seen()
        await hand.press("x")
        told = hand.told()
        assert "If it stays, a bad emergence: 50 %" in told
        assert "from handling" in told


async def test_a_clear_one_gets_its_climb_written_down_and_needs_no_more(small: Keeper, opened: "Opened") -> None:
    small.pupae.saw("B1", "clear")
    async with opened(small) as hand:
        screen = await plan_of(hand)
        assert "1 aid" in hand.seen()
        await again(hand, screen, "D", "enter")
        assert hand.kinds() == ["climb"]
        assert labels(screen) == []
        await hand.press("escape")
        await hand.go_to("B1")
        assert "do not touch" in hand.seen()


async def test_a_rescue_tells_what_to_do_at_once(small: Keeper, opened: "Opened") -> None:
    small.pupae.fell("B1")
    async with opened(small, (130, 50)) as hand:
        screen = await plan_of(hand)
        told = " ".join(hand.told().split())
        assert small.settings.care.rescue["firm"].steps[0][:40] in told
        await again(hand, screen, "D", "enter")
        assert small.pupa("B1").relocations[-1].entry.emergency == "fallen"
        await hand.press("escape")
        await hand.go_to("B1")
        assert "check that it holds" in hand.seen()


async def test_the_move_log_tells_each_move_and_keeps_whether_it_held(small: Keeper, opened: "Opened") -> None:
    small.moves.move("B1", "Roof", "silk")
    async with opened(small, WIDE) as hand:
        screen = await log_of(hand)
        assert "B1: Jar → Roof, by its silk.\nIt had hung 5.0–5.5 d, set" in hand.told()
        await hand.press("h")
        assert small.pupa("B1").relocations[-1].held is True
        assert await hand.until(lambda: [one.ended for one in screen.moves or []] == ["holds"])
        await hand.press("H")
        assert hand.kinds() == ["held", "held"]
        assert small.pupa("B1").danger == "fallen"


async def test_only_the_newest_move_of_a_pupa_can_be_judged(small: Keeper, opened: "Opened") -> None:
    small.moves.move("B1", "Roof", "silk")
    small.moves.move("B1", "Line", "tie")
    async with opened(small, WIDE) as hand:
        await log_of(hand)
        await hand.press("down", "h")
        assert "was moved again since" in hand.seen()
        assert hand.written() == []


@pytest.mark.parametrize(
    ("keys", "kept"),
    [
        (["e"], lambda one: one.early),
        (["x"], lambda one: bool(one.move.entry.emergency)),
        (["m", "2"], lambda one: one.move.entry.method == "silk"),
        (["p", "2"], lambda one: "Porch cage side" in (one.move.origin, one.move.entry.to)),
    ],
)
async def test_the_move_log_is_narrowed_down_by_a_key(
    demo: Keeper, opened: "Opened", keys: list[str], kept: Callable[..., bool]
) -> None:
    async with opened(demo) as hand:
        screen = await log_of(hand)
        assert screen.moves
        every = len(screen.moves)
        await hand.press(*keys)
        listed = [item.about for item in screen.listed]
        assert 0 < len(listed) < every
        assert listed == [one for one in screen.moves if kept(one)]
        assert f"{len(listed)} of {every}" in hand.seen()


async def test_the_places_tell_what_hangs_there_how_it_went_and_the_room_to_come(
    demo: Keeper, opened: "Opened"
) -> None:
    async with opened(demo, WIDE, forecasts=True) as hand:
        assert await hand.decided()
        await hand.press("p")
        assert isinstance(hand.app.screen, PlacesScreen)
        told = " ".join(hand.told().split())
        assert "Emergences in Porch cage roof: 35 of 37 went well." in told
        assert "M15" in told
        assert "Butterflies there: M3, M7." in told or "Butterflies there: M7, M3." in told
        assert "Room today 2; on the coming mornings, Wed 9: 4, Thu 10: 4." in told


async def test_the_thermometer_of_a_place_is_read_off_in_a_form(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("p", "t")
        assert hand.title == "Thermometer in Roof"
        await hand.type("31")
        await hand.press("down")
        await hand.type("17,5 C")
        await hand.press("enter")
        assert "lower comes first" in hand.wrong
        await hand.press("up")
        await hand.type("12")
        await hand.press("enter")
        told = " ".join(hand.seen().split())
        assert "Temperature: 12 to 17.5 °C on Fri 14 Aug, recorded." in told
        assert hand.kinds() == ["measured"]


async def test_the_coming_days_are_typed_in_by_one_key(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("p", "T")
        assert hand.title == "Expected outdoors"
        await hand.type("12")
        await hand.press("enter")
        assert "the lowest and the highest of each day" in hand.wrong
        await hand.type("12 20 9 18")
        await hand.press("enter")
        assert [(day.low_c, day.high_c) for day in expected_days(small.settings, small.folder)[""]] == [
            (12, 20),
            (9, 18),
        ]


async def test_a_place_said_to_be_warm_after_all_is_doubted_on_the_screen_too(small: Keeper, opened: "Opened") -> None:
    small.pupae.found("A9", "Roof", when=Span(*(small.clock() - timedelta(hours=hours) for hours in (36, 34))))
    small.places.describe(msgspec.structs.replace(small.settings.place("Roof"), temperature_c=5.04))
    async with opened(small, WIDE) as hand:
        await hand.press("p", "enter", "enter")
        assert small.settings.place("Roof").temperature_c == 5.04
        await hand.press("enter")
        hand.app.screen.query_one("#temperature").focus()
        await hand.pilot.pause()
        await hand.type("72 F")
        await hand.press("enter")
        assert small.settings.place("Roof").temperature_c == pytest.approx(22.2, abs=0.05)
        assert "A9 hung in the cold until now" in " ".join(hand.seen().split())


async def test_a_place_form_keeps_length_trouble_and_quarantine(small: Keeper, opened: "Opened") -> None:
    small.places.describe(msgspec.structs.replace(small.settings.place("Roof"), quarantined=True))
    async with opened(small) as hand:
        await hand.press("p", "enter")
        assert "Dangers" in hand.seen()
        for name, text in (("along", "120 / 8"), ("trouble", "drip, ants")):
            hand.app.screen.query_one(f"#{name}").focus()
            await hand.pilot.pause()
            await hand.type(text)
        await hand.press("enter")
        kept = small.settings.place("Roof")
        assert (kept.length_cm, kept.spacing_cm, kept.drip, kept.sun, kept.disturbed) == (120, 8, True, False, "ants")
        assert kept.quarantined
