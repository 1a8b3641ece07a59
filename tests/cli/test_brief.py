"""`today --brief`: a line for a timer or a shell's greeting. That it is silent where nothing needs anybody is what this
program promises; what needs somebody is common practice, no source."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from conftest import Answer

Run = Callable[..., "Answer"]


def brief(run: Run) -> str:
    answer = run("today", "--brief")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.count("\n") == (1 if answer.out else 0)
    return answer.out.removeprefix("pupawatch: ").strip()


def test_nothing_is_said_where_nothing_needs_anybody(run: Run, clock: Any) -> None:
    assert brief(run) == ""  # nor where there is no journal yet
    run("found", "A1", "--place", "Roof")
    assert brief(run) == ""  # soft, where it can emerge
    clock.on(days=5)
    assert brief(run) == ""  # set, where it can emerge
    run("saw", "A1", "clear")
    assert brief(run) == ""  # clear, where it can emerge: hands off


@pytest.mark.parametrize(
    ("acts", "told"),
    [
        ([("fell", "A1")], "1 to rescue."),
        ([("saw", "A1", "empty")], "1 case empty."),
        ([("emerged", "A1"), ("adult", "A1", "fell")], "A1 on the floor with soft wings."),
        ([("found", "B1", "--place", "Jar", "--between", "2026-09-02T06:00Z", "2026-09-02T07:00Z")], "1 to move."),
    ],
)
def test_what_needs_somebody_is_one_line(run: Run, clock: Any, acts: list[tuple[str, ...]], told: str) -> None:
    run("found", "A1", "--place", "Roof")
    clock.on(days=10)
    for act in acts:
        assert run(*act).code == 0
    assert told in brief(run)
