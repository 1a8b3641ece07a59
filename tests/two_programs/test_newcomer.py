"""The first minute of somebody who has read nothing: only what the screen says is pressed, in the real program."""

import re
import time
from pathlib import Path

from screen import Screen

_A_MINUTE_OF_A_SLOW_HAND = 60
_KEY_SECONDS = 0.3
"""So long a newcomer takes for a key; what the program needs comes on top."""


def read(screen: Screen, pattern: str) -> re.Match[str]:
    """What the screen says, where it says it."""

    def found() -> re.Match[str] | None:
        return re.search(pattern, " ".join(" ".join(screen.lines).split()))

    assert screen.wait(lambda: found() is not None, 20), screen.picture
    told = found()
    assert told is not None
    return told


def test_the_first_place_the_first_pupa_and_what_to_do_next_are_a_minute_away(tmp_path: Path) -> None:
    screen = Screen(["-m", "pupawatch", "--journal", str(tmp_path / "journal.db"), "--config", str(tmp_path)])
    pressed, began = 0, time.monotonic()

    def press(keys: str) -> None:
        nonlocal pressed
        screen.press(keys)
        screen.settle()
        pressed += len(keys)

    try:
        key = read(screen, r"Press (\S): it asks for your first place")[1]
        press(key)
        read(screen, r"A new place.*as you call it")
        read(screen, r"enter records it")
        press("Cage roof\r")
        read(screen, r"A new pupa")
        read(screen, r"may need a permit")  # before the hand does anything
        press("\r")  # the proposed label, place and species are right
        read(screen, r"P1 is a pupa in Cage roof")
        read(screen, r"WAIT.*P1.*hands off until")
        read(screen, r"space Visited")
        press(" ")
        read(screen, r"The round is done: every place visited")
        assert pressed * _KEY_SECONDS + time.monotonic() - began < _A_MINUTE_OF_A_SLOW_HAND
        read(screen, r"\? Help")
        press("?")
        read(screen, r"Keys, signs and cautions.*esc goes back")
        press("\x1b")
        press("q")
        assert screen.ended(5), screen.picture
        assert screen.code == 0, screen.said[-2000:]
    finally:
        screen.close()
