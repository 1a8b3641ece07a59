"""Do a dashboard, two programs and an import that write at once lose or double anything, or tell a user of a lock?

    python tests/bench/writers.py [--entries 10000]

A tenth of the entries is written by keys in a dashboard on a pseudo-terminal, three tenths by each of two loops of
commands, the rest by notebooks that are brought in one after the other. Afterwards each entry must be there once.
"""

import argparse
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from kill import Home
from terminal import Terminal

from pupawatch.journal.file import Journal
from pupawatch.model.entries import Emerged, Found, Looked, Seen

BEGIN = datetime(2020, 1, 1, tzinfo=UTC)
PUPAE = 50
LOOPS = ("Roof", "Jar")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--entries", type=int, default=10_000)
    entries = parser.parse_args().entries
    keys, looks = entries // 10, entries * 3 // 10
    notebooks = (entries - keys - 2 * looks) // (2 * PUPAE)
    with tempfile.TemporaryDirectory() as folder:
        home = Home(Path(folder))
        typed = [sys.executable, "-m", "pupawatch", *home.words, "found", "P1", "--place", "Roof"]
        subprocess.run(typed, check=True, stdout=subprocess.DEVNULL)
        begin = time.perf_counter()
        writers = [writer(home, place, looks) for place in LOOPS] + [writer(home, "import", notebooks)]
        shown: list[str] = []
        worker = threading.Thread(target=press_keys, args=(home, keys, shown))
        worker.start()
        told = [child.communicate()[1] for child in writers]
        worker.join()
        seconds = time.perf_counter() - begin
        assert [child.returncode for child in writers] == [0, 0, 0], told
        words = "".join((*told, *shown)).lower()
        assert "locked" not in words, words
        assert "busy" not in words, words
        assert "".join(told) == "", told
        assert len(shown) == keys
        count(home, keys, looks, notebooks)
        written = keys + 2 * looks + notebooks * PUPAE * 2
        print(f"{written} entries by four writers at once in {seconds:.0f} s: {keys} by keys in the dashboard, {looks}")
        print(f"by each of two loops of commands, {notebooks * PUPAE * 2} out of {notebooks} notebooks.")
        print("None is lost, none is doubled, and nobody was told of a lock.")


def writer(home: Home, what: str, times: int) -> "subprocess.Popen[str]":
    typed = [sys.executable, __file__, "child", what, str(times), *home.words]
    return subprocess.Popen(typed, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)


def press_keys(home: Home, times: int, shown: list[str]) -> None:
    """Mark two colours in turn, each only once the one before was acknowledged."""
    terminal = Terminal(home.journal, home.config)
    assert terminal.wait_for("Out", 60), terminal.shown
    terminal.wait_for("\0", 0.5)
    for number in range(times):
        key, stage = (("d", "darkening"), ("c", "clear"))[number % 2]
        terminal.press(key)
        if not terminal.wait_for(f"P1 is {stage}", 60):
            print(f"the dashboard did not answer: {terminal.shown[-2000:]!r}", flush=True)
            break
        shown.append(terminal.shown)
    terminal.close()


def count(home: Home, keys: int, looks: int, notebooks: int) -> None:
    """Each entry is there once."""
    journal = Journal(home.journal)
    entries = [entry for some in journal.read_all() for entry in some]
    assert journal.problems() == []
    journal.close()
    assert len({entry.id for entry in entries}) == len(entries)
    assert [entry.stage for entry in entries if isinstance(entry, Seen)] == ["darkening", "clear"] * (keys // 2)
    looked = Counter((entry.place, entry.happened) for entry in entries if isinstance(entry, Looked))
    assert looked == {(place, BEGIN + timedelta(minutes=n)): 1 for place in LOOPS for n in range(looks)}
    found = Counter(entry.label for entry in entries if isinstance(entry, Found) and entry.history)
    assert found == {f"I{number}-{n}": 1 for number in range(notebooks) for n in range(PUPAE)}
    assert sum(isinstance(entry, Emerged) for entry in entries) == notebooks * PUPAE


def child(what: str, times: int, words: list[str]) -> None:
    """Write so many times, as commands would."""
    from pupawatch import cli

    for number in range(times):
        if what == "import":
            path = Path(words[1]).with_name(f"notebook-{number}.csv")
            rows = [f"I{number}-{n},Roof,2025-06-01T07:00,2025-06-12T07:00\n" for n in range(PUPAE)]
            path.write_text("label,site,formed_to,emerged_to\n" + "".join(rows), encoding="utf-8")
            code = cli.main([*words, "import", str(path)])
        else:
            code = cli.main([*words, "looked", what, "--at", f"{BEGIN + timedelta(minutes=number):%Y-%m-%dT%H:%MZ}"])
        assert code == 0


if __name__ == "__main__":
    if sys.argv[1:2] == ["child"]:
        child(sys.argv[2], int(sys.argv[3]), sys.argv[4:])
    else:
        main()
