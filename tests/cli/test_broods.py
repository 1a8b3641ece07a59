"""Broods through the command line: a batch from egg to release, and what its pupae are to each other."""

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

Run = Callable[..., Any]


def test_a_brood_is_followed_from_egg_to_release(run: Run, clock: Any) -> None:
    assert run("brood", "July eggs", "--source", "wild-egg", "--eggs", "12").code == 0
    assert run("brood", "July eggs", "--hatched", "10", "--lost", "2", "--why", "did not hatch").code == 0
    assert run("brood", "July eggs", "--caterpillars", "9", "--lost", "1", "--why", "mould").code == 0
    formed = (clock.now - timedelta(days=13)).isoformat()
    for number in range(3):
        assert run("found", f"A{number}", "--place", "Roof", "--at", formed, "--brood", "July eggs").code == 0
    run("found", "B1", "--place", "Roof", "--at", formed)
    assert run("brood", "July eggs", "--pupae", "B1").out == "B1 belongs to brood July eggs.\n"
    out = (clock.now - timedelta(days=2)).isoformat()
    run("emerged", "A0", "--at", out)
    run("wings", "A0", "sound", "--at", out)
    run("release", "A0", "--at", (clock.now - timedelta(days=1)).isoformat())
    run("lost", "A1", "disease", "--at", (clock.now - timedelta(days=10)).isoformat())
    told = json.loads(run("broods", "--json").out)
    (brood,) = told["broods"]
    assert brood["steps"] == {
        "eggs": 12, "hatched": 10, "caterpillars": 9, "pupated": 4, "emerged": 1, "sound": 1, "released": 1,
        "pending": 2,
    }  # fmt: skip
    assert brood["lost"] == {"did not hatch": 2, "mould": 1}
    assert told["losses_by_age"] == {"1–4 d": {"disease": 1}}
    lines = run("broods").out
    assert "July eggs (wild egg): 12 eggs → 10 hatched → 9 caterpillars → 4 pupated → 1 emerged" in lines
    assert "Lost at 1–4 d: disease 1." in lines
    assert json.loads(run("pupae", "--json").out)["pupae"][0]["brood"] == "July eggs"


def test_several_at_once_are_one_act_with_one_undo(run: Run) -> None:
    for label in ("A1", "A2", "A3"):
        run("found", label, "--place", "Roof")
    assert run("brood", "Tray", "--pupae", "A1", "A2", "A3").out == "A1, A2, A3 belong to brood Tray.\n"
    assert run("undo").code == 0
    assert {one["brood"] for one in json.loads(run("pupae", "--json").out)["pupae"]} == {None}


def test_bad_input_is_refused(run: Run) -> None:
    assert run("brood", "X", "--source", "shop").code == 2
    assert run("brood", "X", "--eggs", "-1").code == 2
    assert run("brood", " ", "--eggs", "1").code == 2
    assert run("brood", "X", "--pupae", "NOBODY").code == 2
    assert json.loads(run("broods", "--json").out)["broods"] == []


def test_the_notebook_carries_broods_out_and_in(run: Run, tmp_path: Path) -> None:
    notebook = tmp_path / "notebook.csv"
    notebook.write_text(
        "label,site,formed_to,brood\nA1,Roof,2026-08-20T06:00,Tray\nA2,Roof,2026-08-21T06:00,\n", encoding="utf-8"
    )
    assert run("import", notebook).code == 0
    assert run("import", notebook).code == 0
    told = {one["label"]: one["brood"] for one in json.loads(run("pupae", "--json").out)["pupae"]}
    assert told == {"A1": "Tray", "A2": None}
    run("brood", "Net", "--pupae", "A2")
    out = tmp_path / "out.csv"
    assert run("export", out).code == 0
    assert "Tray" in out.read_text(encoding="utf-8-sig")
    assert "Net" in out.read_text(encoding="utf-8-sig")


def test_the_review_asks_by_brood(run: Run) -> None:
    run("found", "A1", "--place", "Roof", "--at", "2026-08-01T06:00", "--brood", "Tray")
    assert json.loads(run("review", "--by", "brood", "--json").out)["rows"][0]["group"] == "Tray"


def test_the_history_of_a_brood_tells_its_counts_and_its_pupae(run: Run) -> None:
    run("brood", "July eggs", "--source", "wild-egg", "--eggs", "12")
    run("found", "A1", "--place", "Roof", "--brood", "july EGGS")
    run("found", "A2", "--place", "Roof")
    run("brood", "July Eggs", "--pupae", "A2")
    told = run("history", "july eggs").out
    assert told.startswith("Brood July eggs:")
    assert "12 eggs" in told
    kinds = [one["kind"] for one in json.loads(run("history", "July eggs", "--json").out)["entries"]]
    assert kinds == ["brood", "found", "belongs"]
    (brood,) = json.loads(run("broods", "--json").out)["broods"]
    assert brood["pupae"] == ["A1", "A2"]
    assert run("history", "August eggs").code == 2


def test_the_review_follows_broods_from_egg_to_release(run: Run, clock: Any) -> None:
    run("brood", "Tray", "--source", "own-pairing", "--eggs", "5", "--caterpillars", "3")
    formed = (clock.now - timedelta(days=20)).isoformat()
    for label in ("A1", "A2"):
        run("found", label, "--place", "Roof", "--at", formed, "--brood", "Tray")
    run("lost", "A1", "disease", "--at", (clock.now - timedelta(days=15)).isoformat())
    told = run("review").out
    assert "FROM EGG TO RELEASE" in told
    assert "5 eggs → 3 caterpillars → 2 pupated" in " ".join(told.split())
    assert "Lost at 4–8 d: disease 1." in told
    assert "FROM EGG TO RELEASE" not in run("review", "--only", "site=Roof").out  # eggs have no site


def test_the_rates_of_the_record_that_had_time_to_end_leave_the_young_out(run: Run, clock: Any) -> None:
    for label, days in (("A1", 25), ("A2", 25), ("A3", 6)):
        run("found", label, "--place", "Roof", "--at", (clock.now - timedelta(days=days)).isoformat())
    run("emerged", "A1", "--at", (clock.now - timedelta(days=12)).isoformat())
    run("wings", "A1", "sound", "--at", (clock.now - timedelta(days=12)).isoformat())
    run("lost", "A2", "disease", "--at", (clock.now - timedelta(days=20)).isoformat())
    run("lost", "A3", "parasitoid", "--at", (clock.now - timedelta(days=1)).isoformat())
    total = json.loads(run("review", "--json").out)["total"]
    assert total["success"]["rate"] == 1 / 3
    assert (total["ended"]["n"], total["ended"]["sound"], total["ended"]["rate"]) == (2, 1, 0.5)


def test_the_history_of_a_brood_says_which_pupae_belong_to_it(run: Run) -> None:
    run("found", "A1-A2", "--place", "Roof", "--quiet")
    run("brood", "July eggs", "--pupae", "A1", "A2")
    lines = [line.split(maxsplit=1)[1] for line in run("history", "July eggs").out.splitlines()[1:]]
    assert lines == ["A1 belongs to brood July eggs", "A2 belongs to brood July eggs"]
