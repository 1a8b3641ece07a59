"""The watch, the adults and health from the keyboard: a whole morning at 80 by 24, the one alarm, what is refused."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec
import pytest
from msgspec import structs
from textual.widgets import OptionList

from pupawatch import settings as files
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model.entries import AdultSeen, Cleaned, Finding, Kept, Lost, kind_of
from pupawatch.model.settings import Place, Settings
from pupawatch.model.times import Span
from pupawatch.tui.screens.listing import ListScreen

if TYPE_CHECKING:
    from conftest import Hand, Opened

DAWN = datetime(2026, 8, 14, 6, 40, tzinfo=UTC)
HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)
MOST_KEYS = 60


class Clock:
    """A clock that the test puts on."""

    now = DAWN

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def morning(tmp_path: Path, shipped: Settings) -> Keeper:
    """Four clear pupae, C1 to C4; Y1 and Y2, sound, out since yesterday; blue-006 the last mark of the season."""
    places = [Place(name="Roof", surface="mesh", clearance_cm=30), Place(name="Jar", surface="glass", clearance_cm=15)]
    clock = Clock()
    settings = msgspec.structs.replace(shipped, places=places)
    keeper = Keeper(Journal(tmp_path / "journal.db"), settings, clock, tmp_path)
    formed = Span(DAWN - 264 * HOUR, DAWN - 252 * HOUR)
    for label in ("C1", "C2", "C3", "C4", "Y0", "Y1", "Y2"):
        keeper.pupae.found(label, "Jar" if label == "C4" else "Roof", when=formed)
    for label in ("Y0", "Y1", "Y2"):
        keeper.pupae.emerged(label, when=Span(DAWN - 25 * HOUR, DAWN - 25 * HOUR))
        keeper.pupae.wings(label, "sound", when=Span(DAWN - 20 * HOUR, DAWN - 20 * HOUR))
    keeper.adults.mark("Y0", "blue-006", "female", when=Span(DAWN - 18 * HOUR, DAWN - 18 * HOUR))
    keeper.adults.release("Y0", "garden", when=Span(DAWN - HOUR, DAWN - HOUR))
    evening = Span(DAWN - 12 * HOUR, DAWN - 12 * HOUR)
    for label in ("C1", "C2", "C3", "C4"):
        keeper.pupae.saw(label, "clear", evening)
    keeper.places.looked(when=evening)
    return keeper


def list_of(hand: "Hand") -> ListScreen:
    screen = hand.app.screen
    assert isinstance(screen, ListScreen)
    return screen


def here(hand: "Hand") -> str:
    """The label under the cursor."""
    item = list_of(hand).item
    assert item is not None
    return hand.app.keeper.state.pupae[item.key].label


def put_on(keeper: Keeper, **span: float) -> None:
    assert isinstance(keeper.clock, Clock)
    keeper.clock.now += timedelta(**span)


async def walk_to(hand: "Hand", label: str) -> None:
    """Down, line by line, to that label."""
    for _ in range(12):
        if here(hand) == label:
            return
        await hand.press("down")
    raise AssertionError(f"{label} is not below")


async def test_a_whole_morning_from_the_keyboard(morning: Keeper, opened: "Opened") -> None:
    """Four emergences, one of them fallen and helped up; two of yesterday's marked and released."""
    async with opened(morning) as hand:
        await hand.press("t")
        for label in ("C4", "C1", "C2", "C3"):
            await walk_to(hand, label)
            await hand.press("e")
            if label == "C1":
                put_on(morning, minutes=3)
                await hand.press("f")
                seen = hand.seen()
                assert "ON THE FLOOR: C1" in seen
                assert "hold rough paper or a stick to its feet" in seen
                assert "press l" in seen
                await hand.press("l")
                assert "ON THE FLOOR" not in hand.seen()
            put_on(morning, minutes=2)
        assert [kind_of(e) for e in hand.written()] == [
            "emerged", "emerged", "adult-seen", "adult-seen", "emerged", "emerged",
        ]  # fmt: skip
        put_on(morning, minutes=30)
        await hand.press("w", "tab", "w", "tab", "w", "tab", "w")
        assert all(morning.pupa(label).wings_full for label in ("C1", "C2", "C3", "C4"))
        put_on(morning, hours=3)  # 10:20
        await hand.press("b", "tab")
        assert here(hand) == "Y1"
        await hand.press("M")
        assert "permit" in hand.seen()
        assert "your local law come first" in hand.seen()
        await hand.press("tab", "f", "enter")
        await hand.press("r")
        assert "permit" in hand.seen()
        await hand.press("s", "tab", "2", "1", "tab")
        await hand.type("garden")
        assert "Fine to release now" in hand.seen()
        await hand.press("enter")
        assert here(hand) == "Y2"
        await hand.press("M", "tab", "m", "enter", "r", "enter")
        for label, code, sex in (("Y1", "blue-007", "female"), ("Y2", "blue-008", "male")):
            pupa = morning.pupa(label)
            assert pupa.marked is not None
            assert pupa.released is not None
            assert (pupa.marked.code, pupa.sex) == (code, sex)
            assert (pupa.released.place, pupa.released.temperature_c, pupa.released.sky) == ("garden", 21, "sun")
        await hand.press("escape", "escape")
        assert not hand.in_front
        assert hand.pressed + len("garden") <= MOST_KEYS
        print(f"{hand.pressed + len('garden')} keys")


def listen(hand: "Hand", monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What the terminal is made to ring and to note from now on."""
    heard: list[str] = []
    monkeypatch.setattr(hand.app, "bell", lambda: heard.append("bell"))
    monkeypatch.setattr(hand.app, "notify", lambda words, **_: heard.append(words))
    return heard


async def test_the_bell_rings_once_a_fall_and_a_note_says_so(
    morning: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    morning.pupae.emerged("C1")
    once = ["bell", "C1 is on the floor with soft wings."]
    async with opened(morning) as hand:
        heard = listen(hand, monkeypatch)
        await hand.press("t")
        assert heard == []
        await hand.press("f")
        list_of(hand).refill()
        assert heard == once
        put_on(morning, minutes=1)
        await hand.press("C")
        put_on(morning, minutes=1)
        await hand.press("f")
        assert heard == once + once


async def test_bell_and_note_can_be_turned_off(
    morning: Keeper, opened: "Opened", monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "keeper.toml").write_text("[alarm]\nbell = false\nnotify = false\n", encoding="utf-8")
    quiet = files.load(tmp_path).keeper
    morning.settings = msgspec.structs.replace(morning.settings, keeper=quiet)
    morning.pupae.emerged("C1")
    morning.adults.seen("C1", "fell")
    async with opened(morning) as hand:
        heard = listen(hand, monkeypatch)
        await hand.press("t")
        assert heard == []
        assert "ON THE FLOOR: C1" in hand.seen()


async def test_a_fall_is_called_out_on_the_round_too(morning: Keeper, opened: "Opened") -> None:
    morning.pupae.emerged("C1")
    morning.adults.seen("C1", "fell")
    async with opened(morning) as hand:
        assert "C1 on the floor with soft wings" in hand.seen()


async def test_what_another_device_wrote_is_shown_without_a_key(morning: Keeper, opened: "Opened") -> None:
    async with opened(morning) as hand:
        await hand.press("t")
        other = Keeper(Journal(morning.journal.path), morning.settings, morning.clock, morning.folder)
        other.pupae.emerged("C2")
        other.journal.close()
        assert await hand.until(lambda: "1 of them with soft wings" in hand.seen(), seconds=3)


async def test_nobody_is_marked_too_early_and_the_screen_says_from_when(morning: Keeper, opened: "Opened") -> None:
    async with opened(morning) as hand:
        await hand.press("t", "e", "M")
        assert "may be marked from 12:40, not before" in hand.seen()
        assert hand.kinds() == ["emerged"]


async def test_a_used_mark_is_refused_in_the_form_and_nothing_typed_is_lost(morning: Keeper, opened: "Opened") -> None:
    async with opened(morning) as hand:
        await hand.press("b", "tab", "M")
        await hand.type("BLUE-006")
        await hand.press("enter")
        assert "was used this season by Y0" in hand.seen()
        assert hand.kinds() == []


async def test_one_that_cannot_fly_is_kept_somewhere_instead(morning: Keeper, opened: "Opened") -> None:
    morning.pupae.wings("Y1", "crumpled")
    async with opened(morning) as hand:
        await hand.press("b", "r")
        assert "Y1 cannot fly: its wings are crumpled" in hand.seen()
        await hand.type("")
        await hand.press("enter")
        assert "Record where it is kept" in hand.seen()
        await hand.type("Flight cage")
        await hand.press("enter")
        (entry,) = hand.written()
        assert isinstance(entry, Kept)
        assert entry.place == "Flight cage"


async def test_w_says_full_first_and_judges_after_and_the_dialog_defines_deformed(
    morning: Keeper, opened: "Opened"
) -> None:
    async with opened(morning) as hand:
        await hand.press("t", "e", "w", "w")
        seen = " ".join(hand.seen().replace("│", " ").split())
        assert "Counted as deformed: creased, crumpled, unexpanded." in seen
        await hand.press("3")
        full, judged = hand.written()[1:]
        assert isinstance(full, AdultSeen)
        assert (full.what, kind_of(judged)) == ("full", "wings")


@pytest.mark.parametrize(("number", "cause"), [("1", "stuck"), ("2", "died-in-case"), ("3", "parasitoid")])
async def test_what_comes_to_nothing_in_the_case_is_picked_by_a_number(
    morning: Keeper, opened: "Opened", number: str, cause: str
) -> None:
    async with opened(morning) as hand:
        await hand.press("t", "x", number)
        (entry,) = hand.written()
        assert isinstance(entry, Lost)
        assert entry.cause == cause


async def test_a_check_ticks_signs_by_number_and_proposes_to_set_the_place_apart(
    morning: Keeper, opened: "Opened"
) -> None:
    morning.pupae.saw("C4", "clear")
    async with opened(morning) as hand:
        await hand.go_to("C4")
        await hand.press("i")
        assert "Check C4" in hand.seen()
        await hand.press("enter")
        options = [str(option.prompt) for option in hand.app.screen.query_one(OptionList).options]
        number = next(line.split()[0] for line in options if "foul smell" in line)
        await hand.press(number, "enter")
        (entry,) = hand.written()
        assert isinstance(entry, Finding)
        assert entry.sign == "soft-body"
        assert "Quarantine Jar?" in hand.seen()
        assert "not a diagnosis" in hand.seen()
        await hand.press("2")
        assert [place.name for place in morning.settings.places if place.quarantined] == ["Roof", "Jar"]


async def test_nothing_ticked_is_written_as_nothing_unusual(morning: Keeper, opened: "Opened") -> None:
    async with opened(morning) as hand:
        await hand.go_to("C1")
        await hand.press("i", "enter", "enter")
        (entry,) = hand.written()
        assert isinstance(entry, Finding)
        assert entry.sign == "nothing-unusual"
        assert not hand.app.screen.query("Check")


async def test_spores_ask_how_many_were_counted(morning: Keeper, opened: "Opened") -> None:
    async with opened(morning) as hand:
        await hand.press("b", "tab", "i")
        options = [str(option.prompt) for option in hand.app.screen.query_one(OptionList).options]
        number = next(line.split()[0] for line in options if "spores" in line)
        await hand.press(number, "enter")
        await hand.type("many")
        await hand.press("enter")
        assert "type a whole number" in hand.seen()
        assert hand.written() == []
        await hand.press(*["backspace"] * 4)
        await hand.type("150")
        await hand.press("enter")
        (entry,) = hand.written()
        assert isinstance(entry, Finding)
        assert (entry.sign, entry.spores, entry.load) == ("spores", 150, None)


async def test_a_cleaning_is_logged_with_its_mix_and_cautions_before_the_eyes(
    morning: Keeper, opened: "Opened"
) -> None:
    async with opened(morning) as hand:
        await hand.go_to("Jar")
        await hand.press("i", "down", "Z")
        assert "20 parts household bleach, 80 parts water, at least 4 h" in hand.seen()
        assert "never with acid or ammonia" in hand.seen()
        await hand.press("1")
        (entry,) = hand.written()
        assert isinstance(entry, Cleaned)
        assert (entry.place, entry.how, entry.minutes) == ("Jar", "gear", 240)


async def test_undo_takes_the_last_act_back_on_the_watch_too(morning: Keeper, opened: "Opened") -> None:
    async with opened(morning) as hand:
        await hand.press("t", "e", "u")
        assert morning.pupa("C4").emerged is None
        assert here(hand) == "C4"


async def test_the_data_sheet_is_written_from_the_adults_screen(
    morning: Keeper, opened: "Opened", tmp_path: Path
) -> None:
    async with opened(morning) as hand:
        await hand.press("b", "p", "tab", "tab", "tab")
        await hand.type(str(tmp_path / "sheet.csv"))
        await hand.press("enter")
        assert "1 butterfly written" in hand.seen()
    assert ",2026-08-14,female,blue-006,,sound,garden" in (tmp_path / "sheet.csv").read_text(encoding="utf-8")


async def test_the_data_sheet_of_the_screen_begins_with_the_season(morning: Keeper, opened: "Opened") -> None:
    review = structs.replace(morning.settings.care.review, season_starts_month=9)
    care = structs.replace(morning.settings.care, review=review)
    morning.settings = structs.replace(morning.settings, care=care)
    async with opened(morning) as hand:
        await hand.press("b", "p")
        assert "2025-09-01" in hand.seen()


async def test_butterflies_of_long_ago_are_a_line_and_listed_with_a_key(morning: Keeper, opened: "Opened") -> None:
    put_on(morning, days=50)
    morning.read_anew()
    async with opened(morning) as hand:
        await hand.press("b")
        assert [item.key for item in list_of(hand).listed] == ["older"]
        assert "2 older butterflies never recorded as released or dead: v shows them" in hand.seen()
        await hand.press("v", "x", "1")
        assert hand.kinds() == ["adult-seen"]
        assert len(list_of(hand).listed) == 1
        await hand.press("v")
        assert "1 older butterfly never recorded" in hand.seen()


@pytest.mark.parametrize("keys", [("t",), ("b",), ("i",)])
async def test_each_screen_tells_its_keys_and_the_way_back_at_80_by_24(
    morning: Keeper, opened: "Opened", keys: tuple[str, ...]
) -> None:
    async with opened(morning) as hand:
        await hand.press(*keys)
        assert "esc Back" in hand.seen()
        await hand.press("question_mark")
        assert "undo the last act" in hand.seen()
        await hand.press("escape", "escape")
        assert not hand.in_front


async def test_the_screens_say_so_where_there_is_nothing(empty: Keeper, opened: "Opened") -> None:
    async with opened(empty) as hand:
        for key, words in (("t", "nothing emerges"), ("b", "0 butterflies"), ("i", "nothing in quarantine")):
            await hand.press(key)
            assert words in hand.seen()
            await hand.press("e", "w", "M", "r", "x", "tab")
            await hand.press("escape")
        assert hand.kinds() == []


async def test_hostile_labels_and_marks_are_words_on_every_screen(morning: Keeper, opened: "Opened") -> None:
    morning.pupae.found("[red]x[/]", "Roof", when=Span(DAWN - 240 * HOUR, DAWN - 230 * HOUR))
    morning.pupae.emerged("[red]x[/]", when=Span(DAWN - 30 * HOUR, DAWN - 30 * HOUR))
    morning.adults.mark("[red]x[/]", "[b]9[/b]")
    async with opened(morning) as hand:
        await hand.press("b")
        list_of(hand).go_to(morning.pupa("[red]x[/]").id)
        await hand.pilot.pause()
        assert "[red]x[/]" in hand.seen()
        assert "[b]9[/b]" in hand.seen()
        await hand.press("M", "escape", "r", "escape", "i", "escape", "w", "escape")
        assert hand.kinds() == []
