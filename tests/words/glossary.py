"""What this program never says to a keeper: one voice, one word for one thing. The only list of it.

Phrases, not words: a "scent spot" on a wing and "shell completions" are fine.
"""

import re
from typing import NamedTuple


class Forbidden(NamedTuple):
    """A regular expression of what is not said, what is said instead, and an example that must be found."""

    phrase: str
    instead: str
    example: str


FORBIDDEN = [
    Forbidden(r"hanging caterpillars?\b", "prepupa", "a hanging caterpillar"),
    Forbidden(r"\blet(s|ting)? (it |one |them )?fly\b", "release", "was let fly"),
    Forbidden(r"\blet go\b", "release", "or let go"),
    Forbidden(r"\b(un)?walked\b", "visited, not visited", "11 unwalked"),
    Forbidden(r"\blooked over\b", "visited", "never looked over"),
    Forbidden(r"\bset apart\b|\bAPART\b", "quarantine", "set apart"),
    Forbidden(r"\bset hanging time\b", "minimum hanging time", "the set hanging time"),
    Forbidden(r"\bfor certain\b", "at least", "hangs 12 h for certain"),
    Forbidden(r"\bin the stead of\b", "replace", "in the stead of the journal"),
    Forbidden(r"\b(no|a|better|good|climbable) spot\b", "place; safe, unsafe", "a better spot"),
    Forbidden(r"\b(no|a) climb\b", "climbing aid", "bring a climb"),
    Forbidden(r"\bwrit(e|es|ten) (it |that |this )?down\b|\bwrote down\b", "record", "write it down"),
    Forbidden(r"\bnobody (knows|wrote|said|described)\b", "not known, not recorded", "nobody knows"),
    Forbidden(r"\bcannot be so\b", "is not possible", "it cannot be so"),
    Forbidden(r"\btold of\b|\btells? of\b", "belongs to, reports", "the sensor tells of"),
    Forbidden(r"\b(gave|gives|give|gave it) no adult\b", "produced no butterfly", "it gave no adult"),
    Forbidden(r"\badult is out\b|\b(fresh|living) adults?\b", "butterfly", "the living adults"),
    Forbidden(r"\b(plant|milkweed) juice\b", "milky sap, latex", "plant juice"),
    Forbidden(r"\bdung\b", "droppings", "dung"),
    Forbidden(r"\bbrought in\b", "imported", "nothing was brought in"),
    Forbidden(r"\ball is calm\b", "nothing urgent", "all is calm"),
    Forbidden(r"\bseason taught\b", "your records show", "what the season taught"),
    Forbidden(r"\bliv(ed|ing) through\b", "re-run, replay", "lived through again"),
    Forbidden(r"\bcan(not)? be told\b", "is not clear", "cannot be told"),
    Forbidden(r"\b(good|checked) cop(y|ies)\b|\bput a copy\b", "backup", "a checked copy"),
    Forbidden(r"\btaken? in\b", "merge", "nothing was taken in"),
    Forbidden(r"\ball the same\b", "anyway", "all the same"),
    Forbidden(r"\bsee to it\b", "deal with it", "see to it"),
    Forbidden(r"\bmade anew\b", "rebuilt", "made anew"),
    Forbidden(r"\bin peace\b", "alone", "leave it in peace"),
    Forbidden(r"\bstands? twice\b", "appears twice", "stands twice"),
    Forbidden(r"\bis no (temperature|zone|day|method|regular|cause)\b", "is not a …", "is no zone"),
    Forbidden(r"\bhas split\b|\b(came|comes?) out\b", "emerge", "nothing came out"),
    Forbidden(r"\bits case (is|has)\b", "it is", "its case has turned clear"),
    Forbidden(r"\bDARK\b", "DARKENING", "DARK M1"),
    Forbidden(r"\bas of a\b", "such as from", "as of a second person"),
    Forbidden(r"\bfind room\b", "it holds", "how many pupae find room"),
    Forbidden(r"\bof long ago\b", "older", "butterflies of long ago"),
    Forbidden(r"\d%(?!\d|;|\})|:\.\d%\}", "82 %", "82%"),
]


def slips(text: str) -> list[str]:
    """The lines that say it otherwise than the glossary."""
    return [line.strip() for line in text.splitlines() if _ANY.search(line)]


_ANY = re.compile("|".join(f"(?:{one.phrase})" for one in FORBIDDEN))
