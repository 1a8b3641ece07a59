"""Labels and handles: what a keeper calls a pupa, and what tells two of one label apart."""

import hashlib
import re
from collections.abc import Sequence

from pupawatch.errors import NotUnderstood
from pupawatch.model.text import LONGEST_LABEL, checked, quoted

_SHOWN_DIGITS, _ALL_DIGITS = 6, 32
_RANGE = re.compile(r"(?P<stem>.*\D)(?P<first>\d{1,4})-(?P=stem)(?P<last>\d{1,4})", re.IGNORECASE)
_MOST = 60
"""So many labels a range may stand for: more are a slip of the hand."""
_HANDLE = re.compile(rf"@[0-9a-f]{{4,{_ALL_DIGITS}}}")


def handle_of(pupa_id: str, digits: int = _SHOWN_DIGITS) -> str:
    """The handle of a pupa: ``@`` and the first digits of a digest of its id, the same at any time and in any journal.

    digits: any number from 4 to 32 is understood; the whole one is longer than a label can be.
    """
    return "@" + hashlib.blake2b(pupa_id.encode(), digest_size=_ALL_DIGITS // 2).hexdigest()[:digits]


def handles(pupa_ids: Sequence[str], word: str) -> list[str]:
    """A handle for each of those that a word can mean: whole ones where it takes them to be told apart."""
    short = [handle_of(identity) for identity in pupa_ids]
    if len(set(short)) == len(short) and not is_handle(word):
        return short
    return [handle_of(identity, _ALL_DIGITS) for identity in pupa_ids]


def is_handle(word: str) -> bool:
    """Whether a word has the form of a handle. No new label has, one in an older journal may."""
    return _HANDLE.fullmatch(word.casefold()) is not None


def is_handle_of(word: str, pupa_id: str) -> bool:
    """Whether a word of that form stands for this pupa."""
    return handle_of(pupa_id, len(word) - 1) == word.casefold()


def checked_label(text: str) -> str:
    """A new label, trimmed. Raises NotUnderstood where it cannot be shown, is too long, or has the form of a handle."""
    label = checked(text, "the label", LONGEST_LABEL)
    if is_handle(label):
        raise NotUnderstood(f"{quoted(label)} cannot be a label: @ with digits is a handle; begin it differently")
    return label


def spread(word: str) -> list[str]:
    """The labels that a range such as ``M41-M44`` stands for; the word itself where it is none.

    What stands before the numbers is repeated, so that a label with a hyphen (26-C4) is none. Zeros in front are kept.
    Raises NotUnderstood where the range runs backwards or is longer than anybody finds at once.
    """
    told = _RANGE.fullmatch(word.strip())
    if told is None:
        return [word]
    first, last = int(told["first"]), int(told["last"])
    if not 0 <= last - first < _MOST:
        raise NotUnderstood(f"{quoted(word)} is not a range of 1 to {_MOST} labels; the lower number comes first.")
    digits = len(told["first"]) if told["first"].startswith("0") else 0
    return [f"{told['stem']}{number:0{digits}}" for number in range(first, last + 1)]
