"""The pictures are what their script draws, and ask nobody for anything."""

import re
import runpy
from typing import TYPE_CHECKING

import pytest

from pupawatch import settings as files

if TYPE_CHECKING:
    from conftest import WordsOf

EXAMPLES = files.shipped("examples")


SCRIPT = runpy.run_path(str(EXAMPLES / "picture.py"))


@pytest.fixture(scope="module")
def drawn() -> list[str]:
    """The picture, drawn twice."""
    draw = runpy.run_path(str(EXAMPLES / "picture.py"))["picture"]
    return [draw("round"), draw("round")]


def test_the_same_picture_is_drawn_each_time(drawn: list[str]) -> None:
    assert drawn[0] == drawn[1]


@pytest.mark.parametrize("name", SCRIPT["PICTURES"])
def test_the_stored_picture_says_what_the_screen_says(name: str, words_of: "WordsOf") -> None:
    stored = (EXAMPLES / f"{name}.svg").read_text(encoding="utf-8")
    assert words_of(stored) == words_of(SCRIPT["picture"](name))


def test_the_picture_shows_the_most_urgent_pupa_and_why(drawn: list[str], words_of: "WordsOf") -> None:
    seen = "\n".join(words_of(drawn[0]))
    assert "► RESCUE" in seen
    assert "fallen" in seen


def test_the_picture_asks_no_other_host_for_anything(drawn: list[str]) -> None:
    outside = re.sub(r'xmlns="http://www.w3.org/2000/svg"', "", drawn[0])
    assert re.findall(r"https?:|url\((?!#)|@font-face|@import|href", outside) == []
