"""A house with a journal, programs at work on it, and an account of all that they acknowledged."""

import json
import shutil
import signal
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
from programs import DASHBOARD, Entry, Home, entries, times
from screen import Screen


class House(Home):
    """Every command and key through here is acknowledged, or the test fails; then it is remembered."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.acknowledged: list[Entry] = []
        self.dashboards: list[Screen] = []

    def done(self, *words: object) -> str:
        """Run a command that must succeed without a complaint; what it said."""
        return self.together(words)[0]

    def together(self, *commands: tuple[object, ...]) -> list[str]:
        """Run commands at the same time, each as `done`."""
        children = [self.start(*words) for words in commands]
        said = [child.communicate(timeout=60) for child in children]
        for words, child, (out, err) in zip(commands, children, said, strict=True):
            assert (child.returncode, err) == (0, ""), f"{words}: exit {child.returncode}, {out}{err}"
        return [out for out, _ in said]

    def record(self, *commands: tuple[str, ...]) -> None:
        """Run recording commands at the same time; all are acknowledged."""
        self.together(*((*words, "--quiet") for words in commands))
        self.acknowledged += [_told(*words) for words in commands]

    def open(self, program: tuple[str, ...] = DASHBOARD) -> Screen:
        """A dashboard that stands, its forecasts on the screen."""
        return self.open_all(program)[0]

    def open_all(self, *programs: tuple[str, ...]) -> list[Screen]:
        """Dashboards that start at the same time, each as `open`."""
        screens = [self.dashboard(program) for program in programs]
        self.dashboards += screens
        for screen in screens:
            assert screen.wait(lambda screen=screen: screen.shows("P1", "due"), 30), screen.said
            screen.settle()
        return screens

    def see(self, screen: Screen, label: str, key: str, stage: str) -> None:
        """Press the key of a colour stage on this pupa; it is acknowledged."""
        assert self.try_to_see(screen, label, key, stage), screen.picture

    def try_to_see(self, screen: Screen, label: str, key: str, stage: str) -> bool:
        """Press the key of a colour stage on this pupa; whether the screen then shows it as that."""
        screen.find(label)
        screen.press(key)
        if shown := screen.wait(lambda: screen.shows(label, stage), 3):
            self.acknowledged.append(_told("saw", label, stage))
        return shown

    def leave(self, screen: Screen, how: str) -> None:
        """End a dashboard by its key or by a signal; it must not have told of a failure."""
        if how == "q":
            screen.press("q")
        else:
            screen.kill(signal.Signals[how])
        assert screen.ended(5), screen.picture
        assert screen.code == 0 or how != "q", screen.said[-2000:]
        assert "Traceback" not in screen.said, screen.said[-2000:]

    def stage(self, label: str) -> str:
        """The colour stage of a pupa as another program reads it."""
        pupae = json.loads(self.done("pupae", "--json"))["pupae"]
        return str(next(pupa["stage"] for pupa in pupae if pupa["label"] == label))

    def assert_whole(self) -> None:
        """The check finds nothing, and each acknowledged entry is there once, by this program and by plain SQLite."""
        labels = sorted({told["label"] for told in self.acknowledged})
        commands = [("check",), *(("history", label, "--json") for label in labels)]
        read = [json.loads(out) for out in self.together(*commands)[1:]]
        histories = [{**entry, "label": one["label"]} for one in read for entry in one["entries"]]
        for there in (histories, entries(self.journal)):
            for told in self.acknowledged:
                assert times(told, there) == 1, f"{told} is there {times(told, there)} times"


def _told(act: str, label: str, *rest: str) -> Entry:
    match act:
        case "saw":
            return {"kind": "seen", "label": label, "stage": rest[0]}
        case "note":
            return {"kind": "note", "label": label, "text": " ".join(rest)}
    return {"kind": act, "label": label}


@pytest.fixture(scope="session")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six pupae that have hung for three days."""
    home = Home(tmp_path_factory.mktemp("furnished"))
    formed = datetime.now(UTC) - timedelta(days=3)
    rows = [f"P{number},Roof,{formed:%Y-%m-%dT%H:%MZ}\n" for number in range(1, 7)]
    notebook = home.folder / "notebook.csv"
    notebook.write_text("label,site,formed_to\n" + "".join(rows), encoding="utf-8")
    assert (done := home.run("import", notebook)).returncode == 0, done.stderr
    return home.folder


@pytest.fixture
def house(furnished: Path, tmp_path: Path) -> Iterator[House]:
    """A copy of its own."""
    shutil.copytree(furnished, tmp_path / "house")
    house = House(tmp_path / "house")
    yield house
    for screen in house.dashboards:
        screen.close()
