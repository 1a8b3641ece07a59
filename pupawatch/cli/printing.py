"""How answers are printed: lines, notes beside them, and records for other programs."""

import json
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from pupawatch.keeper.drafts import Done
from pupawatch.model.settings import Method
from pupawatch.model.text import shown

Say = Callable[[str], None]
Record = dict[str, Any]
"""What ``--json`` prints."""


def say(line: str) -> None:
    """Print one line of the answer."""
    print(shown(line))


def warn(words: str) -> None:
    """Tell what the keeper should know beside the answer; nothing where there is nothing to tell."""
    if words:
        print(f"note: {shown(words)}", file=sys.stderr)


def complain(message: str) -> None:
    """Tell why something was not done."""
    for index, line in enumerate(message.split("\n")):
        print(f"{'' if index else 'pupawatch: '}{shown(line)}", file=sys.stderr)


def done(*acts: Done, ways: Iterable[Method] = ()) -> int:
    """Print what was recorded, what should be known beside it, and how the hand goes about it."""
    for act in acts:
        say(act.words)
        for warning in act.warnings:
            warn(warning)
    for way in ways:
        for line in way_lines(way):
            print(shown(line), file=sys.stderr)
    return 0


def way_lines(way: Method) -> Iterator[str]:
    """The cautions and steps of a way to do something by hand; the cautions first."""
    yield f"{way.words[:1].upper()}{way.words[1:]}:"
    yield from (f"  ! {caution}" for caution in way.cautions)
    yield from (f"  {number}. {step}" for number, step in enumerate(way.steps, 1))


def print_json(record: Record) -> int:
    """Print a record for other programs."""
    print(json.dumps(record, ensure_ascii=True, indent=2))
    return 0


def answered(is_json: bool, tell: Callable[[Say], Record]) -> int:
    """Print what ``tell`` says line by line, or for other programs only the record it gives."""
    record = tell((lambda _: None) if is_json else say)
    return print_json(record) if is_json else 0


@contextmanager
def bar() -> Iterator[Callable[[str, int, int], None]]:
    """Progress bars where somebody watches; gives what to call with what is done, how much more, of how much."""
    if not sys.stderr.isatty():
        yield lambda what, more, of: None
        return
    from rich.console import Console
    from rich.progress import Progress, TaskID

    with Progress(console=Console(stderr=True), transient=True) as shown:
        tasks: dict[str, TaskID] = {}

        def watch(what: str, more: int, of: int) -> None:
            if what not in tasks:
                tasks[what] = shown.add_task(what, total=of or None)
            shown.advance(tasks[what], more)

        yield watch
