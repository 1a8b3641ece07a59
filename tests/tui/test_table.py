"""A keeper's own table brought in from the dashboard. The tables are invented."""

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from textual.widgets import Input

from pupawatch.keeper import Keeper
from pupawatch.tui.screens.dialogs import Pick
from pupawatch.tui.screens.table import Left, TableScreen

if TYPE_CHECKING:
    from conftest import Hand, Opened

WIDE = (120, 40)
PLAIN = """No.;Pupated;Where;Turned dark;Eclosed;Sex;Wings;Released;Remarks
T1;14/06/2026;Roof;24/06/2026;25/06/2026;f;good;26/06/2026;from the garden
T2;15/06/2026;Shed wall;25/06/2026;26/06/2026;m;ok;27/06/2026;
"""
OPEN = """Name,Date formed,Location,Date emerged,Wings
T1,6/7/2026,Roof,6/17/2026,good
T2,6/8/2026,Roof,6/18/2026,so-so
"""


def labels(keeper: Keeper) -> set[str]:
    """Of every pupa that the journal knows."""
    return {pupa.label for pupa in keeper.whole_state().pupae.values()}


async def table_of(hand: "Hand", path: Path | str) -> TableScreen:
    """Open the table by its key and the name of its file."""
    await hand.press("I")
    await hand.type(str(path))
    await hand.press("enter")
    await hand.pilot.pause()
    screen = next(one for one in hand.app.screen_stack if isinstance(one, TableScreen))
    await rested(hand, screen)
    return screen


async def rested(hand: "Hand", screen: TableScreen) -> None:
    """Wait until nothing is read or written beside the screen."""
    assert await hand.until(lambda: not any(worker.is_running for worker in hand.app.workers), 30)
    await hand.pilot.pause()


async def test_columns_stand_left_examples_right_and_it_comes_in_as_one_act(
    small: Keeper, opened: "Opened", tmp_path: Path
) -> None:
    path = tmp_path / "pupae.csv"
    path.write_text(PLAIN, encoding="utf-8")
    async with opened(small, WIDE) as hand:
        screen = await table_of(hand, path)
        seen = hand.seen()
        assert "2 rows" in seen
        assert all(word in seen for word in ("Pupated", "formed", "Turned dark", "darkening at", "into the note"))
        await hand.press("down")
        assert "14/06/2026 → 2026-06-14" in hand.seen()
        await hand.press("I")
        await rested(hand, screen)
        assert isinstance(hand.app.screen, Pick)
        assert "2 pupae" in hand.seen()
        assert hand.written() == []  # nothing before the answer
        await hand.pick("Import it")
        await rested(hand, screen)
        assert {entry.act for entry in hand.written()} == {hand.written()[0].act}
        assert small.settings.knows_place("Shed wall")
        assert "imported" in hand.seen()
        assert {"T1", "T2"} <= labels(small)
        await hand.press("u")
        await hand.pick("Undo it")  # what was imported is asked about
        assert not {"T1", "T2"} & labels(small)


async def test_a_question_is_answered_with_enter_and_nothing_comes_in_before(
    small: Keeper, opened: "Opened", tmp_path: Path
) -> None:
    path = tmp_path / "pupae.csv"
    path.write_text(OPEN, encoding="utf-8")
    async with opened(small, WIDE) as hand:
        screen = await table_of(hand, f'"{path}"')
        assert "open" in hand.seen()
        await hand.press("I")
        assert "A question is open" in hand.seen()
        for _ in range(4):
            if screen.table is None or screen.table.question is None:
                break
            screen.go_to(next(item.key for item in screen.listed if item.key.startswith("?")))
            await hand.pilot.pause()
            await hand.press("enter", "1")
            await rested(hand, screen)
        assert screen.table is not None
        assert screen.table.question is None
        await hand.press("I")
        await rested(hand, screen)
        assert hand.written() == []
        await hand.pick("Not now")
        assert hand.written() == []


async def test_rows_that_cannot_come_in_are_told_and_written_beside_the_table(
    small: Keeper, opened: "Opened", tmp_path: Path
) -> None:
    path = tmp_path / "pupae.csv"
    path.write_text(PLAIN + "T3;30/06/2026;Roof;;29/06/2026;f;good;;\n", encoding="utf-8")  # out before it pupated
    async with opened(small, WIDE) as hand:
        screen = await table_of(hand, path)
        await hand.press("I")
        await rested(hand, screen)
        assert "T3" in hand.seen() or "line 4" in hand.seen()
        await hand.pick("Import what is sound")
        await rested(hand, screen)
        left = (tmp_path / "pupae-left-out.csv").read_text(encoding="utf-8")
        assert "T3" in left
        assert "T1" not in left
        assert {"T1", "T2"} == labels(small) & {"T1", "T2", "T3"}


@pytest.mark.parametrize("text", ["", "a,b\n1,2\n", "\0\0\0"])
async def test_what_is_no_table_is_said_and_the_screen_stands(
    small: Keeper, opened: "Opened", tmp_path: Path, text: str
) -> None:
    path = tmp_path / "other.csv"
    path.write_text(text, encoding="utf-8")
    async with opened(small, WIDE) as hand:
        screen = await table_of(hand, path)
        assert "✗" in hand.seen()
        await hand.press("I", "enter", "down")
        assert hand.app.screen is screen
        assert hand.written() == []
        await hand.press("escape")
        assert hand.app.screen is not screen


async def test_a_file_that_is_not_there_is_said_in_the_form(small: Keeper, opened: "Opened", tmp_path: Path) -> None:
    async with opened(small, WIDE) as hand:
        for typed in ("", str(tmp_path / "none.csv"), str(tmp_path)):
            await hand.press("I")
            await hand.type(typed)
            await hand.press("enter")
            assert "is no file" in hand.wrong
            assert isinstance(hand.app.focused, Input)
            await hand.press("escape")


async def test_a_notebook_of_our_own_needs_no_reading_and_comes_in_at_once(
    small: Keeper, opened: "Opened", tmp_path: Path
) -> None:
    path = tmp_path / "book.csv"
    path.write_text(
        "label,species,site,formed_from,formed_to,emerged_to,wings\n"
        "N1,monarch,Roof,2026-06-14T06:00Z,2026-06-14T18:00Z,2026-06-25T08:00Z,sound\n",
        encoding="utf-8",
    )
    async with opened(small, WIDE) as hand:
        screen = await table_of(hand, path)
        assert isinstance(hand.app.screen, Pick)
        assert "N1" not in labels(small)
        await hand.pick("Import it")
        await rested(hand, screen)
        assert "N1" in labels(small)


@pytest.mark.parametrize("after_seconds", [0.0, 0.4, 0.8, 1.2])
async def test_leaving_while_it_comes_in_leaves_all_of_it_or_nothing(
    small: Keeper, opened: "Opened", tmp_path: Path, after_seconds: float
) -> None:
    path = tmp_path / "many.csv"
    rows = [f"Z{n},{14 + n % 10}.06.2026,Roof,{25 + n % 4}.06.2026" for n in range(400)]
    path.write_text("\n".join(["No.,Pupated,Where,Eclosed", *rows]), encoding="utf-8")
    async with opened(small, WIDE) as hand:
        screen = await table_of(hand, path)
        await hand.press("I")
        await rested(hand, screen)
        await hand.pick("Import it")
        await hand.pilot.pause(after_seconds)
        await hand.press("escape")
        assert await hand.until(lambda: not any(worker.is_running for worker in hand.app.workers), 30)
        brought = [label for label in labels(small) if label.startswith("Z")]
        assert len(brought) in (0, 400)
        with pytest.raises(Left):  # what still ran would go no further
            screen._watch("writing", 1, 400)
        assert small.journal.problems() == []
