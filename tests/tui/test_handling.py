"""Nothing is done behind the keeper's back: a click selects, what cannot be is warned of, the cursor stays in reach."""

from datetime import date, timedelta
from typing import TYPE_CHECKING, NamedTuple, cast

import msgspec
import pytest

from pupawatch.care.forecast.ahead import Expected
from pupawatch.errors import Unusable
from pupawatch.keeper import Keeper
from pupawatch.model.settings import THEMES
from pupawatch.model.times import Span
from pupawatch.settings import load
from pupawatch.tui.screens.move_log import MoveLogScreen
from pupawatch.tui.screens.places import PlacesScreen
from pupawatch.tui.screens.plan import PlanScreen
from pupawatch.tui.widgets.days import day_strip
from pupawatch.tui.widgets.lines import Lines

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Opened

HOUR = timedelta(hours=1)


async def test_a_click_selects_a_row_and_opens_nothing(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        row = next(at for at, one in enumerate(hand.shelf.rows) if one.standing and one.standing.pupa.label == "B1")
        await hand.pilot.click(Lines, offset=(20, row))
        assert hand.here == "B1"
        assert not hand.in_front


async def test_a_click_on_the_plan_writes_nothing(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("g")
        screen = hand.app.screen
        assert isinstance(screen, PlanScreen)
        assert await hand.until(lambda: screen.plan is not None)
        await hand.pilot.pause()
        await hand.pilot.click(Lines, offset=(10, 0))
        assert screen.item is not None
        assert hand.written() == []
        await hand.press("D")
        assert "Slide" in hand.told() or "1." in hand.told()  # the steps stand there before anything is recorded
        assert hand.written() == []
        await hand.press("escape")
        assert hand.written() == []


@pytest.mark.parametrize(("key", "kind"), [("c", "seen"), ("d", "seen"), ("e", "emerged")])
async def test_what_a_pupa_of_half_a_day_cannot_do_is_recorded_with_a_warning(
    small: Keeper, opened: "Opened", key: str, kind: str
) -> None:
    async with opened(small) as hand:
        await hand.go_to("A2")
        await hand.press(key)
        assert hand.kinds() == [kind]
        assert "It pupated 14 h ago at most" in hand.said


async def test_an_old_pupa_darkens_without_a_warning(small: Keeper, opened: "Opened") -> None:
    old = Span(small.clock() - 300 * HOUR, small.clock() - 290 * HOUR)
    small.pupae.found("A9", "Roof", when=old)
    async with opened(small) as hand:
        await hand.go_to("A9")
        await hand.press("d")
        assert "at most" not in hand.said


async def test_a_pupa_does_not_become_a_pupa_again(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("o")
        assert "A1 is a pupa already" in hand.said
        assert hand.written() == []


async def test_whether_it_holds_and_an_aid_have_keys_on_the_round(small: Keeper, opened: "Opened") -> None:
    small.moves.move("B1", "Roof", "silk")
    async with opened(small) as hand:
        await hand.go_to("B1")
        await hand.press("h")
        await hand.go_to("A3")
        await hand.press("A")
        assert hand.kinds() == ["held", "climb"]


async def test_the_move_log_opens_on_the_selected_pupa(small: Keeper, opened: "Opened") -> None:
    small.moves.move("B1", "Roof", "silk")
    small.moves.move("A3", "Line", "tie")
    async with opened(small) as hand:
        await hand.go_to("B1")
        await hand.press("y")
        screen = hand.app.screen
        assert isinstance(screen, MoveLogScreen)
        assert await hand.until(lambda: screen.item is not None)
        await hand.pilot.pause()
        await hand.press("h")
        assert small.pupa("B1").relocations[-1].held is True
        assert small.pupa("A3").relocations[-1].held is None


async def test_escape_on_the_round_leaves_the_cursor_where_it_is(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("B1")
        await hand.press("escape")
        assert hand.here == "B1"


async def test_when_the_last_pupa_of_a_place_is_out_the_cursor_stays_there(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A3")
        assert hand.shelf.rows[hand.shelf.rows.index(hand.shelf.row) + 1].standing is None  # type: ignore[arg-type]
        await hand.press("e")
        assert hand.here in ("A1", "A2")
        await hand.press("space")
        assert [entry.place for entry in hand.written() if hasattr(entry, "place")][-1] == "Roof"


@pytest.mark.parametrize("screen", ["", "t"])
async def test_after_a_sleep_and_after_midnight_the_screen_is_of_now(
    small: Keeper, opened: "Opened", screen: str
) -> None:
    began = small.clock()
    slept = {"hours": 0.0}
    small.clock = lambda: began + timedelta(**slept)
    async with opened(small) as hand:
        await hand.press(*screen)
        drawn: list[bool] = []
        refill = hand.app.screen.refill  # type: ignore[attr-defined]
        hand.app.screen.refill = lambda: (drawn.append(True), refill())  # type: ignore[attr-defined]
        hand.app.screen.poll()  # type: ignore[attr-defined]
        hand.app.screen.poll()  # type: ignore[attr-defined]
        assert drawn == []
        slept["hours"] = 20
        assert await hand.until(lambda: bool(drawn), 5)


async def test_an_exact_label_wins_and_the_arrows_walk_while_typing(small: Keeper, opened: "Opened") -> None:
    for label in ("B10", "B11"):
        small.pupae.found(label, "Roof", when=Span(small.clock() - 60 * HOUR, small.clock() - 58 * HOUR))
    async with opened(small) as hand:
        await hand.press("slash", "b", "1")
        assert hand.here == "B1"
        assert "“b1”: 3" in hand.seen()
        await hand.press("up")
        assert hand.here in ("B11", "Jar")


async def test_after_a_new_place_the_cursor_is_on_it(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("p", "N")
        await hand.type("Shelf")
        await hand.press("enter")
        screen = hand.app.screen
        assert isinstance(screen, PlacesScreen)
        assert screen.item is not None
        assert screen.item.key == "place:Shelf"


async def test_long_labels_that_differ_at_the_end_differ_on_the_shelf(small: Keeper, opened: "Opened") -> None:
    for number in (1, 2):
        when = Span(small.clock() - 60 * HOUR, small.clock() - 58 * HOUR)
        small.pupae.found(f"milkweed-patch-north-{number}", "Roof", when=when)
    async with opened(small) as hand:
        seen = hand.seen()
        assert "milkw…orth-1" in seen.replace(" ", "")
        assert "milkw…orth-2" in seen.replace(" ", "")


async def test_the_foot_begins_with_what_the_selected_row_asks_for(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        first = {}
        for name in ("Roof", "A1", "C1"):
            await hand.go_to(name)
            first[name] = hand.seen().split("\n")[-1].split()[:2]
        assert first == {"Roof": ["space", "Visited"], "A1": ["d", "Dark"], "C1": ["o", "Pupated"]}


@pytest.mark.parametrize("screen", ["", "t", "b", "i", "g", "y", "p", "S"])
async def test_help_tells_the_keys_of_every_screen(small: Keeper, opened: "Opened", screen: str) -> None:
    async with opened(small) as hand:
        await hand.press(*screen)
        below = hand.app.screen
        await hand.press("question_mark")
        told = " ".join(hand.told().split())
        from pupawatch.model.acts import SCREENS

        assert [act.name for act in SCREENS[below.SCREEN] if act.help not in told] == []  # type: ignore[attr-defined]


class _Day(NamedTuple):
    day: date
    mean: float
    low: int
    high: int


def test_the_busiest_days_are_marked_and_a_bar_is_not_full_before_the_busiest() -> None:
    days = [_Day(date(2026, 9, 8) + timedelta(days=at), mean, 1, 9) for at, mean in enumerate([6, 2, 12, 2])]
    told = str(day_strip(cast(list[Expected], days))).split("\n")[1]
    assert told.count("!") == 1
    assert told.count("█") == 1


def test_a_narrow_strip_shows_whole_days_only() -> None:
    days = [_Day(date(2026, 9, 8) + timedelta(days=at), 1, 0, 2) for at in range(14)]
    told = str(day_strip(cast(list[Expected], days), 46)).split("\n")
    assert told[0].split()[-1].endswith("15")
    assert len(told[0].rstrip()) <= 46


def test_a_misspelt_theme_is_told_with_the_nearest_one(tmp_path: "Path") -> None:
    (tmp_path / "keeper.toml").write_text("theme = 'dusc'\n", encoding="utf-8")
    with pytest.raises(Unusable, match="did you mean 'dusk'"):
        load(tmp_path)


async def test_every_theme_that_may_be_named_is_there_and_no_other(small: Keeper, opened: "Opened") -> None:
    named = msgspec.structs.replace(small.settings.keeper, theme="noon")
    small.settings = msgspec.structs.replace(small.settings, keeper=named)
    async with opened(small) as hand:
        assert set(hand.app.available_themes) == set(THEMES)
        assert hand.app.theme == "noon"
