"""A key acts at once on the selected pupa, moves on, and every slip is one key from being undone."""

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from pupawatch.keeper import Keeper
from pupawatch.model.entries import Emerged, Fell, Found, Lost, Note, Seen, Wings
from pupawatch.model.ids import entry_id

NOW = datetime(2026, 8, 14, 6, 40, tzinfo=UTC)

if TYPE_CHECKING:
    from conftest import Opened


async def test_d_marks_the_selected_pupa_as_darkening_and_moves_on(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("d")
        (entry,) = hand.written()
        assert isinstance(entry, Seen)
        assert entry.stage == "darkening"
        assert small.state.pupae[entry.pupa].label == "A1"
        assert hand.here == "A2"
        assert "A1 is darkening" in hand.seen()


async def test_moving_on_stays_inside_the_place_so_that_space_walks_the_right_one(
    small: Keeper, opened: "Opened"
) -> None:
    async with opened(small) as hand:
        await hand.go_to("A3")
        await hand.press("d", "space")
        assert hand.written()[-1].about == "Roof"


async def test_c_marks_a_clear_case(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("c")
        (entry,) = hand.written()
        assert isinstance(entry, Seen)
        assert entry.stage == "clear"


async def test_s_lets_the_keeper_pick_any_stage_by_its_number(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("s")
        await hand.pick(" set ")
        (entry,) = hand.written()
        assert isinstance(entry, Seen)
        assert entry.stage == "set"


async def test_a_fallen_pupa_is_lifted_to_the_top_as_something_to_rescue(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A3")
        await hand.press("f")
        (entry,) = hand.written()
        assert isinstance(entry, Fell)
        assert hand.labels[0] == "A3"
        assert "1 to rescue" in hand.seen()


async def test_another_danger_is_picked_by_name(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("F")
        await hand.pick("predator")
        (entry,) = hand.written()
        assert isinstance(entry, Fell)
        assert entry.reason == "predator"


async def test_an_emergence_is_written_as_the_interval_since_its_place_was_looked_over(
    small: Keeper, opened: "Opened"
) -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("e")
        (entry,) = hand.written()
        assert isinstance(entry, Emerged)
        assert (entry.since, entry.happened) == (small.state.last_look("Roof", entry.happened), small.clock())
        assert "A1" not in hand.labels


async def test_the_wings_of_an_adult_are_judged_among_the_finished(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("e", "v", "v", "v")
        assert hand.labels == ["A1"]
        await hand.press("w")
        await hand.pick("creased")
        entry = hand.written()[-1]
        assert isinstance(entry, Wings)
        assert entry.condition == "creased"


async def test_wings_of_a_pupa_that_is_not_out_are_not_written(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("w")
        if hand.in_front:
            await hand.press("1")
        assert hand.written() == []
        assert "not emerged" in hand.seen()


async def test_a_loss_is_written_with_its_cause(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("x")
        await hand.pick(" dried  ")
        (entry,) = hand.written()
        assert isinstance(entry, Lost)
        assert entry.cause == "dried"
        assert "A1" not in hand.labels


async def test_a_note_is_kept_as_it_was_typed(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("a")
        await hand.type("=1+1 and [b]bold[/b]")
        await hand.press("enter")
        (entry,) = hand.written()
        assert isinstance(entry, Note)
        assert entry.text == "=1+1 and [b]bold[/b]"


async def test_a_dialog_left_or_left_empty_writes_nothing(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("a", "enter")
        assert "empty" in hand.seen()
        await hand.press("escape")
        for key in "axsF":
            await hand.press(key)
            assert hand.in_front, key
            await hand.press("escape")
            assert not hand.in_front, key
        assert hand.written() == []


async def test_a_pupa_gets_another_label_and_stays_selected(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("L")
        assert hand.typed == "A4"
        await hand.type("A3")
        await hand.press("enter")
        assert "The label A3 is taken by a pupa in Roof" in hand.wrong
        await hand.type("K7")
        await hand.press("enter")
        assert hand.kinds() == ["relabelled"]
        assert hand.here == "K7"
        assert "A1 is labelled K7 from now on" in hand.said


async def test_a_key_acts_on_the_selected_one_of_two_with_one_label(small: Keeper, opened: "Opened") -> None:
    first = small.pupa("A1")
    stamp = entry_id(NOW - timedelta(hours=20), b"12345678")
    twin = Found(
        id=stamp, act=stamp, happened=NOW - timedelta(hours=20), recorded=NOW, zone="UTC", pupa=stamp, label="A1",
        species="monarch", place="Line",
    )  # fmt: skip
    with small.journal.writing(None) as append:
        append([twin])
    small.read_anew()
    async with opened(small) as hand:
        for pupa_id in (first.id, stamp):
            await hand.go_to(f"pupa:{pupa_id}")
            await hand.press("d")
            assert hand.written()[-1].about == pupa_id


async def test_a_hanging_caterpillar_becomes_a_pupa(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("C1")
        await hand.press("o")
        assert hand.kinds() == ["found"]
        assert small.pupa("C1").is_prepupa is False
        assert small.pupa("C1").formed_from == small.pupa("C1").hanging_at


async def test_a_caterpillar_cannot_darken(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("C1")
        await hand.press("d")
        assert hand.written() == []
        assert "prepupa" in hand.seen()


async def test_a_key_for_a_pupa_says_so_where_a_place_is_selected(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.go_to("Roof")
        for key in "dcefmxasFwo":
            await hand.press(key)
            assert not hand.in_front, key
        assert hand.written() == []
        assert "Select a pupa first" in hand.seen()


async def test_undo_takes_the_last_act_back_and_redo_does_it_again(small: Keeper, opened: "Opened") -> None:
    def stage() -> str:
        return small.pupa("A1").stage_seen

    async with opened(small) as hand:
        await hand.go_to("A1")
        await hand.press("d")
        assert stage() == "darkening"
        await hand.press("u")
        assert stage() == ""
        await hand.press("ctrl+r")
        assert stage() == "darkening"
        assert hand.kinds() == ["seen", "retraction", "retraction"]


async def test_redo_with_nothing_undone_says_so(small: Keeper, opened: "Opened") -> None:
    async with opened(small) as hand:
        await hand.press("ctrl+r")
        assert hand.written() == []
        assert "nothing to redo" in hand.seen()


async def test_keys_act_on_the_selected_pupa_though_another_has_its_label_now(small: Keeper, opened: "Opened") -> None:
    small.pupae.lost("A1", "unknown")
    small.pupae.found("A1", "Line")
    living = small.pupa("A1").id
    async with opened(small) as hand:
        await hand.press("v", "v", "v")
        await hand.go_to("A1")
        await hand.press("d")
        assert [entry for entry in hand.written() if entry.about == living] == []
