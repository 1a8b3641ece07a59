"""Do many programs at work on one journal lose or double anything, damage it, or tell their user of a lock?

    python tests/bench/two_programs.py [--entries 10000] [--kills 100] [--seed 1]

At once write: keys in a dashboard on a pseudo-terminal, whose forecasts are reckoned from a logger's temperatures; two
long-lived processes that run commands in a loop; two loops of commands in a process each; notebooks that are brought
in; and a journal that is merged, twice. Copies are made meanwhile. That is done once ended by `q`, once by SIGTERM, and
over and over with all killed (SIGKILL) at a random instant. Each time the check must find nothing, plain SQLite must
read every acknowledged entry once and no entry twice, what comes in whole must be there whole or not at all, each copy
must hold what was acknowledged before it was begun, and no program may have complained or told of a lock.
"""

import argparse
import random
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parent))
from programs import Home, entries

PUPAE = 50
"""How many one notebook brings, two entries each."""
NOTED = 20
"""How many pupae the notes are spread over."""
KEYS = (("d", "darkening"), ("c", "clear"))
LOOPS, COMMANDS = ("loop one", "loop two"), ("commands one", "commands two")
SHARES = {
    "dashboard": 0.05,
    **dict.fromkeys(LOOPS, 0.25),
    **dict.fromkeys(COMMANDS, 0.025),
    "import": 0.2,
    "merge": 0.2,
}
"""What part of the entries each of them writes."""
ANEW_AFTER = 25
"""So many kills one journal goes through before the next begins with a new one."""
KILLED_AMID = 1_000
"""The shares are parts of so many entries where all are killed before they have written them."""
LONGEST_RUN = 4.0
"""Seconds that the programs run at most before they are killed."""


class Ledger:
    """What the programs of one journal tried to write and what they acknowledged, over all its runs.

    An item is what is there whole or not at all: a note by its text, a notebook by the first part of its labels.
    """

    def __init__(self) -> None:
        self.sizes: dict[str, int] = {}
        """How many entries an item has, for every item that was tried."""
        self.acknowledged: set[str] = set()
        self.keys = 0
        """How many stages the dashboard's keys have acknowledged and, after a kill, may have written besides."""
        self.seconds: dict[str, list[float]] = {}
        """How long each acknowledgement took, by the writer."""
        self.complaints: list[str] = []
        self._next = 0
        self._lock = threading.Lock()

    def name(self, kind: str, size: int) -> str:
        """The name of an item that was not tried before."""
        with self._lock:
            self._next += 1
            item = f"{kind}{self._next}"
            self.sizes[item] = size
            return item

    def took(self, writer: str, seconds: float, item: str | None = None) -> None:
        """An acknowledgement."""
        self.seconds.setdefault(writer, []).append(seconds)
        if item:
            self.acknowledged.add(item)


class Programs:
    """All that write to one journal at once."""

    def __init__(self, home: Home, ledger: Ledger, entries: int) -> None:
        self.home, self.ledger = home, ledger
        self.shares = {writer: round(entries * share) for writer, share in SHARES.items()}
        self.over = False
        """Whether nothing new is to be begun, because all have been or are being killed."""
        self._children: set[subprocess.Popen[str]] = set()
        self._lock = threading.Lock()
        self._copies: list[tuple[Path, set[str]]] = []
        pupae = max(self.shares["merge"] // 2, 1)
        self._merged = ledger.name("M", 2 * pupae)
        self._other = Home(home.folder / self._merged)
        done = self._other.run("import", self._other.notebook(self._merged, _labels(self._merged, pupae)))
        assert done.returncode == 0, done
        self.screen = home.dashboard()

    def work(self, how: str, kill_after: float | None = None) -> None:
        """Let all write until they have done their share, or are killed; then end the dashboard."""
        assert self.screen.wait(lambda: self.screen.shows("P0", "due"), 60), self.screen.picture
        self.screen.settle()
        self.screen.find("P0")
        jobs: list[Callable[[], None]] = [self._press, self._import, self._merge]
        jobs += [lambda name=name: self._loop(name) for name in LOOPS]
        jobs += [lambda name=name: self._command(name) for name in COMMANDS]
        threads = [threading.Thread(target=job) for job in jobs]
        for thread in threads:
            thread.start()
        copying = threading.Thread(target=self._copy, args=(threads,))
        copying.start()
        if kill_after is not None:
            time.sleep(kill_after)
            self._kill()
        for thread in [*threads, copying]:
            thread.join()
        if kill_after is None:
            self._leave(how)
        self.screen.close()
        self._listen()

    def _kill(self) -> None:
        with self._lock:
            self.over = True
            for child in self._children:
                child.kill()
            self.screen.kill()

    def _leave(self, how: str) -> None:
        if how == "q":
            self.screen.press("q")
        else:
            self.screen.kill(signal.Signals[how])
        if not self.screen.ended(10):
            self.ledger.complaints.append(f"the dashboard did not end: {self.screen.picture}")

    def _listen(self) -> None:
        if found := re.search(r"(?i).*(traceback|\block(ed)?\b|\bbusy\b|damage|malformed).*", self.screen.said):
            self.ledger.complaints.append(f"dashboard: {found.group()[-300:]}")
        for path, before in self._copies:
            try:
                if missing := before - _items(entries(path)).keys():
                    self.ledger.complaints.append(f"a copy lacks {len(missing)} acts acknowledged before it was begun")
            except AssertionError as unread:
                self.ledger.complaints.append(f"a copy: {unread}")
            path.unlink()

    def _start(self, start: Callable[[], "subprocess.Popen[str]"]) -> "subprocess.Popen[str] | None":
        with self._lock:
            if self.over:
                return None
            child = start()
            self._children.add(child)
            return child

    def _run(self, writer: str, *words: object, item: str | None = None) -> bool:
        """Run one command in a process of its own; whether it acknowledged."""
        begin = time.perf_counter()
        child = self._start(lambda: self.home.start(*words))
        if child is None:
            return False
        out, err = child.communicate()
        with self._lock:
            self._children.discard(child)
        killed = child.returncode == -signal.SIGKILL
        if err or (child.returncode != 0 and not killed):
            self.ledger.complaints.append(f"{writer}, {words[0]}: exit {child.returncode}, {(out + err).strip()[:300]}")
        done = child.returncode == 0 or (killed and out.endswith("\n"))
        if done:
            self.ledger.took(writer, time.perf_counter() - begin, item)
        return done and not killed

    def _press(self) -> None:
        """Mark two colours in turn, each once the one before was acknowledged."""
        first = int(self.screen.shows("P0", KEYS[0][1]))  # a key that changes nothing would not be seen to be answered
        for number in range(first, first + self.shares["dashboard"]):
            (key, stage), (_, other) = KEYS[number % 2], KEYS[1 - number % 2]
            begin = time.perf_counter()
            self.screen.press(key)
            if not self.screen.wait(lambda stage=stage, other=other: self._shows_only(stage, other), 60):
                if not self.over:
                    self.ledger.complaints.append(f"the dashboard did not answer {key}: {self.screen.picture}")
                return
            self.ledger.keys += 1
            self.ledger.took("dashboard", time.perf_counter() - begin)

    def _shows_only(self, stage: str, other: str) -> bool:
        """Whether the screen says this stage of the pupa everywhere; the line of the key before may still stand."""
        return self.screen.shows("P0", stage) and not self.screen.shows("P0", other)

    def _loop(self, name: str) -> None:
        """Notes by one process that lives on, each acknowledged by a line."""
        items = [self.ledger.name("N", 1) for _ in range(self.shares[name])]
        typed = [sys.executable, __file__, "child", *self.home.words]
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        child = self._start(lambda: subprocess.Popen(typed, text=True, **pipes))
        if child is None:
            return
        answer = ""
        for item in items:
            begin = time.perf_counter()
            with suppress(BrokenPipeError):
                print(item, file=child.stdin, flush=True)
            answer = child.stdout.readline()
            if answer != f"kept {item}\n":
                break
            self.ledger.took(name, time.perf_counter() - begin, item)
        with suppress(BrokenPipeError):
            child.stdin.close()
        told = child.stderr.read()
        if told or child.wait() not in (0, -signal.SIGKILL) or answer.startswith("exit"):
            self.ledger.complaints.append(f"{name}: {answer}{told[-300:]}")

    def _command(self, name: str) -> None:
        """Notes by commands in a process each."""
        for _ in range(self.shares[name]):
            item = self.ledger.name("N", 1)
            if not self._run(name, "note", label(item), item, item=item):
                return

    def _import(self) -> None:
        for _ in range(self.shares["import"] // (2 * PUPAE)):
            item = self.ledger.name("I", 2 * PUPAE)
            notebook = self.home.notebook(item, _labels(item, PUPAE))
            if not self._run("import", "import", notebook, item=item):
                return

    def _merge(self) -> None:
        """Take in another journal, and once more for nothing."""
        if self._run("merge", "merge", self._other.journal, item=self._merged):
            self._run("merge", "merge", self._other.journal)

    def _copy(self, writers: list[threading.Thread]) -> None:
        while any(thread.is_alive() for thread in writers):
            path = self.home.folder / f"{self.ledger.name('copy', 0)}.db"
            before = set(self.ledger.acknowledged)
            if not self._run("backup", "backup", path):
                return
            self._copies.append((path, before))
            time.sleep(2)


def label(item: str) -> str:
    """The pupa that a note is about."""
    return f"P{1 + int(item[1:]) % NOTED}"


def _labels(item: str, pupae: int) -> list[str]:
    return [f"{item}-{number}" for number in range(pupae)]


def _items(there: list[dict]) -> Counter[str]:
    """How many entries of each item there are."""
    named = (entry["text"] if entry["kind"] == "note" else (entry["label"] or "").partition("-")[0] for entry in there)
    return Counter(name for name in named if name[:1] in {"N", "I", "M"})


def furnished(folder: Path) -> tuple[Home, Ledger]:
    """A new journal: pupae that have hung for three days, and a logger's temperatures of all that time."""
    home = Home(folder)
    formed = datetime.now(UTC) - timedelta(days=3)
    rows = [f"P{number},Roof,{formed:%Y-%m-%dT%H:%MZ}\n" for number in range(1 + NOTED)]
    notebook, logger = folder / "notebook.csv", folder / "logger.csv"
    notebook.write_text("label,site,formed_to\n" + "".join(rows), encoding="utf-8")
    hours = [(formed + timedelta(hours=hour), 20 + hour % 7) for hour in range(-24, 72)]
    logger.write_text(
        "time,temperature_c\n" + "".join(f"{at:%Y-%m-%dT%H:%MZ},{celsius}\n" for at, celsius in hours), encoding="utf-8"
    )
    for words in (
        ["import", notebook],
        ["import", logger, "--as", "temperatures", "--for", "Roof", "--sensor", "loft"],
    ):
        done = home.run(*words)
        assert done.returncode == 0, done
    return home, Ledger()


def faults(home: Home, ledger: Ledger, killed: bool) -> list[str]:
    """All that is wrong with a journal, in words; nothing writes to it now."""
    found, ledger.complaints = ledger.complaints, []
    begin = time.perf_counter()
    check = home.run("check")
    ledger.took("check", time.perf_counter() - begin)
    if check.returncode != 0:
        found.append(f"check: exit {check.returncode}, {(check.stdout + check.stderr).strip()[:300]}")
    try:
        there = entries(home.journal)
    except AssertionError as unread:
        return [*found, str(unread)]
    ids = Counter(entry["id"] for entry in there)
    found += [f"{number} entries with one id" for number in ids.values() if number > 1]
    items = _items(there)
    if lost := [item for item in ledger.acknowledged if items[item] == 0]:
        found.append(f"{len(lost)} acknowledged and lost: {', '.join(sorted(lost)[:5])} …")
    for item, number in items.items():
        if number != ledger.sizes[item]:
            found.append(f"{item} is there with {number} entries of {ledger.sizes[item]}")
    stages = sum(entry["kind"] == "seen" for entry in there)
    if not ledger.keys <= stages <= ledger.keys + killed:
        found.append(f"{ledger.keys} stages acknowledged by the dashboard, {stages} there")
    ledger.keys = stages  # the last key may have been written and not yet shown
    return found


def once(how: str, number: int) -> list[str]:
    """All write their share, the dashboard ends like this; what is wrong then."""
    with tempfile.TemporaryDirectory() as folder:
        home, ledger = furnished(Path(folder))
        begin = time.perf_counter()
        Programs(home, ledger, number).work(how)
        seconds = time.perf_counter() - begin
        found = faults(home, ledger, killed=False)
        written = sum(ledger.sizes[item] for item in ledger.acknowledged) + len(ledger.seconds.get("dashboard", ()))
    print(f"\nended by {how}: {written} entries acknowledged in {seconds:.0f} s, {len(found)} faults", flush=True)
    print(f"  {'writer':<14}{'answers':>8}{'median, ms':>12}{'longest, ms':>13}")
    for writer, took in sorted(ledger.seconds.items()):
        print(f"  {writer:<14}{len(took):>8}{median(took) * 1000:>12.0f}{max(took) * 1000:>13.0f}")
    return found


def killed(times: int, chance: random.Random) -> list[str]:
    """Kill all of them that often; what was wrong, the first time that something was."""
    acknowledged, longest = 0, 0.0
    with tempfile.TemporaryDirectory() as folder:
        for kill in range(times):
            if kill % ANEW_AFTER == 0:
                home, ledger = furnished(Path(folder) / str(kill))
            before = len(ledger.acknowledged) + ledger.keys
            Programs(home, ledger, KILLED_AMID).work("SIGKILL", chance.uniform(0, LONGEST_RUN))
            acknowledged += len(ledger.acknowledged) + ledger.keys - before
            if found := faults(home, ledger, killed=True):
                print(f"\nkilled: {kill} kills survived, not the next")
                return found
            longest = max(longest, *ledger.seconds["check"])
            if (kill + 1) % 25 == 0:
                print(f"{kill + 1} kills survived", flush=True)
    print(
        f"\nkilled: {times} times, {acknowledged} acts acknowledged, all there; longest check {longest * 1000:.0f} ms"
    )
    return []


def child(words: list[str]) -> None:
    """Note what comes in, line by line, each in a call of the command line; say so once it is done."""
    from pupawatch import cli

    said = sys.stdout
    sys.stdout = open("/dev/null", "w", encoding="utf-8")  # noqa: SIM115
    for line in sys.stdin:
        item = line.strip()
        code = cli.main([*words, "note", label(item), item])
        print("kept" if code == 0 else f"exit {code}", item, file=said, flush=True)


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--entries", type=int, default=10_000)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    found = []
    for how in ("q", "SIGTERM"):
        found += [f"ended by {how}: {fault}" for fault in once(how, options.entries)]
    if options.kills:
        found += [f"killed: {fault}" for fault in killed(options.kills, random.Random(options.seed))]
    print("\n".join(["", *found]) if found else "\nNothing is lost, nothing is doubled, and nobody was told of a lock.")
    return 1 if found else 0


if __name__ == "__main__":
    if sys.argv[1:2] == ["child"]:
        child(sys.argv[2:])
    else:
        sys.exit(main())
