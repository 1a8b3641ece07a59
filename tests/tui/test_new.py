"""New pupae and places: from nothing to the first pupa, and what is typed badly."""

from typing import TYPE_CHECKING

from textual.widgets import Input, Static

from pupawatch import settings as files
from pupawatch.keeper import Keeper
from pupawatch.model.entries import Found, Hanging

if TYPE_CHECKING:
    from conftest import Opened


async def test_an_empty_journal_leads_to_the_first_place_and_the_first_pupa(empty: Keeper, opened: "Opened") -> None:
    async with opened(empty) as hand:
        assert "Press n" in hand.seen()
        await hand.press("n")
        for letter in "Roof":
            await hand.press(letter)
        await hand.press("enter", "enter")
        assert [place.name for place in empty.settings.places] == ["Roof"]
        (entry,) = hand.written()
        assert isinstance(entry, Found)
        assert (entry.label, entry.place) == ("P1", "Roof")
        assert hand.labels == ["P1"]
        assert hand.pressed == 7  # n, four letters, and enter twice


async def test_the_first_place_is_written_into_the_keepers_own_file(empty: Keeper, opened: "Opened") -> None:
    async with opened(empty) as hand:
        await hand.press("n")
        await hand.type("Roof")
        await hand.press("enter")
        assert empty.folder is not None
        assert [place.name for place in files.load(empty.folder).places] == ["Roof"]


async def test_leaving_the_first_form_leaves_nothing_behind(empty: Keeper, opened: "Opened") -> None:
    async with opened(empty) as hand:
        await hand.press("n", "escape")
        assert empty.settings.places == []
        assert hand.written() == []
        assert not empty.journal.path.exists()


async def test_every_key_on_an_empty_shelf_is_harmless(empty: Keeper, opened: "Opened") -> None:
    async with opened(empty) as hand:
        for keys in empty.settings.keys.values():
            key = keys.split(",")[0].strip()
            if key != "q":
                await hand.press(key)
            if hand.in_front:
                await hand.press("escape")
        assert hand.written() == []


async def test_a_new_pupa_formed_after_its_place_was_last_looked_over(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("Roof")
        await hand.press("n", "enter")
        (entry,) = hand.written()
        assert isinstance(entry, Found)
        assert entry.place == "Roof"
        assert (entry.since, entry.happened) == (small.state.last_look("Roof", entry.happened), small.clock())


async def test_a_new_pupa_is_seen_at_once_whatever_the_view(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("v", "n")
        await hand.type("New")
        await hand.press("enter")
        assert "New" in hand.labels


async def test_a_hanging_caterpillar_is_found_in_the_same_form(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("Roof")
        await hand.press("n", "tab", "tab")
        await hand.type("caterpillar")
        await hand.press("enter")
        (entry,) = hand.written()
        assert isinstance(entry, Hanging)


BAD_LABELS = {
    "": "empty",
    "   ": "empty",
    "A1": "taken",
    "x" * 25: "24",
    "a\x1b[31mb": "control",
    "a\u202eb": "control",
}


async def test_a_bad_label_is_said_in_the_form_and_nothing_is_lost(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("Roof")
        await hand.press("n")
        for label, told in BAD_LABELS.items():
            await hand.type(label)
            await hand.press("enter")
            assert hand.in_front, label
            assert told in hand.wrong, label
        assert hand.written() == []
        await hand.type("Good")
        await hand.press("enter")
        assert small.pupa("Good").place == "Roof"


async def test_a_bad_time_is_said_in_the_form(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("Roof")
        await hand.press("n")
        assert await hand.until(lambda: isinstance(hand.app.focused, Input))
        await hand.press("up")  # up from the first line is the last: the time
        for since in ("tomorrow-ish", "2026-02-30", "25:00", "2027-01-01"):
            await hand.type(since)
            await hand.press("enter")
            assert hand.in_front, since
            assert hand.wrong, since
        assert hand.written() == []


async def test_a_hostile_label_is_shown_as_it_is_everywhere(small: Keeper, opened: "Opened") -> None:
    hostile = ("[red]x[/]", "[/x]", "[@click=app.quit]q[/]", "$text-error")
    for label in hostile:
        small.pupae.found(label, "Roof")
        small.pupae.note(label, f"{label} {label}")
    async with opened(small, (160, 50)) as hand:
        for label in hostile:
            await hand.go_to(label)
            assert hand.seen().count(label) >= 3  # its story, and its note twice
            await hand.press("m")
            assert label in hand.title
            await hand.press("escape", "d")
            assert f"{label} is darkening" in hand.seen()


async def test_a_place_is_added_and_changed_in_the_places_screen(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("p", "N")
        await hand.type("[b]Tin[/b]")
        await hand.press("tab")
        await hand.type("floor")
        await hand.press("enter")
        assert "[b]Tin[/b]" in hand.seen()
        assert small.settings.place("[b]Tin[/b]").surface == "floor"
        await hand.press("home", "enter", "tab")
        await hand.type("7")
        await hand.press("enter", "escape")
        assert small.settings.place("Roof").capacity == 7
        assert not hand.in_front


BAD_PLACES = [  # in which line of the form, what is typed, what is told of it
    ("name", "", "empty"),
    ("name", "Roof", "already"),
    ("surface", "gold", "mesh"),
    ("capacity", "many", "whole number"),
    ("capacity", "0", "capacity"),
    ("clearance_cm", "-1", "clearance"),
    ("climbable", "maybe", "yes or no"),
    ("temperature", "1e9", "temperature"),
    ("temperature", "nan", "temperature"),
]


async def test_a_bad_place_is_said_in_the_form_and_nothing_changes(small: Keeper, opened: "Opened") -> None:
    before = small.settings.places
    async with opened(small) as hand:
        await hand.press("p", "N")
        await hand.type("Tin")
        for line, typed, told in BAD_PLACES:
            hand.app.screen.query_one(f"#{line}", Input).focus()
            await hand.pilot.pause()
            good = hand.typed
            await hand.type(typed)
            await hand.press("enter")
            assert told in hand.wrong, (line, typed)
            await hand.type(good)
        assert small.settings.places == before


async def test_below_the_line_one_writes_in_stands_what_it_can_be(empty: Keeper, opened: "Opened") -> None:
    async with opened(empty) as hand:
        await hand.press("n", "tab")  # on the surface
        assert "mesh, cloth, line, wood" in hand.seen()
        await hand.type("le")
        told = str(hand.app.screen.query_one("#surface-read", Static).content)
        assert told == "← → leaf"
        await hand.press("tab")
        assert "mesh, cloth" not in hand.seen()


async def test_how_a_time_is_read_stands_below_it_before_it_is_kept(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:  # it is Friday, 06:40
        await hand.press("n")
        assert await hand.until(lambda: isinstance(hand.app.focused, Input))
        await hand.press("up")
        await hand.type("last night")
        assert "“last night” is read as yesterday 21:00 – 06:00." in hand.told()
        await hand.type("21:00")
        assert "“21:00” is read as yesterday 21:00." in hand.told()
        assert hand.written() == []


async def test_a_line_that_holds_one_of_a_few_words_is_gone_through_with_the_arrows(
    small: Keeper, opened: "Opened"
) -> None:
    species = list(small.settings.species)
    async with opened(small) as hand:
        await hand.press("n")
        line = hand.app.screen.query_one("#species", Input)
        line.focus()
        await hand.press("right")
        after = species[(species.index("monarch") + 1) % len(species)]
        assert hand.typed == after
        assert f"← → {species[0]}" in str(hand.app.screen.query_one("#species-read", Static).content)
        await hand.press("left", "left")
        assert hand.typed == species[species.index("monarch") - 1]
        await hand.type(after[:3])
        await hand.press("right")  # what was begun is completed, not skipped
        assert hand.typed == after
        await hand.press("enter")
        (entry,) = hand.written()
        assert isinstance(entry, Found)
        assert entry.species == after


async def test_a_line_with_words_of_ones_own_keeps_its_cursor(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("n")
        hand.app.screen.query_one("#place", Input).focus()
        at = hand.app.screen.query_one("#place", Input)
        before = at.value
        await hand.press("left")
        assert at.value == before
        assert at.cursor_position < len(before)
