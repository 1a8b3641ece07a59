"""The command line: a face that understands what was typed, asks the keeper, and prints."""

import errno
import os
import sys
from typing import TYPE_CHECKING

from pupawatch.cli import streams
from pupawatch.cli.printing import complain
from pupawatch.errors import PupawatchError, Unusable

if TYPE_CHECKING:
    from pupawatch.cli.parser import Parser


def main(arguments: list[str] | None = None) -> int:
    """Run one command and return its exit code: 0 done, 1 refused by a care rule, 2 not understood, 3 not usable."""
    if sys.stdout is None:  # closed by whoever started it: nothing can be answered, so nothing is done
        return Unusable.exit_code
    if sys.stderr is None:  # else what belongs there would be printed among the answer
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 (for as long as the program runs)
    streams.prepare()
    try:
        options = _parser().parse_args(arguments)
        code = int(options.run(options))
        sys.stdout.flush()
        return code
    except PupawatchError as error:
        complain(str(error))
        return error.exit_code
    except BrokenPipeError:
        _drop_output()  # whoever read it has read enough
        return 0
    except OSError as error:
        if has_read_enough(error, sys.platform):
            _drop_output()
            return 0
        complain(f"{error.filename or 'the output'}: {error.strerror or error}")
        _drop_output()
        return Unusable.exit_code
    except KeyboardInterrupt:
        return 130


def has_read_enough(error: OSError, platform: str) -> bool:
    """Whether it says that nobody reads the output any more; on Windows a closed pipe is an invalid argument."""
    return platform == "win32" and error.errno == errno.EINVAL and error.filename is None


def _drop_output() -> None:
    """Send what could not be printed nowhere, or Python would try once more at exit and complain."""
    try:
        sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _parser() -> "Parser":
    """The parser with every command, in the order of the help."""
    from pupawatch.cli import (
        broods,
        butterflies,
        completions,
        dashboard,
        files,
        forecasting,
        health,
        keeping,
        looking,
        planning,
        recording,
        review,
        sheet,
        undoing,
    )
    from pupawatch.cli.parser import Commands

    commands = Commands(without_a_command=dashboard.own)
    for register in (
        dashboard.register,
        looking.register,
        forecasting.register,
        planning.register,
        review.register,
        recording.register,
        broods.register,
        butterflies.register,
        health.register,
        sheet.register,
        undoing.register,
        files.register,
        keeping.register,
        completions.register,
    ):
        register(commands)
    return commands.done()
