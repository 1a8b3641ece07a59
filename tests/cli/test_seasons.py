"""A season that begins in July, as south of the equator, seen by whoever asks for this season's butterflies.

Sydney keeps summer time from the first Sunday of October to the first of April (IANA time zone database).
"""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]


@pytest.fixture
def sydney(run: Run, config: Path, clock: Any) -> Run:
    """A keeper in Sydney who let one butterfly go on the last day of a season, and one on the first day of the next."""
    (config / "keeper.toml").write_text('zone = "Australia/Sydney"\n', encoding="utf-8")
    (config / "care.toml").write_text("[review]\nseason_starts_month = 7\n", encoding="utf-8")
    for label, released in (("A1", "2026-06-30T23:30"), ("A2", "2026-07-01T00:30")):
        clock.now = datetime(2026, 6, 30, 15, tzinfo=UTC)  # one in the morning of 1 July in Sydney
        found = run("found", label, "--place", "Roof", "--between", "2026-06-01T07:00", "2026-06-01T19:00")
        assert found.code == 0, found.err
        emerged = run("emerged", label, "--between", "2026-06-28T07:00", "2026-06-28T12:00")
        assert emerged.code == 0, emerged.err
        run("wings", label, "sound", "--at", "2026-06-29T12:00")
        answer = run("release", label, "--place", "garden", "--at", released)
        assert answer.code == 0, answer.err
    return run


@pytest.mark.parametrize(
    ("now", "since", "listed"),
    [
        (datetime(2026, 6, 30, 13, 45, tzinfo=UTC), "2025-07-01", ["A1"]),  # a quarter to midnight of 30 June
        (datetime(2026, 6, 30, 15, tzinfo=UTC), "2026-07-01", ["A2"]),
        (datetime(2027, 3, 1, tzinfo=UTC), "2026-07-01", ["A2"]),
        (datetime(2027, 6, 30, 13, 45, tzinfo=UTC), "2026-07-01", ["A2"]),
        (datetime(2027, 6, 30, 15, tzinfo=UTC), "2027-07-01", []),
    ],
)
def test_the_data_sheet_begins_with_the_season(sydney: Run, clock: Any, now: datetime, since: str, listed: Any) -> None:
    clock.now = now
    told = json.loads(sydney("sheet", "--columns", "label", "--json").out)
    assert told["from"] == since
    assert [row["label"] for row in told["rows"]] == listed
