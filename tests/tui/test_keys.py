"""Every key is a setting with an act behind it, and every act can be looked up."""

from typing import TYPE_CHECKING

import msgspec
import pytest
import tomli

from pupawatch import settings as files
from pupawatch.keeper import Keeper
from pupawatch.model.acts import ROUND, SCREENS, acts_by_name, clashes, keys_of
from pupawatch.tui.acts import key_words
from pupawatch.tui.screens.adults import AdultsScreen
from pupawatch.tui.screens.answering import AnsweringScreen
from pupawatch.tui.screens.health import HealthScreen
from pupawatch.tui.screens.move_log import MoveLogScreen
from pupawatch.tui.screens.places import PlacesScreen
from pupawatch.tui.screens.plan import PlanScreen
from pupawatch.tui.screens.review import ReviewScreen
from pupawatch.tui.screens.round import RoundScreen
from pupawatch.tui.screens.table import TableScreen
from pupawatch.tui.screens.watch import WatchScreen

if TYPE_CHECKING:
    from conftest import Opened

KEYS = tomli.loads((files.shipped("config") / "keys.toml").read_text("utf-8"))["keys"]


def test_every_key_of_the_settings_has_an_act_and_every_act_a_key() -> None:
    assert set(acts_by_name()) == set(KEYS)


def test_no_key_does_two_acts_on_a_screen() -> None:
    assert list(clashes(KEYS)) == []


def test_no_key_writes_two_different_things_on_two_screens() -> None:
    """Reasoned: a hand that knows a key from one screen presses it on the next."""
    writes = {act.name for acts in SCREENS.values() for act in acts if act.writes}
    keys = [key for name in sorted(writes) for key in keys_of(KEYS[name])]
    assert sorted(keys) == sorted(set(keys))


def test_an_act_has_the_same_words_on_every_screen_that_has_it() -> None:
    named = {(act.name, act.word, act.writes) for acts in SCREENS.values() for act in acts}
    assert len(named) == len(acts_by_name())


@pytest.mark.parametrize(
    ("screen", "kind"),
    [
        ("round", RoundScreen),
        ("watch", WatchScreen),
        ("adults", AdultsScreen),
        ("health", HealthScreen),
        ("plan", PlanScreen),
        ("move_log", MoveLogScreen),
        ("places", PlacesScreen),
        ("review", ReviewScreen),
        ("table", TableScreen),
    ],
)
def test_every_act_of_a_screen_can_be_done_there(screen: str, kind: type[AnsweringScreen]) -> None:
    assert screen == kind.SCREEN
    assert [act.name for act in SCREENS[screen] if not hasattr(kind, f"action_{act.name}")] == []


def test_every_screen_of_the_table_is_one_of_these() -> None:
    assert set(SCREENS) == {"round", "watch", "adults", "health", "plan", "move_log", "places", "review", "table"}


async def test_the_help_tells_every_act_every_sign_and_the_cautions(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("question_mark")
        told = " ".join(hand.told().split())
        assert [act.name for act in ROUND if act.help not in told] == []
        assert [act.name for act in ROUND if key_words(small.settings.keys[act.name]) not in told] == []
        advice = small.settings.care.advice.values()
        assert [a.word for a in advice if f"{a.sign} {a.word}" not in told] == []
        assert [caution for a in advice for caution in a.cautions if caution not in told] == []
        assert "ocal rules" in told


async def test_help_opens_and_closes_with_the_same_key(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("question_mark")
        assert hand.in_front
        await hand.press("question_mark")
        assert not hand.in_front


async def test_help_says_how_to_leave_it_at_80_by_24(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("question_mark")
        assert "esc" in hand.seen()


async def test_a_key_of_the_keepers_own_replaces_the_shipped_one(small: Keeper, opened: "Opened") -> None:
    small.settings = msgspec.structs.replace(small.settings, keys={**small.settings.keys, "darkened": "D"})
    async with opened(small) as hand:
        await hand.go_to("A1")
        assert "D Dark" in hand.seen()
        await hand.press("d")
        assert hand.written() == []
        await hand.press("D")
        assert hand.kinds() == ["seen"]


async def test_q_leaves(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.pilot.press("q")
        assert await hand.until(lambda: not hand.app.is_running)
        assert hand.app.return_code == 0
