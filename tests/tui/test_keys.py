"""Every key is a setting with an act behind it, and every act can be looked up."""

from typing import TYPE_CHECKING

import msgspec
import tomli

from pupawatch import settings as files
from pupawatch.keeper import Keeper
from pupawatch.tui.acts import ROUND, key_words
from pupawatch.tui.screens.round import RoundScreen

if TYPE_CHECKING:
    from conftest import Opened

KEYS = tomli.loads((files.shipped("config") / "keys.toml").read_text("utf-8"))["keys"]


def test_every_key_of_the_settings_has_an_act_and_every_act_a_key() -> None:
    assert {act.name for act in ROUND} == set(KEYS)


def test_every_act_can_be_done_by_the_round_screen() -> None:
    assert [act.name for act in ROUND if not hasattr(RoundScreen, f"action_{act.name}")] == []


async def test_the_help_tells_every_act_every_sign_and_the_cautions(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("question_mark")
        told = hand.told()
        assert [act.name for act in ROUND if act.help not in told] == []
        assert [keys for keys in small.settings.keys.values() if key_words(keys) not in told] == []
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
        await hand.press("d")
        assert hand.written() == []
        await hand.press("D")
        assert hand.kinds() == ["seen"]
        assert "D Dark" in hand.seen()


async def test_q_leaves(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.pilot.press("q")
        assert await hand.until(lambda: not hand.app.is_running)
        assert hand.app.return_code == 0
