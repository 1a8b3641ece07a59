"""README keeps its word: what it names exists, and what exists it names."""

import argparse
import re
import tomllib
from pathlib import Path

import pytest

from pupawatch.cli import _parser
from pupawatch.cli.parser import CAUSES, DANGERS, METHODS, SURFACES
from pupawatch.tui.acts import key_words

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
KEYS = tomllib.loads((ROOT / "config" / "keys.toml").read_text(encoding="utf-8"))["keys"]

(COMMANDS,) = (action for action in _parser()._actions if isinstance(action, argparse._SubParsersAction))
VISIBLE = [choice.dest for choice in COMMANDS._choices_actions]
"""The commands that the help lists."""


def codes(text: str) -> list[str]:
    """What stands between back quotes."""
    return re.findall(r"`([^`\n]+)`", text)


def table(heading: str) -> list[str]:
    """The first cells of the first table below a heading."""
    rows = README.split(heading, 1)[1].split("\n## ", 1)[0].splitlines()
    cells = [re.split(r"(?<!\\)\|", row)[1] for row in rows if row.startswith("|")]
    return cells[2:]


@pytest.mark.parametrize(
    ("told", "section"), [(METHODS, "methods"), (DANGERS, "emergencies"), (CAUSES, "losses"), (SURFACES, "surfaces")]
)
def test_the_help_lists_what_the_shipped_settings_know(told: str, section: str) -> None:
    care = tomllib.loads((ROOT / "config" / "care.toml").read_text(encoding="utf-8"))
    assert set(told.replace(" or ", ", ").split(", ")) == set(care[section])


@pytest.mark.parametrize("command", VISIBLE)
def test_every_command_of_the_help_stands_in_readme(command: str) -> None:
    assert any(code.split()[0] == command for code in codes(README)), f"README does not name `{command}`"


def test_every_command_that_readme_names_exists_with_its_options() -> None:
    named = [code for cell in table("## The same from the command line") for code in codes(cell)]
    named += [code.removeprefix("pupawatch ") for code in codes(README) if code.startswith("pupawatch ")]
    assert len(named) > 30
    for code in named:
        command = code.split()[0]
        if command == "COMMAND":
            continue
        assert command in COMMANDS.choices, f"README names `{code}`, and there is no such command"
        known = {option for action in COMMANDS.choices[command]._actions for option in action.option_strings}
        assert set(re.findall(r"--[a-z][a-z-]*", code)) <= known, f"README names an option of `{code}` there is none of"


def test_every_key_of_the_table_is_bound_and_every_act_has_its_key_there() -> None:
    told = {key for cell in table("## The morning in keys") for key in codes(cell)}
    bound = {key for keys in KEYS.values() for key in key_words(keys).split()}
    assert told - bound - {"enter"} == set()
    missing = [act for act, keys in KEYS.items() if not told & set(key_words(keys).split())]
    assert missing == []


def test_every_setting_that_readme_names_exists() -> None:
    settings = "\n".join(file.read_text(encoding="utf-8") for file in (ROOT / "config").glob("*.toml"))
    named = {code for code in codes(README) if re.fullmatch(r"[a-z]+(_[a-z]+)+", code)}
    columns = set(re.findall(r"[a-z]+(?:_[a-z]+)+", README.split("**Your notebook.**")[1].split("##")[0]))
    assert {name for name in named - columns if name not in settings} == set()


def test_every_file_that_is_named_for_contributors_exists() -> None:
    paths = {code for code in codes(DEVELOPERS) if re.fullmatch(r"[\w/.-]+\.(py|toml|md)", code)}
    rooms = (ROOT, *(ROOT / room for room in ("pupawatch", "config", "tests", "examples")))
    there = {file.relative_to(ROOT).as_posix() for room in rooms for file in room.glob("**/*" if room != ROOT else "*")}
    lost = [path for path in paths if not any(file == path or file.endswith(f"/{path}") for file in there)]
    assert sorted(lost) == []
