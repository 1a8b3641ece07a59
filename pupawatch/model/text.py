"""Words that come from outside: made safe to show, and checked before they are kept."""

import difflib
import re
import shlex
import sys
import unicodedata
from collections.abc import Iterable, Sequence

from pupawatch.errors import NotUnderstood

LONGEST_LABEL = 24
LONGEST_NAME = 40
LONGEST_NOTE = 2000

# Cc: controls and escapes; Cf: invisible and direction-changing signs; Cs, Co, Cn: not characters to show;
# Zl, Zp: line and paragraph separators.
_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
_BARE_ON_WINDOWS = re.compile(r"[\w.:/\\+=-]+")
_COMPARED = 60
"""So much of a word is compared with those it may be meant for."""
_BLANK = " \u00a0\u115f\u1160\u2800\u3164\uffa0"
"""Spaces, and the letters that are drawn as nothing."""


def shown(text: str) -> str:
    """``text`` with every character that could steer a terminal or hide itself replaced by U+FFFD."""
    if text.isascii() and text.isprintable():
        return text
    return "".join("\ufffd" if unicodedata.category(sign) in _HIDDEN else sign for sign in text)


def shown_lines(text: str) -> str:
    """As ``shown``, for a text of several lines."""
    return "\n".join(shown(line) for line in text.split("\n"))


def checked(text: str, what: str, longest: int) -> str:
    """``text`` trimmed, or NotUnderstood where it is empty, too long or carries hidden characters.

    what: the name of the thing in the sentence, as in "the label"; longest: in characters.
    """
    text = unicodedata.normalize("NFC", text.strip())
    if not text:
        raise NotUnderstood(f"{what} is empty; give it at least one visible character")
    if len(text) > longest:
        raise NotUnderstood(f"{what} has {len(text)} characters; the limit is {longest}")
    if not text.strip(_BLANK):
        raise NotUnderstood(f"{what} cannot be seen; give it at least one visible character")
    if shown(text) != text:
        raise NotUnderstood(f"{what} {shown(text)!r} contains control or invisible characters; type it without them")
    return text


def is_visible(text: str, longest: int) -> bool:
    """Whether a text can be shown as it is: something of it is seen, nothing hides, and it is no longer than that."""
    return 0 < len(text) <= longest and shown(text) == text and text.strip(_BLANK) != ""


def in_percent(fraction: float) -> str:
    """A fraction in whole percent, ``82 %``."""
    return f"{100 * fraction:.0f} %"


def counted(number: int, one: str, many: str) -> str:
    """A number with what it counts: 1 pupa, 2 pupae."""
    return f"{number} {one if number == 1 else many}"


def typed(word: str, platform: str = sys.platform) -> str:
    """A word as it is typed into the shell of the system, in quotation marks where it needs them.

    On Windows in those that cmd and PowerShell both take; PowerShell reads a bare @, comma or bracket as its own.
    """
    if platform != "win32":
        return shlex.quote(word)
    return word if _BARE_ON_WINDOWS.fullmatch(word) else '"' + word.replace('"', '\\"') + '"'


def makes_writable(path: str, platform: str = sys.platform) -> str:
    """The command that takes the read-only mark from a file; ``attrib`` takes one file at a time."""
    return f"{'attrib -r' if platform == 'win32' else 'chmod u+w'} {typed(path, platform)}"


def some_names(names: Sequence[str], of: int) -> str:
    """The first names of so many: ``A1, A2, A3 and 12 more``."""
    return ", ".join(names) + (f" and {of - len(names)} more" if of > len(names) else "")


def quoted(text: str) -> str:
    """The beginning of a text from outside, in quotation marks and safe to show."""
    return f"“{shown(text[:40])}”"


def not_among(what: str, found: str, allowed: Iterable[str]) -> str:
    """A sentence for a word that is not one of those allowed, with the nearest of them. what: as in "stage"."""
    return f"{quoted(found)} is not a known {what}{did_you_mean(found, allowed) or '.'} Allowed: {', '.join(allowed)}."


def nearest(found: str, allowed: Iterable[str], most: int = 1, likeness: float = 0.6) -> list[str]:
    """The names most like ``found``, the likest first, at most so many. likeness: the least that counts, of 1."""
    return difflib.get_close_matches(found[:_COMPARED], list(allowed), most, likeness)


def did_you_mean(found: str, allowed: Iterable[str], most: int = 1) -> str:
    """``; did you mean A1, A2?`` with the names most like ``found``, at most so many; "" where none is like it."""
    near = nearest(found, allowed, most)
    return f"; did you mean {', '.join(near)}?" if near else ""
