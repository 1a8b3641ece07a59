"""The command line: what it prints and answers is a contract that other programs rely on.

The exit codes, option names and field names are this program's own promise to them. That 24 hours of hanging must pass
is common practice, no source. The changes of summer time in Chicago in 2026 (forward on 8 March at 02:00, back on
1 November at 02:00) follow the IANA time zone database.
"""

import json
import os
import shlex
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
Run = Callable[..., Any]
HOSTILE = ("\x1b[31mA1", "A\nB", "A\u202e1", "\udcff", "\x9b2J")

PUPA_FIELDS = {
    "label", "species", "brood", "site", "place", "stage", "hang_hours", "verdict", "movable_from", "why", "suggestion",
    "proposal", "forecast", "flags",
}  # fmt: skip


def entries(run: Run, label: str = "A1") -> list[dict[str, Any]]:
    answer = run("history", label, "--json")
    return json.loads(answer.out)["entries"] if answer.code == 0 else []


def pupa(run: Run, *words: str) -> dict[str, Any]:
    (found,) = json.loads(run("pupae", "--json", *words).out)["pupae"]
    return dict(found)


# -- each command does what it says


def test_a_pupa_goes_its_whole_way(run: Run, clock: Any) -> None:
    def done(*words: str) -> str:
        answer = run(*words, "--quiet")
        assert (answer.code, answer.err) == (0, ""), answer
        return str(answer.out)

    assert done("found", "A1", "--place", "Jar", "--prepupa") == "A1 is a prepupa in Jar.\n"
    clock.on(hours=12)
    assert done("found", "A1") == "A1 has pupated in Jar.\n"
    assert pupa(run)["hang_hours"] == {"at_least": 0.0, "at_most": 12.0}
    clock.on(hours=50)
    assert done("looked", "Roof", "jar") == "Visited: Roof, Jar.\n"
    assert done("move", "A1", "Roof", "--method", "silk") == "A1 moved from Jar to Roof (by its silk).\n"
    clock.on(days=8)
    assert done("saw", "A1", "darkening") == "A1 is darkening.\n"
    clock.on(days=1)
    assert done("fell", "A1") == "A1: fallen. It needs rescue.\n"
    assert pupa(run)["verdict"] == "rescue"
    again = run("move", "A1", "Jar", "--emergency", "wet", "--quiet")
    assert again == (0, "A1 moved from Roof to Jar (emergency: wet).\n", "note: Jar cannot be climbed (glass).\n")
    assert done("emerged", "A1", "--place", "Roof").startswith("A1 has emerged.")
    clock.on(hours=5)
    assert done("wings", "A1", "sound") == "A1: wings sound.\n"
    assert done("note", "A1", "flew", "at", "noon") == "Noted for A1.\n"
    kinds = [entry["kind"] for entry in entries(run)]
    assert kinds == ["hanging", "found", "moved", "seen", "fell", "moved", "emerged", "wings", "note"]


def test_a_lost_pupa_is_no_longer_in_care(run: Run) -> None:
    run("found", "A1", "--place", "Roof")
    assert run("lost", "A1", "vanished").out == "A1 is lost (vanished).\n"
    assert json.loads(run("pupae", "--json").out)["pupae"] == []
    (lost,) = json.loads(run("pupae", "--all", "--json").out)["pupae"]
    assert (lost["label"], lost["verdict"]) == ("A1", "none")
    assert run("saw", "A1", "clear").code == 2


def test_looked_without_a_place_means_the_whole_round(run: Run) -> None:
    run("found", "A1", "--place", "The old oak")
    assert run("looked").out == "Visited: Roof, Jar, The old oak.\n"


def test_a_caterpillar_seen_today_is_no_pupa_of_three_days(run: Run, clock: Any, tmp_path: Path) -> None:
    run("found", "A1", "--place", "Jar", "--prepupa")
    refused = run("found", "A1", "--at", "2026-09-05T07:00")
    assert (refused.code, "was still a prepupa 06:40" in refused.err) == (2, True)
    notebook = tmp_path / "notebook.csv"
    notebook.write_text("label,formed_to\nA1,2026-09-05T07:00\n", encoding="utf-8")
    refused = run("import", notebook)
    assert (refused.code, "A1 was seen as a prepupa after that" in refused.err) == (2, True)
    assert run("move", "A1", "Roof").code == 1


def test_a_place_that_is_said_to_be_warm_after_all_is_no_reason_to_move_at_once(run: Run, clock: Any) -> None:
    run("found", "A1", "--place", "Jar")
    run("place", "Jar", "--temperature-c", "5")
    run("found", "A2", "--place", "Jar")
    clock.on(hours=34)
    assert [run("move", label, "Roof").code for label in ("A1", "A2")] == [1, 1]
    assert "A1 hung in the cold until now" in run("place", "Jar", "--temperature-c", "22").err
    assert run("place", "Jar", "--temperature-c", "23").err == ""
    assert run("move", "A2", "Roof").code == 1  # it was hung there when the place was cold, and says so itself


def test_a_place_nobody_described_is_told_once_with_words_to_type(run: Run, clock: Any) -> None:
    note = (
        "note: The keeper's nail is not described yet, so whether it can be climbed is unknown; describe it: "
        "pupawatch place {} --surface …\n"
    ).format(shlex.quote("The keeper's nail"))
    run("found", "A1", "--place", "Roof")
    clock.on(hours=30)
    run("fell", "A1")
    assert run("move", "A1", "The keeper's nail", "--quiet").err == note
    assert run("found", "B1", "--place", "the keeper's NAIL", "--quiet").err == note
    assert run("place", "The keeper's nail", "--surface", "mesh").code == 0
    assert run("found", "C1", "--place", "The keeper's nail", "--quiet").err == ""


def test_a_place_is_added_and_edited(run: Run, config: Path) -> None:
    assert run("place", "Line", "--surface", "line", "--capacity", "3", "--clearance-cm", "12.5").code == 0
    assert run("place", "Line", "--climbable", "no").out == "Line changed.\n"
    line = json.loads(run("places", "--json").out)["places"][-1]
    assert {name: line[name] for name in ("name", "surface", "climbable", "capacity", "living")} == {
        "name": "Line", "surface": "line", "climbable": False, "capacity": 3, "living": 0,
    }  # fmt: skip
    assert run("place", "Line", "--surface", "lien").code == 2
    assert run("place", "Line", "--capacity", "0").code == 2
    assert run("place", "Line", "--capacity", "three").code == 2


def test_undo_takes_back_and_redo_does_again(run: Run) -> None:
    run("found", "A1", "--place", "Roof")
    run("saw", "A1", "darkening")
    assert run("undo").out == "Undone: A1 seen darkening.\n"
    assert pupa(run)["stage"] == "soft"
    assert run("redo").out == "Redone: A1 seen darkening.\n"
    assert pupa(run)["stage"] == "darkening"
    run("undo")
    run("undo")
    assert json.loads(run("pupae", "--json").out)["pupae"] == []
    assert run("undo") == (2, "", "pupawatch: There is nothing to undo.\n")


def test_a_backup_is_written_and_restored(run: Run, journal_path: Path, tmp_path: Path) -> None:
    run("found", "A1", "--place", "Roof")
    assert run("backup", tmp_path / "mine.db").code == 0
    assert run("backup", tmp_path / "mine.db").code == 2  # never over another file
    run("saw", "A1", "darkening")
    answer = run("restore", tmp_path / "mine.db", "--yes")
    assert (answer.code, "is kept as" in answer.out) == (0, True)
    assert pupa(run)["stage"] == "soft"
    assert len(list(journal_path.parent.glob("journal-replaced-*.db"))) == 1
    assert run("check").out.startswith(f"{journal_path}: 1 entries, all undamaged.\n")


def test_check_names_the_newest_good_copy(run: Run, journal_path: Path, clock: Any) -> None:
    run("found", "A1", "--place", "Roof")
    clock.on(days=1)
    run("note", "A1", "an unmistakable remark")
    journal_path.write_bytes(journal_path.read_bytes().replace(b"unmistakable", b"unmistakaBle"))
    good = journal_path.parent / "journal-copies" / "journal-2026-09-09.db"
    answer = run("check")
    assert answer.code == 3
    assert answer.out == "Entry 2 is damaged: it does not match its checksum.\n"
    assert (
        answer.err
        == f"pupawatch: {journal_path} is damaged. The newest good backup is {good}: pupawatch restore {good}\n"
    )
    assert run("today").code == 3
    assert run("restore", good).code == 0
    assert run("check").code == 0


def test_check_helps_where_the_file_is_cut_short(run: Run, journal_path: Path, clock: Any) -> None:
    run("found", "A1", "--place", "Roof")
    clock.on(days=1)
    run("saw", "A1", "set")
    journal_path.write_bytes(journal_path.read_bytes()[:9000])
    answer = run("check")
    assert answer.code == 3
    assert "The newest good backup is" in answer.err


# -- what other programs read


def test_the_record_of_the_pupae_has_the_promised_names(run: Run, clock: Any) -> None:
    run("looked", "Jar", "--at", "2026-09-07T20:00")
    run("found", "A1", "--place", "Jar")
    for command in ("today", "pupae"):
        record = json.loads(run(command, "--json").out)
        assert record.keys() == {"as_of", "pupae"}
        assert record["as_of"] == "2026-09-08T11:40:00+00:00"
        (found,) = record["pupae"]
        assert found.keys() == PUPA_FIELDS
        why = found.pop("why")
        found.pop("forecast")
        assert found.pop("proposal")["kind"] == "soft"
        assert "24 h" in why
        assert found == {
            "label": "A1",
            "species": "monarch",
            "brood": None,
            "site": "Jar",
            "place": "Jar",
            "stage": "soft",
            "hang_hours": {"at_least": 0.0, "at_most": 10.67},  # 20:00 to 06:40
            "verdict": "wait",
            "movable_from": "2026-09-09T11:40:00+00:00",
            "suggestion": None,
            "flags": [],
        }
    clock.on(hours=49)
    found = pupa(run)
    assert (found["verdict"], found["movable_from"], found["suggestion"].keys()) == ("free", None, {"place", "why"})
    assert found["suggestion"]["place"] == "Roof"
    assert datetime.fromisoformat(json.loads(run("today", "--json").out)["as_of"]).utcoffset() == timedelta(0)


def test_a_pupa_of_unknown_age_has_no_upper_end(run: Run) -> None:
    run("found", "A1", "--place", "Jar")
    assert pupa(run)["hang_hours"] == {"at_least": 0.0, "at_most": None}


def test_the_record_of_the_places_has_the_promised_names(run: Run) -> None:
    run("found", "A1", "--place", "Jar")
    record = json.loads(run("places", "--json").out)
    assert record.keys() == {"places"}
    promised = [
        {name: place[name] for name in ("name", "surface", "climbable", "capacity", "living")}
        for place in record["places"]
    ]
    assert promised == [
        {"name": "Roof", "surface": "mesh", "climbable": True, "capacity": 12, "living": 0},
        {"name": "Jar", "surface": "glass", "climbable": False, "capacity": 2, "living": 1},
    ]


def test_every_time_in_a_record_is_utc_with_its_offset(run: Run) -> None:
    run("found", "A1", "--place", "Jar", "--between", "2026-09-06", "2026-09-07T08:00+02:00")
    (entry,) = entries(run)
    assert (entry["since"], entry["happened"], entry["recorded"], entry["zone"]) == (
        "2026-09-06T05:00:00+00:00",
        "2026-09-07T06:00:00+00:00",
        "2026-09-08T11:40:00+00:00",
        "America/Chicago",
    )


def test_reading_as_of_a_time_shows_the_journal_as_it_stood(run: Run, clock: Any) -> None:
    run("found", "A1", "--place", "Jar")
    run("looked", "Jar")
    clock.on(hours=30)
    run("saw", "A1", "darkening")
    run("looked", "Jar")
    run("found", "A2", "--place", "Roof")
    then = "2026-09-08T20:00Z"
    (only,) = json.loads(run("today", "--json", "--as-of", then).out)["pupae"]
    assert (only["label"], only["stage"], only["hang_hours"]["at_least"]) == ("A1", "soft", 8.33)
    assert [entry["kind"] for entry in json.loads(run("history", "A1", "--json", "--as-of", then).out)["entries"]] == [
        "found"
    ]
    assert "visited 06:40" in run("places", "--as-of", then).out
    assert run("history", "A2", "--as-of", then).code == 2
    assert run("pupae", "--as-of", "soon").code == 2
    assert run("pupae", "--as-of", "").code == 2
    assert len(json.loads(run("pupae", "--json").out)["pupae"]) == 2


# -- when it happened


def test_an_act_is_recorded_at_the_time_that_was_typed(run: Run) -> None:
    run("found", "A1", "--place", "Jar", "--between", "2026-08-30", "2026-08-31")
    run("saw", "A1", "set", "--at", "2026-09-02 06:30")
    run("saw", "A1", "darkening", "--at", "06:10")
    run("saw", "A1", "clear", "--at", "today")
    found, *seen, today = entries(run)
    assert (found["since"], found["happened"]) == ("2026-08-30T05:00:00+00:00", "2026-09-01T05:00:00+00:00")
    assert [entry["happened"] for entry in seen] == ["2026-09-02T11:30:00+00:00", "2026-09-08T11:10:00+00:00"]
    # Today is not over: it happened by now.
    assert (today["since"], today["happened"]) == ("2026-09-08T05:00:00+00:00", "2026-09-08T11:40:00+00:00")


@pytest.mark.parametrize(
    ("time", "told"),
    [
        (["--at", "2026-09-08T06:41"], "lies in the future"),
        (["--at", "2026-09-09"], "lies in the future"),
        (["--at", "2199-12-31"], "lies in the future"),
        (["--between", "2026-09-08T06:00", "2026-09-08T07:00"], "lies in the future"),
        (["--between", "2026-09-08T06:00", "2026-09-08T05:00"], "ends before it begins"),
        (["--at", "2026-02-30T06:00"], "is not a day of the calendar"),
        (["--at", "2026-13-01"], "is not a day of the calendar"),
        (["--at", "9999-12-31"], "the year is not between"),
        (["--at", "0001-01-01T00:00+05:00"], "the year is not between"),
        (["--at", "2026-09-01T24:00"], "is not a time of day"),
        (["--at", "2026-09-01T06:00+99:00"], "there is no offset +99:00"),
        (["--at", "2026-09-01Z"], "has an offset but no time of day"),
        (["--at", "2026-03-08T02:30"], "did not exist in America/Chicago"),
        (["--at", "2025-11-02T01:30"], "came twice in America/Chicago"),
        (["--at", "٢٠٢٦-٠٩-٠١"], "is not a time"),
        (["--at", "lately"], "is not a time"),
        (["--at", ""], "is not a time"),
        (["--at", "\x1b[2J"], "is not a time"),
        (["--at", "06:00", "--between", "06:00", "06:10"], "not allowed with"),
        (["--between", "06:00"], "expected 2 arguments"),
    ],
)
def test_a_time_that_cannot_be_is_not_understood_and_nothing_is_written(run: Run, time: list[str], told: str) -> None:
    run("found", "A1", "--place", "Jar", "--at", "2024-09-01T06:00")
    for command in (["saw", "A1", "set"], ["looked", "Jar"], ["move", "A1", "Roof"], ["found", "A2", "--place", "Jar"]):
        answer = run(*command, *time)
        assert (answer.code, answer.out) == (2, "")
        assert told in answer.err
        assert "\x1b" not in answer.err
    assert [entry["kind"] for entry in entries(run)] == ["found"]


def test_an_offset_tells_the_two_half_past_ones_apart(run: Run) -> None:
    run("found", "A1", "--place", "Jar", "--at", "2025-11-01T06:00")
    assert run("saw", "A1", "set", "--at", "2025-11-02T01:30-05:00").code == 0
    assert run("saw", "A1", "set", "--at", "2025-11-02T01:30-06:00").code == 0
    assert [entry["happened"][11:16] for entry in entries(run)[1:]] == ["06:30", "07:30"]


# -- the rule at this door


def test_a_move_that_is_too_early_is_refused_with_the_time_from_which_it_may_be(run: Run, clock: Any) -> None:
    run("found", "A1", "--place", "Jar")
    clock.on(hours=23, minutes=59)
    answer = run("move", "A1", "Roof")
    assert (answer.code, answer.out) == (1, "")
    assert "A1 must not be moved yet" in answer.err
    assert "It may be moved from 06:40." in answer.err
    assert [entry["kind"] for entry in entries(run)] == ["found"]
    clock.on(minutes=1)
    assert run("move", "A1", "Roof").code == 0


def test_a_named_emergency_waives_the_waiting_and_is_written_down(run: Run) -> None:
    run("found", "A1", "--place", "Jar")
    assert run("move", "A1", "Roof", "--emergency", "boredom").code == 2
    assert run("move", "A1", "Roof", "--emergency", "wet").code == 0
    moved = entries(run)[-1]
    assert (moved["kind"], moved["emergency"], moved["to"]) == ("moved", "wet", "Roof")


def test_what_is_gone_cannot_be_moved(run: Run) -> None:
    run("found", "A1", "--place", "Jar", "--at", "2026-08-25T06:00")
    run("emerged", "A1")
    answer = run("move", "A1", "Roof", "--emergency", "wet")
    assert (answer.code, "it has emerged" in answer.err) == (1, True)


# -- what is not understood, and what cannot be used


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["saw", "B7", "clear"], "There is no pupa labelled “B7”"),
        (["history", "B7"], "There is no pupa labelled “B7”"),
        (["saw", "A1", "darkning"], "did you mean darkening?"),
        (["move", "A1", "Rooof"], "did you mean Roof?"),
        (["move", "A1", "Jar", "--method", "magic"], "is not a known method"),
        (["wings", "A1", "sound"], "has not emerged yet"),
        (["lost", "A1", "boredom"], "is not a known cause of loss"),
        (["fell", "A1", "--danger", "boredom"], "is not a known emergency reason"),
        (["found", "A1", "--place", "Roof"], "The label A1 is taken"),
        (["found", "A2"], "Where does A2 hang?"),
        (["found", "A2", "--place", "Roof", "--species", "monark"], "did you mean monarch?"),
        (["found", "", "--place", "Roof"], "the label is empty"),
        (["found", "A" * 25, "--place", "Roof"], "the label has 25 characters"),
        (["redo"], "There is nothing to redo"),
        (["export", "."], "exists already"),
        (["import", "no-such.csv", "--as", "poem"], "invalid choice"),
        (["dance"], "is not a command"),
        (["today", "tomorrow"], "more than the command takes"),
        (["found"], "the following arguments are required"),
    ],
)
def test_what_makes_no_sense_gives_a_sentence_and_code_2(run: Run, words: list[str], told: str) -> None:
    run("found", "A1", "--place", "Jar", "--at", "2026-09-01T06:00")
    answer = run(*words)
    assert (answer.code, answer.out) == (2, "")
    assert told in answer.err
    assert "pupawatch" in answer.err
    assert len(entries(run)) == 1


@pytest.mark.parametrize(
    "words", [["saw"], ["found"], ["note"], ["history"], ["move"], ["place"], ["looked"], ["import"]]
)
@pytest.mark.parametrize("hostile", HOSTILE)
def test_control_characters_are_refused_and_never_printed_raw(run: Run, words: list[str], hostile: str) -> None:
    run("found", "A1", "--place", "Jar")
    more = {
        "saw": [hostile, "clear"],
        "found": [hostile, "--place", "Jar"],
        "note": ["A1", hostile],
        "history": [hostile],
        "move": ["A1", hostile, "--emergency", "wet"],
        "place": [hostile],
        "looked": [hostile],
        "import": [hostile],
    }[words[0]]
    answer = run(*words, *more)
    assert answer.code in (2, 3)
    assert answer.out == ""
    assert answer.err.count("\n") <= 2
    assert all(sign.isprintable() or sign == "\n" for sign in answer.err)
    assert len(entries(run)) == 1


@pytest.mark.parametrize("hostile", HOSTILE)
def test_not_even_what_no_command_knows_is_printed_raw(run: Run, hostile: str) -> None:
    for words in (["today", hostile], [hostile], ["pupae", f"--{hostile}"], ["today", "--as-of", hostile]):
        answer = run(*words)
        assert (answer.code, answer.out) == (2, "")
        assert all(sign.isprintable() or sign == "\n" for sign in answer.err)


@pytest.mark.parametrize("label", ["[red]x[/]", "[/]", "{x}", "%s", "<b>", "$(id)", "=1+1", "'; DROP TABLE entry; --"])
def test_a_label_is_only_ever_words(run: Run, label: str) -> None:
    assert run("found", label, "--place", "Jar").out == f"{label} is a pupa in Jar.\n"
    assert run("saw", label, "darkening").code == 0
    for command in (["today"], ["pupae"], ["history", label]):
        assert label in run(*command).out
    assert pupa(run)["label"] == label


def test_a_label_is_found_in_any_case_of_letters(run: Run) -> None:
    run("found", "Élan", "--place", "Jar")
    assert run("saw", "éLAN", "set").code == 0


def test_files_that_cannot_be_used_give_a_sentence_and_code_3(run: Run, tmp_path: Path, config: Path) -> None:
    words = tmp_path / "words"
    words.write_text("Dear diary. " * 20, encoding="utf-8")
    torn = tmp_path / "torn"
    torn.mkdir()
    (torn / "care.toml").write_text("[wings", encoding="utf-8")
    long = tmp_path / ("x" * 300)
    for typed in (
        ["--journal", words, "today"],
        ["--journal", tmp_path, "check"],
        ["--journal", long, "today"],
        ["--journal", "/proc/nowhere/journal.db", "looked", "Roof"],
        ["--config", torn, "today"],
        ["--config", words, "place", "Line"],
        ["--config", long, "today"],
        ["restore", words],
        ["restore", tmp_path / "nothing"],
        ["backup", tmp_path / "there-is-no-journal-yet"],
        ["import", tmp_path / "nothing.csv"],
        ["import", tmp_path],
        ["export", tmp_path / "no" / "folder.csv"],
    ):
        answer = run(*typed)
        assert (answer.code, answer.out) == (3, ""), typed
        assert answer.err.startswith("pupawatch: "), typed
        assert "Traceback" not in answer.err
    assert words.read_text(encoding="utf-8") == "Dear diary. " * 20


def test_where_to_look_can_be_said_before_and_after_the_command(run: Run, tmp_path: Path, config: Path) -> None:
    other, elsewhere = tmp_path / "other.db", tmp_path / "elsewhere"
    assert run("found", "B1", "--place", "Roof", "--journal", other).code == 0
    assert [p["label"] for p in json.loads(run("--journal", other, "pupae", "--json").out)["pupae"]] == ["B1"]
    assert json.loads(run("pupae", "--json").out)["pupae"] == []
    assert run("place", "Line", "--surface", "line", "--config", elsewhere).code == 0
    assert [p["name"] for p in json.loads(run("--config", elsewhere, "places", "--json").out)["places"]] == ["Line"]
    assert len(json.loads(run("places", "--json").out)["places"]) == 2


@pytest.mark.parametrize(
    "command", ["demo", "today", "pupae", "history", "places", "place", "found", "looked", "saw", "fell", "move",
                "emerged", "wings", "lost", "undo", "import", "check", "backup", "restore"],
)  # fmt: skip
def test_every_command_takes_its_journal_and_settings_and_explains_itself(run: Run, command: str) -> None:
    answer = run(command, "--help")
    assert answer.code == 0
    assert "--journal FILE" in answer.out
    assert "--config DIR" in answer.out


def test_an_empty_journal_leads_on(run: Run) -> None:
    assert "No pupae in your care" in run("today").out
    assert "pupawatch found" in run("pupae").out
    assert run("check").code == 0
    assert json.loads(run("today", "--json").out)["pupae"] == []


# -- as a program among others


def shell(tmp_path: Path, *words: str, **more: Any) -> "subprocess.CompletedProcess[bytes]":
    typed = [sys.executable, "-m", "pupawatch", "--journal", str(tmp_path / "j.db"), "--config", str(tmp_path / "c")]
    more.setdefault("stdout", subprocess.PIPE)
    return subprocess.run([*typed, *words], cwd=ROOT, stderr=subprocess.PIPE, check=False, **more)


def test_the_program_answers_a_shell(tmp_path: Path) -> None:
    assert shell(tmp_path, "found", "A1", "--place", "Roof").returncode == 0
    refused = shell(tmp_path, "move", "A1", "Line")
    assert (refused.returncode, refused.stdout) == (1, b"")
    assert b"Traceback" not in refused.stderr
    assert shell(tmp_path, "saw", "A1", "dark").returncode == 2
    assert json.loads(shell(tmp_path, "pupae", "--json").stdout)["pupae"][0]["label"] == "A1"


def test_an_output_that_cannot_carry_every_sign_is_no_reason_to_fail(tmp_path: Path) -> None:
    shell(tmp_path, "found", "Élan", "--place", "Roof")
    plain = shell(tmp_path, "today", env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert (plain.returncode, plain.stderr) == (0, b"")
    assert b"Elan" in plain.stdout
    assert b"?" not in plain.stdout


def test_an_output_that_nobody_reads_or_that_is_full_ends_quietly(tmp_path: Path) -> None:
    shell(tmp_path, "found", "A1", "--place", "Roof")
    reading, writing = os.pipe()
    os.close(reading)
    unread = shell(tmp_path, "pupae", stdout=writing)
    os.close(writing)
    assert (unread.returncode, unread.stderr) == (0, b"")
    with open("/dev/full", "wb") as full:
        stuck = shell(tmp_path, "pupae", stdout=full)
    assert (stuck.returncode, stuck.stderr) == (3, b"pupawatch: the output: No space left on device\n")


def test_an_output_that_is_closed_ends_quietly_and_nothing_is_done(tmp_path: Path) -> None:
    """As a shell does it: ``pupawatch today >&-``."""
    shell(tmp_path, "found", "A1", "--place", "Roof")
    for words in (["today"], ["found", "A2", "--place", "Roof"], ["--help"], ["no-such-command"]):
        typed = [sys.executable, "-m", "pupawatch", "--journal", tmp_path / "j.db", "--config", tmp_path / "c", *words]
        closed = subprocess.run(
            ["sh", "-c", f"{shlex.join(map(str, typed))} >&-"], cwd=ROOT, stderr=subprocess.PIPE, check=False
        )
        assert (closed.returncode, closed.stderr) == (3, b""), words
    assert len(json.loads(shell(tmp_path, "pupae", "--json").stdout)["pupae"]) == 1


def test_where_errors_cannot_be_told_the_answer_is_as_it_was(tmp_path: Path) -> None:
    """As a shell does it: ``pupawatch found A1 --place Attic 2>&-``; the note on the place is no part of the answer."""
    typed = [sys.executable, "-m", "pupawatch", "--journal", tmp_path / "j.db", "--config", tmp_path / "c"]
    line = shlex.join(map(str, [*typed, "found", "A1", "--place", "Attic"]))
    done = subprocess.run(["sh", "-c", f"{line} 2>&-"], cwd=ROOT, stdout=subprocess.PIPE, check=False)
    assert (done.returncode, done.stdout) == (0, b"A1 is a pupa in Attic.\n")
    assert subprocess.run(["sh", "-c", f"{line} 2>&-"], cwd=ROOT, stdout=subprocess.PIPE, check=False).returncode == 2


@pytest.mark.parametrize("words", [[], ["demo"]])
@pytest.mark.parametrize("piped", ["stdin", "stdout", "stderr"])
def test_without_a_terminal_there_is_no_dashboard(tmp_path: Path, words: list[str], piped: str) -> None:
    """Its keys come from the one, and it is drawn on the others."""
    terminal, other = os.openpty()
    streams: dict[str, Any] = {"stdin": other, "stdout": other, "stderr": other, piped: subprocess.PIPE}
    typed = [sys.executable, "-m", "pupawatch", "--journal", tmp_path / "j.db", "--config", tmp_path / "c", *words]
    done = subprocess.run(typed, cwd=ROOT, timeout=60, check=False, **streams)
    told = done.stderr if piped == "stderr" else os.read(terminal, 1 << 16)
    os.close(terminal)
    os.close(other)
    assert done.returncode == 2
    assert told.startswith(b"pupawatch: The dashboard needs a terminal; `pupawatch today` prints ")
    assert told.count(b"\n") == 1


def test_an_export_that_is_killed_as_it_writes_leaves_no_file(tmp_path: Path) -> None:
    shell(tmp_path, "found", "A1", "--place", "Roof")
    code = (
        "import os, signal, sys\n"
        "os.fsync = lambda handle: os.kill(os.getpid(), signal.SIGKILL)\n"
        "from pupawatch.cli import main\n"
        "main(sys.argv[1:])"
    )
    words = ["--journal", str(tmp_path / "j.db"), "--config", str(tmp_path / "c"), "export", str(tmp_path / "out.csv")]
    assert subprocess.run([sys.executable, "-c", code, *words], cwd=ROOT, check=False).returncode == -9
    assert not (tmp_path / "out.csv").exists()
    assert shell(tmp_path, "export", str(tmp_path / "out.csv")).returncode == 0
    assert (tmp_path / "out.csv").read_text(encoding="utf-8-sig").startswith("label,")


def test_commands_are_still_known_by_their_old_names_and_no_help_shows_them(run: Run) -> None:
    run("place", "Roof", "--surface", "mesh")
    run("found", "A1", "--place", "Roof")
    assert run("looked", "Roof").out == run("visited", "Roof").out == "Visited: Roof.\n"
    assert run("climb", "A1").out == run("aid", "A1").out == "A1 has a climbing aid beside it.\n"
    told = run("--help").out
    assert "visited" in told
    assert "looked" not in told


def test_every_command_stands_in_one_group_of_the_help(run: Run) -> None:
    from pupawatch.cli import _parser
    from pupawatch.cli.parser import GROUPS

    listed = [name for names in GROUPS.values() for name in names]
    there = _parser()._subparsers._group_actions[0]._choices_actions  # type: ignore[union-attr, attr-defined]
    assert sorted(listed) == sorted(choice.dest for choice in there)
    told = run("--help").out
    assert all(f"\n  {name} " in told for name in listed)
    assert run("--version").out.startswith("pupawatch 0.")
    assert "did you mean plan?" in run("plann").err
