"""A keeper's own table from the command line: the reading shown, the open questions asked, then brought in."""

import argparse
import sys
from contextlib import ExitStack

from pupawatch.cli.printing import bar, say
from pupawatch.errors import NotUnderstood
from pupawatch.exchange import new_file
from pupawatch.exchange.table import mapping
from pupawatch.exchange.table.bringing import Table
from pupawatch.exchange.table.proposal import Question
from pupawatch.keeper import Keeper
from pupawatch.model.text import counted

_NAMED = 12


def bring_table(keeper: Keeper, options: argparse.Namespace) -> int:
    """Bring in a table: as one act, or nothing. Asks where somebody sits at the terminal, else refuses."""
    given = mapping.load(options.mapping) if options.mapping and options.mapping.exists() else None
    table = Table(keeper, options.file, given)
    asking = is_terminal() and not options.accept
    while asking and (asked := table.question):
        table.answer(*asked, _answer(asked[1]))
    for line in table.told():
        say(line)
    if table.question:
        return _refuse(table, options)
    with ExitStack() as stack:
        with bar() as watch:
            laid = stack.enter_context(table.laid_out(options.leave_out is not None, watch))
        for line in laid.told():
            say(line)
        for left in laid.left:
            say(f"  left out: {left.reason}")
        if options.dry_run:
            say("Nothing was written (--dry-run).")
            return 0
        if table.is_new and not options.accept:
            if not asking:
                raise NotUnderstood(
                    "This table is new. Look at the reading above; import again with --accept if it is right."
                )
            if input("Bring it in? [y/N] ").strip().lower() not in ("y", "yes"):
                say("Nothing was written.")
                return 0
        with bar() as watch:
            written = laid.bring_in(options.leave_out, watch)
    say(f"{counted(written, 'entry', 'entries')} imported.")
    if laid.left:
        say(f"The rows left out are in {options.leave_out}; correct them there and import that file.")
    return 0


def is_terminal() -> bool:
    """Whether somebody sits there who can be asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def _answer(question: Question) -> str:
    """What the keeper answers; asked again until it is one of those that are possible."""
    say(question.text)
    answers = question.answers
    for number, answer in enumerate(answers, 1):
        say(f"  {number} {answer}" + (" (proposed)" if answer == question.suggestion else ""))
    while True:
        typed = input("> ").strip()
        if not typed and question.suggestion:
            return question.suggestion
        if typed.isdecimal() and 0 < int(typed) <= len(answers):
            return answers[int(typed) - 1]
        if typed in answers or (not answers and typed.isdecimal()):
            return typed
        say("Type the number of an answer." if answers else "Type a year, as in 2026.")


def _refuse(table: Table, options: argparse.Namespace) -> int:
    """Nothing comes in while a question is open; it can be answered in a file."""
    told = ["Nothing was imported; these questions are open:"]
    told += [
        f"  {question.text} ({' | '.join(question.answers[:_NAMED]) or 'a year'})" for question in table.questions()
    ]
    if options.mapping and not options.mapping.exists():
        new_file.write(options.mapping, table.mapping_file())
        told.append(
            f"They are written to {options.mapping}: fill them in and import again with --map {options.mapping}"
        )
    else:
        told.append("Import again with --map and the name of a new file: they are written there, to be filled in.")
    raise NotUnderstood("\n".join(told))
