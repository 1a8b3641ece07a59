"""Labels at every door: what can mean two pupae is refused, seasons do not mix, a pupa can be given another label."""

import re
from argparse import ArgumentParser, _SubParsersAction
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from pupawatch import cli
from pupawatch.cli.parser import RENAMED
from pupawatch.errors import NotUnderstood
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model import entries as kinds
from pupawatch.model.ids import entry_id
from pupawatch.model.labels import handle_of
from pupawatch.model.times import Span

Run = Callable[..., Any]

BY_LABEL: dict[str, tuple[str, ...]] = {
    "history": (),
    "forecast": (),
    "health": (),
    "found": ("--place", "Roof"),
    "saw": ("set",),
    "fell": (),
    "move": ("Line",),
    "held": ("yes",),
    "aid": (),
    "emerged": (),
    "wings": ("sound",),
    "lost": ("unknown",),
    "relabel": ("Z9",),
    "note": ("big",),
    "adult": ("full",),
    "sex": ("female",),
    "origin": ("reared",),
    "mark": ("X1",),
    "release": (),
    "finding": (),
}
"""Every command that names a pupa by its label, with what else it needs."""


@pytest.fixture
def partner(tmp_path: Path, keeper: Keeper, clock: Any) -> Keeper:
    """Another keeper, on another computer, with the same settings."""
    return Keeper(Journal(tmp_path / "partner.db"), keeper.settings, clock, keeper.folder)


@pytest.fixture
def two(keeper: Keeper, partner: Keeper, clock: Any) -> tuple[str, str]:
    """Two pupae labelled P1 in both journals, one of either keeper: the handles of a soft one and of a firm one."""
    now = clock.now
    (soft,) = keeper.pupae.found("P1", "Roof", when=Span(now - timedelta(hours=9), now - timedelta(hours=5))).entries
    (firm,) = partner.pupae.found("P1", "Jar", when=Span(now - timedelta(days=6), now - timedelta(days=5))).entries
    keeper.merge(partner.journal.path)
    partner.merge(keeper.journal.path)
    return handle_of(soft.about), handle_of(firm.about)


def commands_by_label() -> set[str]:
    """The commands whose first word is a label."""
    parser: ArgumentParser = cli._parser()
    commands = next(one for one in parser._actions if isinstance(one, _SubParsersAction)).choices
    return {
        name
        for name, command in commands.items()
        if name not in RENAMED and any(one.metavar == "LABEL" and not one.option_strings for one in command._actions)
    }


# -- what can mean two


def test_every_command_that_names_a_pupa_is_tried_here() -> None:
    assert set(BY_LABEL) == commands_by_label()


@pytest.mark.parametrize("command", BY_LABEL)
def test_a_label_of_two_is_refused_alike_on_both_computers_and_nothing_is_written(
    run: Run, keeper: Keeper, partner: Keeper, two: tuple[str, str], command: str
) -> None:
    soft, firm = two
    answers = []
    for journal in (keeper.journal, partner.journal):
        before = journal.last()
        answers.append(run("--journal", journal.path, command, "P1", *BY_LABEL[command]))
        assert journal.last() == before
    assert answers[0] == answers[1]
    code, out, err = answers[0]
    assert (code, out) == (2, "")
    assert "P1 can mean 2 pupae" in err
    assert f"{soft} is a pupa in Roof that has hung at least 5 h and at most 9 h" in err
    assert f"{firm} is a pupa in Jar that has hung at least 5.0 d and at most 6.0 d" in err


def test_a_handle_names_one_of_them_on_every_computer(
    run: Run, keeper: Keeper, partner: Keeper, two: tuple[str, str]
) -> None:
    soft, firm = two
    assert run("move", soft, "Jar").code == 1
    for journal in (keeper.journal, partner.journal):
        assert run("--journal", journal.path, "move", firm, "Roof").code == 0
    assert run("history", firm.upper()).out.startswith("P1, ")


def test_a_handle_of_nobody_is_not_understood(run: Run) -> None:
    assert run("saw", "@0000ab", "set").code == 2
    answer = run("found", "@0000ab", "--place", "Roof")
    assert (answer.code, "There is no pupa labelled" in answer.err) == (2, True)


def test_the_pupa_that_a_screen_shows_is_meant_and_not_its_label(keeper: Keeper, two: tuple[str, str]) -> None:
    firm = next(pupa for pupa in keeper.state.open_pupae() if pupa.place == "Jar")
    keeper.moves.move(firm, "Roof")
    assert [pupa.place for pupa in keeper.state.open_pupae()] == ["Roof", "Roof"]


def test_a_label_of_two_in_other_letters_is_refused_too(run: Run, two: tuple[str, str]) -> None:
    assert "p1 can mean 2 pupae" in run("saw", "p1", "set").err


def test_the_label_of_one_that_is_lost_means_the_other(run: Run, two: tuple[str, str]) -> None:
    soft, _ = two
    assert run("lost", soft, "unknown").code == 0
    assert run("saw", "P1", "set").out == "P1 is set.\n"


def test_both_of_one_label_are_flagged(run: Run, two: tuple[str, str]) -> None:
    assert run("today").out.count("another one in your care has the same label") == 2


def test_looking_back_a_label_means_what_it_meant_then(
    run: Run, keeper: Keeper, clock: Any, two: tuple[str, str]
) -> None:
    then = clock.now
    clock.on(hours=1)
    keeper.pupae.lost(two[0], "unknown")
    assert run("history", "P1").code == 0
    assert "P1 can mean 2 pupae" in run("history", "P1", "--as-of", then.isoformat()).err


def test_an_older_label_that_looks_like_a_handle_is_found_as_a_label(keeper: Keeper, run: Run, clock: Any) -> None:
    stamp = entry_id(clock.now, b"12345678")
    old = kinds.Found(
        id=stamp, act=stamp, happened=clock.now, recorded=clock.now, zone="UTC", pupa=stamp, label="@cafe12",
        species="monarch", place="Roof",
    )  # fmt: skip
    with keeper.journal.writing(None) as append:
        append([old])
    assert run("saw", "@cafe12", "set").out == "@cafe12 is set.\n"
    assert run("found", "@cafe13", "--place", "Roof").code == 2


def test_a_label_that_is_the_handle_of_another_captures_nobody(keeper: Keeper, run: Run, clock: Any) -> None:
    keeper.pupae.found("P1", "Roof")
    mine = keeper.pupa("P1")
    stamp = entry_id(clock.now, b"12345678")
    other = kinds.Found(
        id=stamp, act=stamp, happened=clock.now, recorded=clock.now, zone="UTC", pupa=stamp, label=handle_of(mine.id),
        species="monarch", place="Jar",
    )  # fmt: skip
    with keeper.journal.writing(None) as append:
        append([other])
    answer = run("saw", handle_of(mine.id), "set")
    assert (answer.code, "can mean 2 pupae" in answer.err) == (2, True)
    assert run("saw", handle_of(mine.id, 32), "set").out == "P1 is set.\n"


def test_an_id_that_looks_like_a_label_captures_none(keeper: Keeper, clock: Any) -> None:
    keeper.pupae.found("P1", "Roof")
    mine = keeper.pupa("P1")
    stamp = entry_id(clock.now + timedelta(minutes=1), b"12345678")
    trick = kinds.Found(
        id=stamp, act=stamp, happened=clock.now, recorded=clock.now, zone="UTC", pupa="P1", label="Q",
        species="monarch", place="Jar",
    )  # fmt: skip
    with keeper.journal.writing(None) as append:
        append([trick])
    assert "P1" in Keeper(keeper.journal, keeper.settings, clock).state.pupae
    assert keeper.pupa("P1").id == mine.id
    with pytest.raises(NotUnderstood, match="There is no pupa labelled"):
        keeper.pupa(mine.id)


# -- uniting


def test_uniting_names_the_labels_that_now_mean_two_and_the_way_out(
    run: Run, keeper: Keeper, partner: Keeper, clock: Any
) -> None:
    keeper.pupae.found("P1", "Roof")
    keeper.pupae.found("P2", "Roof")
    partner.pupae.found("P1", "Jar")
    handles = {handle_of(one.pupa("P1").id) for one in (keeper, partner)}
    for more in (["--dry-run"], []):
        out = run("merge", partner.journal.path, *more).out
        assert "P1 now means 2 pupae" in out
        assert handles <= set(re.findall(r"@[0-9a-f]{6}", out))
        assert "pupawatch relabel @" in out
        assert "P2 now" not in out
    assert run("merge", partner.journal.path).out == "New: 0 entries, 0 readings.\n"


def test_the_advice_of_uniting_works(run: Run, keeper: Keeper, partner: Keeper) -> None:
    keeper.pupae.found("P1", "Roof")
    partner.pupae.found("P1", "Jar")
    out = run("merge", partner.journal.path).out
    advice = re.search(r"pupawatch (relabel @\w+) NEW", out)
    assert advice is not None
    assert run(*advice[1].split(), "P9").code == 0
    assert run("saw", "P1", "set").code == 0
    assert run("saw", "P9", "set").code == 0


# -- seasons


@pytest.fixture
def last_year(keeper: Keeper, clock: Any) -> Keeper:
    """A year ago M1 emerged, and nobody recorded what became of it."""
    now, clock.now = clock.now, datetime(2025, 8, 12, 12, tzinfo=UTC)
    keeper.pupae.found("M1", "Roof", when=Span(clock.now - timedelta(days=12), clock.now - timedelta(days=11)))
    keeper.pupae.emerged("M1")
    clock.now = now
    keeper.read_anew()
    assert keeper.state.pupae == {}
    return keeper


def test_a_label_that_an_older_butterfly_holds_is_not_given_again(last_year: Keeper, run: Run) -> None:
    answer = run("found", "M1", "--place", "Jar")
    assert (answer.code, answer.out) == (2, "")
    assert "taken by a butterfly in Roof, out since 12 Aug 2025" in answer.err
    assert "`pupawatch release M1 --at DAY` or `pupawatch adult M1 died --at DAY`" in answer.err
    assert "try P1" in answer.err


@pytest.mark.parametrize("end", [("release", "M1"), ("adult", "M1", "died")])
def test_what_the_refusal_says_frees_the_label(last_year: Keeper, run: Run, end: tuple[str, ...]) -> None:
    assert run(*end, "--at", "2025-08-13").code == 0
    assert run("found", "M1", "--place", "Jar").code == 0
    assert "found in Jar" in run("history", "M1").out


def test_a_butterfly_of_long_ago_is_counted_in_one_line_and_listed_when_asked_for(last_year: Keeper, run: Run) -> None:
    assert run("adults").out.splitlines() == [
        "1 older butterfly never recorded as released or dead; `pupawatch adults --all` lists them.",
        "No butterflies in your care.",
    ]
    assert " M1 " in run("adults", "--all").out
    run("release", "M1")
    assert "M1" not in run("adults", "--all").out


def test_looking_back_the_butterflies_of_long_ago_are_those_of_then(last_year: Keeper, run: Run, clock: Any) -> None:
    then = clock.now
    clock.on(hours=2)
    run("release", "M1")
    assert " M1 " in run("adults", "--all", "--as-of", then.isoformat()).out
    assert "M1" not in run("adults", "--all", "--as-of", "2025-08-11").out


def test_two_of_one_label_in_an_old_journal_are_told_apart(last_year: Keeper, run: Run, clock: Any) -> None:
    stamp = entry_id(clock.now, b"12345678")
    anew = kinds.Found(
        id=stamp, act=stamp, happened=clock.now, recorded=clock.now, zone="UTC", pupa=stamp, label="M1",
        species="monarch", place="Jar",
    )  # fmt: skip
    old = last_year.pupa("M1")
    with last_year.journal.writing(None) as append:
        append([anew])
    for command in (("saw", "M1", "set"), ("release", "M1"), ("history", "M1"), ("forecast", "M1")):
        answer = run(*command)
        assert answer.code == 2
        assert f"{handle_of(old.id)} is a butterfly in Roof, wings unjudged, out 12 Aug 2025" in answer.err
        assert f"{handle_of(stamp)} is a pupa in Jar" in answer.err
    assert run("release", handle_of(old.id)).code == 0
    assert run("saw", "M1", "set").code == 0


def test_no_label_is_proposed_that_an_older_butterfly_holds(keeper: Keeper, clock: Any) -> None:
    keeper.pupae.found("P1", "Roof")
    keeper.pupae.emerged("P1")
    clock.on(days=300)
    keeper.read_anew()
    assert keeper.next_label("monarch") == "P2"


# -- another label


def test_a_pupa_gets_another_label_and_the_old_one_is_free(run: Run, clock: Any) -> None:
    run("found", "P1", "--place", "Roof")
    assert run("relabel", "P1", "K7").out == "P1 is labelled K7 from now on.\n"
    assert run("saw", "P1", "soft").out == "K7 is soft.\n"
    assert run("found", "P1", "--place", "Jar").code == 0
    assert run("saw", "P1", "set").out == "P1 is set.\n"
    told = run("history", "K7").out
    assert told.startswith("K7, ")
    assert "labelled K7" in told


@pytest.mark.parametrize(
    ("new", "told"),
    [
        ("P2", "The label P2 is taken by a pupa in Roof; try P3."),
        ("p2", "The label P2 is taken by a pupa in Roof; try P3."),
        ("P1", "P1 is already its label."),
        ("@cafe", "cannot be a label"),
        ("", "the label is empty"),
    ],
)
def test_a_label_that_is_taken_or_none_is_not_given(run: Run, new: str, told: str) -> None:
    run("found", "P1", "--place", "Roof")
    run("found", "P2", "--place", "Roof")
    answer = run("relabel", "P1", new)
    assert (answer.code, told in answer.err) == (2, True)


def test_a_label_that_an_older_butterfly_holds_is_taken(last_year: Keeper) -> None:
    last_year.pupae.found("P1", "Jar")
    with pytest.raises(NotUnderstood, match="The label M1 is taken by a butterfly"):
        last_year.pupae.relabel("P1", "M1")


def test_only_the_spelling_of_ones_own_label_may_change(keeper: Keeper) -> None:
    keeper.pupae.found("p1", "Roof")
    keeper.pupae.relabel("p1", "P1")
    assert [pupa.label for pupa in keeper.state.open_pupae()] == ["P1"]


def test_a_relabelling_is_dated_and_never_before_the_last_one(keeper: Keeper, clock: Any) -> None:
    keeper.pupae.found("P1", "Roof")
    clock.on(hours=5)
    keeper.pupae.relabel("P1", "P2")
    clock.on(hours=1)
    early = clock.now - timedelta(hours=3)
    with pytest.raises(NotUnderstood, match="P2 was relabelled 11:40, after that time"):
        keeper.pupae.relabel("P2", "P3", Span(None, early))
    keeper.pupae.relabel("P2", "P3")
    assert keeper.pupa("P3").label == "P3"
    assert keeper.pupa("P1", clock.now - timedelta(hours=6)).label == "P1"


def test_a_relabelling_can_be_undone(keeper: Keeper) -> None:
    keeper.pupae.found("P1", "Roof")
    keeper.pupae.relabel("P1", "P2")
    keeper.undo()
    assert keeper.pupa("P1").label == "P1"
    with pytest.raises(NotUnderstood, match="There is no pupa labelled"):
        keeper.pupa("P2")


def test_a_partner_who_knows_only_the_old_label_undoes_no_relabelling(
    keeper: Keeper, partner: Keeper, clock: Any
) -> None:
    keeper.pupae.found("P1", "Roof", prepupa=True)
    partner.merge(keeper.journal.path)
    clock.on(hours=1)
    keeper.pupae.relabel("P1", "K7")
    clock.on(hours=1)
    partner.pupae.found("P1")
    for one, other in ((keeper, partner), (partner, keeper)):
        one.merge(other.journal.path)
    assert keeper.state.pupae == partner.state.pupae
    assert (keeper.pupa("K7").id, keeper.pupa("P1").label) == (keeper.pupa("P1").id, "K7")


def test_a_prepupa_of_an_ambiguous_label_pupates_by_its_handle(keeper: Keeper, partner: Keeper) -> None:
    keeper.pupae.found("P1", "Roof", prepupa=True)
    partner.pupae.found("P1", "Jar", prepupa=True)
    mine = keeper.pupa("P1")
    keeper.merge(partner.journal.path)
    with pytest.raises(NotUnderstood, match="P1 can mean 2 pupae"):
        keeper.pupae.found("P1")
    assert keeper.pupae.found(handle_of(mine.id)).words == "P1 has pupated in Roof."


def test_the_label_of_a_prepupa_is_kept_however_it_is_typed(keeper: Keeper) -> None:
    keeper.pupae.found("P1", "Roof", prepupa=True)
    keeper.pupae.found("p1")
    assert [pupa.label for pupa in keeper.state.open_pupae()] == ["P1"]


def test_a_notebook_is_written_with_the_newest_label(keeper: Keeper, run: Run, tmp_path: Path) -> None:
    keeper.pupae.found("P1", "Roof")
    keeper.pupae.relabel("P1", "K7")
    run("export", tmp_path / "out.csv")
    assert [line.split(",")[0] for line in (tmp_path / "out.csv").read_text(encoding="utf-8-sig").splitlines()] == [
        "label",
        "K7",
    ]


def test_a_notebook_names_no_pupa_like_a_handle(keeper: Keeper, run: Run, tmp_path: Path) -> None:
    (tmp_path / "in.csv").write_text("label,formed_to\n@cafe12,2026-08-01\n", encoding="utf-8")
    answer = run("import", tmp_path / "in.csv")
    assert (answer.code, "line 2, label" in answer.err) == (2, True)


def test_a_notebook_gives_no_label_again_that_a_relabelled_pupa_holds(keeper: Keeper, run: Run, tmp_path: Path) -> None:
    keeper.pupae.found("P1", "Roof")
    keeper.pupae.relabel("P1", "K7")
    (tmp_path / "in.csv").write_text("label,formed_to\nK7,2026-09-08T06:40\n", encoding="utf-8")
    assert "K7 is taken by a pupa in Roof" in run("import", tmp_path / "in.csv").err


def test_undoing_a_relabelling_names_the_label_before_and_the_one_taken_back(run: Run) -> None:
    for words in (("found", "A1", "--place", "Roof"), ("relabel", "A1", "B1"), ("relabel", "B1", "C1")):
        assert run(*words).code == 0
    assert run("undo").out == "Undone: B1 labelled C1.\n"
    assert run("redo").out == "Redone: B1 labelled C1.\n"
    assert run("undo").out == "Undone: B1 labelled C1.\n"
    assert run("undo").out == "Undone: A1 labelled B1.\n"
