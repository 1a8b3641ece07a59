"""Is an entry that was acknowledged still there after a kill at any instant?

    python tests/bench/kill.py [--times 500] [--seed 1]

A child records through one of four doors in turn and acknowledges each act: single commands, commands in a loop, an
import of forty pupae at once, and the dashboard on a pseudo-terminal. It is killed (SIGKILL) at a random instant. Then
the journal must open, be whole, hold every acknowledged act, and no act by half.
"""

import argparse
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from terminal import Terminal

from pupawatch.journal.file import Journal
from pupawatch.model.entries import Found, Looked, Seen

DOORS = ("command", "loop", "import", "dashboard")
PUPAE = 40
"""How many one notebook brings, two entries each."""
TRIPLE = ("Roof", "Jar", "Line")
"""The places that one act looks over."""
BEGIN = datetime(2025, 1, 1, tzinfo=UTC)
ANEW_AFTER = 25
"""So many kills one journal goes through before the next begins with a new one."""


class Home:
    """A journal, its settings, and what was acknowledged of it."""

    def __init__(self, folder: Path) -> None:
        self.journal, self.config = folder / "data" / "journal.db", folder / "config"
        for made in (self.config, self.journal.parent):
            made.mkdir(parents=True)
        (self.config / "keeper.toml").write_text('zone = "America/Chicago"\n', encoding="utf-8")
        places = "".join(f'[[places]]\nname = "{name}"\nsurface = "mesh"\n' for name in TRIPLE)
        (self.config / "places.toml").write_text(places, encoding="utf-8")
        self.words = ["--journal", str(self.journal), "--config", str(self.config)]
        self.next = 0
        self.kept: set[str] = set()
        self.stages: list[str] = []

    def numbers(self) -> Iterator[int]:
        """Numbers that were not used before."""
        while True:
            self.next += 1
            yield self.next


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--times", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    chance = random.Random(options.seed)
    survived, acknowledged, slowest = Counter[str](), Counter[str](), 0.0
    with tempfile.TemporaryDirectory() as folder:
        homes: dict[str, Home] = {}
        for number in range(options.times):
            door = DOORS[number % len(DOORS)]
            if number % (ANEW_AFTER * len(DOORS)) < len(DOORS):
                homes[door] = Home(Path(folder) / f"{door}-{number}")
            home = homes[door]
            before = len(home.kept) + len(home.stages)
            globals()[f"through_{door}"](home, chance)
            slowest = max(slowest, check(home))
            survived[door] += 1
            acknowledged[door] += len(home.kept) + len(home.stages) - before
            if (number + 1) % 50 == 0:
                print(f"{number + 1} kills survived", flush=True)
    for door in DOORS:
        print(f"{door}: {survived[door]} kills survived, {acknowledged[door]} acknowledged acts, all there")
    print(f"in all {survived.total()} of {options.times}; the slowest opening took {slowest * 1000:.0f} ms")


def through_command(home: Home, chance: random.Random) -> None:
    """One command in a process of its own, killed while it starts, works or ends."""
    label = f"C{next(home.numbers())}"
    typed = [sys.executable, "-m", "pupawatch", *home.words, "found", label, "--place", "Roof"]
    with subprocess.Popen(typed, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as child:
        assert child.stdout is not None
        killer = threading.Timer(chance.uniform(0.05, 0.9), child.kill)
        killer.start()
        if child.stdout.read() == f"{label} is a pupa in Roof.\n":  # said, whatever became of it then
            home.kept.add(label)
        killer.cancel()


def through_loop(home: Home, chance: random.Random) -> None:
    """Commands one after the other, each acknowledged by a line."""
    _child(home, "loop", chance)


def through_import(home: Home, chance: random.Random) -> None:
    """Imports one after the other, each acknowledged by a line."""
    _child(home, "import", chance)


def _child(home: Home, what: str, chance: random.Random) -> None:
    first = next(home.numbers())
    typed = [sys.executable, __file__, "child", what, str(first), *home.words]
    with subprocess.Popen(typed, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        assert child.stderr is not None
        assert child.stdout.readline() == "ready\n"
        time.sleep(chance.uniform(0, 0.6))
        child.send_signal(signal.SIGKILL)
        for line in child.stdout:
            assert line.startswith("kept "), line
            home.kept.add(line.split()[1])
            home.next = int(line.split()[1].lstrip("LIT")) + 1
        home.next += 2  # what was not acknowledged may be there all the same
        assert (told := child.stderr.read()) == "", told


def through_dashboard(home: Home, chance: random.Random) -> None:
    """The dashboard: two colours in turn for one pupa, each acknowledged by the line that says so."""
    if not home.journal.exists():
        typed = [sys.executable, "-m", "pupawatch", *home.words, "found", "P1", "--place", "Roof"]
        subprocess.run(typed, check=True, stdout=subprocess.DEVNULL)
    terminal = Terminal(home.journal, home.config)
    try:
        assert terminal.wait_for("Out", 30), terminal.shown
        terminal.wait_for("\0", 0.3)  # until it has come to rest
        killer = threading.Timer(chance.uniform(0, 1.5), terminal.kill)
        killer.start()
        while not terminal.ended:
            key, stage = (("d", "darkening"), ("c", "clear"))[len(home.stages) % 2]
            terminal.press(key)
            if terminal.wait_for(f"P1 is {stage}", 5):
                home.stages.append(stage)
            else:
                assert terminal.ended, f"the dashboard did not answer: {terminal.shown[-300:]!r}"
        killer.join()
    finally:
        terminal.close()


def check(home: Home) -> float:
    """Everything acknowledged is there and nothing by half; the seconds that opening took."""
    begin = time.perf_counter()
    journal = Journal(home.journal)
    entries = [entry for some in journal.read_all() for entry in some]
    opening = time.perf_counter() - begin
    assert journal.problems() == [], journal.problems()
    assert len({entry.id for entry in entries}) == len(entries)
    journal.close()
    labels = {entry.label for entry in entries if isinstance(entry, Found)}
    acts = Counter(entry.act for entry in entries)
    for entry in entries:
        if isinstance(entry, Looked):
            assert acts[entry.act] == len(TRIPLE), "an act of three looks is there by half"
        if entry.history:
            assert acts[entry.act] == 2 * PUPAE, "an import is there by half"
    looks = {f"T{(entry.happened - BEGIN) // timedelta(minutes=1)}" for entry in entries if isinstance(entry, Looked)}
    imports = {label.split("-")[0] for label in labels if "-" in label}
    missing = home.kept - labels - looks - imports
    assert not missing, f"acknowledged and lost: {missing}"
    stages = [entry.stage for entry in entries if isinstance(entry, Seen)]
    # The last act may have been written and not yet said; the next kill's keys go on from what was said.
    assert len(stages) >= len(home.stages), f"{len(home.stages)} stages acknowledged, {len(stages)} there"
    home.stages = stages
    return opening


def child(what: str, first: int, words: list[str]) -> None:
    """Record until killed; say what was kept only once it was."""
    from pupawatch import cli

    said = sys.stdout
    print("ready", file=said, flush=True)
    sys.stdout = open("/dev/null", "w", encoding="utf-8")  # noqa: SIM115
    number = first
    while True:
        if what == "import":
            path = Path(words[1]).with_name(f"notebook-{number}.csv")
            path.parent.mkdir(exist_ok=True)
            rows = [f"I{number}-{n},Roof,2025-06-01T07:00,2025-06-12T07:00\n" for n in range(PUPAE)]
            path.write_text("label,site,formed_to,emerged_to\n" + "".join(rows), encoding="utf-8")
            code, label = cli.main([*words, "import", str(path)]), f"I{number}"
            path.unlink()
        elif number % 2:
            code, label = cli.main([*words, "found", f"L{number}", "--place", "Roof"]), f"L{number}"
        else:
            at = f"{BEGIN + timedelta(minutes=number):%Y-%m-%dT%H:%MZ}"  # tells one act from another
            code, label = cli.main([*words, "looked", *TRIPLE, "--at", at]), f"T{number}"
        assert code == 0
        print(f"kept {label}", file=said, flush=True)
        number += 1


if __name__ == "__main__":
    if sys.argv[1:2] == ["child"]:
        child(sys.argv[2], int(sys.argv[3]), sys.argv[4:])
    else:
        main()
