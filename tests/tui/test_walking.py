"""The walk past the places, and finding one's way on the shelf."""

from typing import TYPE_CHECKING

from pupawatch.keeper import Keeper
from pupawatch.model.entries import Looked

if TYPE_CHECKING:
    from conftest import Opened


async def test_space_walks_the_place_and_goes_to_the_next_unwalked_one(small: Keeper, opened: "Opened") -> None:
    small.places.looked(["Jar"])
    async with opened(small) as hand:
        await hand.go_to("A2")
        await hand.press("space")
        (entry,) = hand.written()
        assert isinstance(entry, Looked)
        assert entry.place == "Roof"
        assert hand.here == "Line"


async def test_the_headline_says_what_is_still_unwalked(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("Roof")
        headlines = []
        for _ in range(3):
            headlines.append(hand.seen().splitlines()[0])
            await hand.press("space")
        assert ["3 to visit" in headlines[0], "Roof" in headlines[0]] == [True, True]
        assert ["2 to visit" in headlines[1], "Jar" in headlines[1]] == [True, True]
        assert ["1 to visit" in headlines[2], "Line" in headlines[2]] == [True, True]
        assert "every place visited" in hand.seen().splitlines()[0]


async def test_a_place_shows_by_sign_and_word_whether_it_is_walked(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("Roof")
        await hand.press("space")
        shelf = hand.seen().splitlines()[1:]
        roof = next(line for line in shelf if "Roof" in line)
        jar = next(line for line in shelf if "Jar" in line)
        assert "✓" in roof
        assert "□" in jar


async def test_space_before_the_round_does_not_walk_the_place_of_what_is_lifted(
    small: Keeper, opened: "Opened"
) -> None:
    small.pupae.saw("B1", "clear")  # clear, and it cannot climb there: lifted to the top
    async with opened(small) as hand:
        await hand.go_to("B1")
        await hand.press("space")
        assert hand.written() == []
        assert hand.here == "Roof"


async def test_brackets_go_from_place_to_place(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("Roof")
        visited = []
        for key in ("]", "right", "left", "["):
            await hand.press({"]": "right_square_bracket", "[": "left_square_bracket"}.get(key, key))
            visited.append(hand.here)
        assert visited == ["Jar", "Line", "Jar", "Roof"]


async def test_tab_goes_to_what_needs_something_the_most_urgent_first(small: Keeper, opened: "Opened") -> None:
    small.pupae.saw("A3", "darkening")
    small.pupae.fell("A1")
    async with opened(small) as hand:
        await hand.go_to("Line")
        visited = []
        for _ in range(4):
            await hand.press("tab")
            visited.append(hand.here)
        assert visited == ["A1", "A3", "B1", "A1"]


async def test_search_shows_only_what_matches_and_escape_shows_all_again(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        everything = hand.labels
        await hand.press("slash")
        await hand.type("jar")
        assert hand.labels == ["B1"]
        await hand.press("escape")
        assert hand.labels == everything
        assert hand.app.focused is hand.shelf


async def test_after_a_search_the_keys_act_on_what_was_found(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("Line")
        await hand.press("slash")
        await hand.type("a3")
        await hand.press("enter")
        await hand.go_to("A3")
        await hand.press("d")
        assert small.pupa("A3").stage_seen == "darkening"


async def test_a_search_for_anything_finds_nothing_and_breaks_nothing(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        for sought in ("[red]x[/]", "\x1b[31m", "(.*", "nothing like it " * 40):
            await hand.press("slash")
            await hand.type(sought)
            await hand.press("enter", "d", "m", "space")
            assert hand.labels == [], sought
            assert "\x1b" not in hand.seen()
        assert hand.written() == []


async def test_v_shows_what_needs_something_then_what_is_soft_then_the_finished_then_all(
    small: Keeper, opened: "Opened"
) -> None:
    small.pupae.lost("A3", "unknown")
    async with opened(small) as hand:
        views = []
        for _ in range(4):
            await hand.press("v")
            views.append(hand.labels)
        assert views == [["B1"], ["A2", "C1"], ["A3"], ["A1", "A2", "B1", "C1"]]


async def test_the_view_is_named_on_the_screen(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("v", "v")
        assert "still soft" in hand.seen()


async def test_the_story_tells_formation_reason_and_entries(small: Keeper, opened: "Opened") -> None:
    async with opened(small, (160, 50)) as hand:
        await hand.go_to("A2")
        seen = " ".join(hand.told().split())
        assert "10–14 h" in seen
        assert "upated between yesterday 16:40 and yesterday 20:40" in seen
        assert "pupa found in Roof" in seen
        assert "20:40" in seen


async def test_the_cursor_keeps_its_row_when_the_shelf_is_shown_anew(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("B1")
        small.pupae.fell("A3")  # A3 goes to the top, so every row gets another number
        hand.app.screen.refill()  # type: ignore[attr-defined]
        await hand.pilot.pause()
        assert hand.here == "B1"
