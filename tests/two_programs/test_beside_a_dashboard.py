"""A dashboard stands open while other programs work on the same journal: each sees the other's entries, none is lost.

All is done as a keeper does it, by keys on a pseudo-terminal and by commands in processes of their own, and is looked
for afterwards by this program and by plain SQLite.
"""

from pathlib import Path

import pytest
from programs import DASHBOARD, Home, entries, times

SLIP = (str(Path(__file__).with_name("slip.py")),)
THREE_NOTES = [("note", "P2", f"note {number}") for number in range(3)]
SOON = 2.0
"""Within so many seconds one program shows what another has written."""


def test_each_side_shows_soon_what_the_other_has_written_and_nothing_is_lost(house):
    screen = house.open()
    house.record(("fell", "P1"), ("saw", "P2", "clear"))
    assert screen.wait(lambda: screen.shows("P1", "RESCUE") and screen.shows("P2", "clear"), SOON), screen.picture
    house.see(screen, "P3", "d", "darkening")
    assert screen.wait(lambda: house.stage("P3") == "darkening", SOON)
    house.record(*THREE_NOTES)
    house.leave(screen, "q")
    house.assert_whole()


@pytest.mark.parametrize("how", ["SIGTERM", "SIGKILL"])
def test_a_dashboard_that_is_ended_by_a_signal_loses_nothing(house, how):
    screen = house.open()
    house.record(("fell", "P1"), ("saw", "P2", "clear"))
    house.see(screen, "P3", "d", "darkening")
    house.record(*THREE_NOTES)
    house.leave(screen, how)
    house.assert_whole()


def test_a_command_that_only_reads_harms_neither_side(house):
    write_beside_a_reader(house, house.open())


def test_that_is_noticed_where_the_dashboard_lets_go_of_the_locks(house):
    screen = house.open(SLIP)
    with pytest.raises(AssertionError):
        write_beside_a_reader(house, screen)


def write_beside_a_reader(house, screen):
    house.done("pupae")
    house.see(screen, "P3", "d", "darkening")
    house.record(("note", "P2", "after the reader"))
    house.see(screen, "P3", "c", "clear")
    house.leave(screen, "SIGKILL")
    house.assert_whole()


def test_two_dashboards_and_a_command_lose_nothing(house):
    one, other = house.open_all(DASHBOARD, DASHBOARD)
    house.see(one, "P3", "d", "darkening")
    house.record(("note", "P2", "beside two"))
    house.see(other, "P4", "c", "clear")
    house.leave(one, "q")
    house.record(("note", "P2", "beside one"))
    house.see(other, "P4", "d", "darkening")
    house.leave(other, "q")
    house.assert_whole()


def test_a_restore_is_refused_or_loses_nothing(house):
    """Done, it keeps the journal it replaced beside the new one, and a dashboard may refuse to go on writing."""
    house.done("backup")
    screen = house.open()
    house.record(("note", "P2", "before"))
    house.see(screen, "P3", "d", "darkening")
    before = list(house.acknowledged)
    restored = house.run("restore", "--yes")
    assert restored.returncode in (0, 3), restored
    assert "Traceback" not in restored.stderr
    if restored.returncode == 0:
        house.acknowledged.clear()
        house.try_to_see(screen, "P4", "c", "clear")
    else:
        house.see(screen, "P4", "c", "clear")
    house.record(("note", "P2", "after"))
    house.leave(screen, "q")
    house.assert_whole()
    kept = [entries(path) for path in house.journal.parent.glob("journal*.db")]
    assert [max(times(told, file) for file in kept) for told in before] == [1] * len(before)


def test_a_merge_an_import_and_a_backup_at_once_lose_nothing(house):
    other = Home(house.folder / "other")
    assert other.run("found", "M1", "--place", "Roof").returncode == 0
    notebook = house.notebook("last-season", ["N1", "N2"])
    backup = house.folder / "backup.db"
    screen = house.open()
    house.see(screen, "P3", "d", "darkening")
    before = list(house.acknowledged)
    house.together(("merge", other.journal), ("import", notebook), ("backup", backup))
    house.acknowledged += [{"kind": "found", "label": label} for label in ("M1", "N1", "N2")]
    house.acknowledged += [{"kind": "emerged", "label": label} for label in ("N1", "N2")]
    house.see(screen, "P4", "c", "clear")
    house.leave(screen, "SIGKILL")
    house.assert_whole()
    copied = entries(backup)
    assert [times(told, copied) for told in before] == [1] * len(before)


def test_a_dashboard_that_was_open_before_there_was_a_journal_shows_what_a_command_begins(tmp_path):
    home = Home(tmp_path)
    screen = home.dashboard()
    try:
        assert screen.wait(lambda: screen.shows("No pupae in your care"), 20), screen.picture
        assert home.run("found", "Q1", "--place", "Roof", "--quiet").returncode == 0
        assert screen.wait(lambda: screen.shows("Q1"), SOON), screen.picture
        screen.press("jf")
        assert screen.wait(lambda: any(entry["kind"] == "fell" for entry in entries(home.journal)), SOON)
    finally:
        screen.close()
