"""Is damage to a journal ever shown as a right answer, or missed by `check`?

    python tests/bench/flips.py [--times 1000] [--seed 1]

Each time one thing is damaged in a journal of the invented season (in every second one the newest entries stand in
the write-ahead log, as a kill leaves them): a flipped bit, a changed byte, a file cut short, a sector of noise; half of
them aimed at the parts of a page that hold the tree together. Then every reading command must answer as it did before,
or refuse in a sentence; what `check` finds is counted; and every fifth time `restore` must bring a whole journal back
in which nothing stands that was not there before.
"""

import argparse
import io
import random
import shutil
import sys
import tempfile
from collections import Counter
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import NamedTuple

from pupawatch import cli
from pupawatch.demo import MORNING, demo_keeper
from pupawatch.errors import PupawatchError
from pupawatch.journal.file import Journal

PAGE = 4096
AS_OF = ["--as-of", MORNING.isoformat()]
RESTORE_EVERY = 5


class Answer(NamedTuple):
    """What a command gave back."""

    code: int
    out: str
    err: str


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--times", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    chance = random.Random(options.seed)
    counted, restored, lost = Counter[str](), 0, 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        config, sources = prepare(folder)
        asked = questions(sources[0], config)
        right = {source: [answer(question, source, config) for question in asked] for source in sources}
        assert all(one.code == 0 for answers in right.values() for one in answers)
        all_bodies = bodies(sources[0])
        for number in range(options.times):
            source = sources[number % 2]
            home = folder / "damaged"
            shutil.copytree(source.parent, home)
            what = damage(home, source.name, chance)
            journal = home / source.name
            answers = [answer(question, journal, config) for question in asked]
            wrong = [
                (question, given)
                for question, given, before in zip(asked, answers, right[source], strict=True)
                if given.code == 0 and given.out != before.out
            ]
            assert not wrong, f"shown as right after {what}: {wrong[0]}"
            assert all(g.code == 0 or (g.code == 3 and g.err.startswith("pupawatch: ")) for g in answers), (
                what,
                answers,
            )
            assert not any("Traceback" in given.err for given in answers), (what, answers)
            refused = any(given.code for given in answers)
            found = answer(["check"], journal, config).code == 3
            assert found or not refused, f"refused, but `check` finds nothing after {what}"
            kind = (
                "refused by a reading command, found by check" if refused else "found by check" if found else "harmless"
            )
            counted[kind] += 1
            if number % RESTORE_EVERY == 0 and found:
                for command in ("restore", "check"):
                    given = answer([command], journal, config)
                    assert given.code == 0, (what, command, given)
                left = bodies(journal)
                assert left <= all_bodies, f"something came back that was never there after {what}"
                restored, lost = restored + 1, lost + len(all_bodies) - len(left)
            shutil.rmtree(home)
            if (number + 1) % 100 == 0:
                print(f"{number + 1} damages: {dict(counted)}", flush=True)
    print(
        f"{options.times} damages, a wrong answer shown as right: 0, "
        + ", ".join(f"{k}: {n}" for k, n in counted.items())
    )
    print(f"{restored} restored, with {lost / max(1, restored):.1f} of {len(all_bodies)} entries lost on average")


def prepare(folder: Path) -> tuple[Path, list[Path]]:
    """Settings, and the same journal twice: closed, and as a kill leaves it."""
    config = folder / "config"
    config.mkdir()
    keeper = demo_keeper(config)
    for pupa in keeper.state.open_pupae()[:12]:
        keeper.pupae.note(pupa.label, f"looked at again: {pupa.label}")
    path = keeper.journal.path
    killed, closed = folder / "killed", folder / "closed"
    killed.mkdir()
    for tail in ("", "-wal"):
        shutil.copy(path.with_name(path.name + tail), killed / (path.name + tail))
    shutil.copytree(path.with_name("demo-copies"), killed / "demo-copies")
    assert (killed / "demo.db-wal").stat().st_size > 0
    keeper.journal.close()
    closed.mkdir()
    shutil.copy(path, closed / path.name)
    shutil.copytree(path.with_name("demo-copies"), closed / "demo-copies")
    return config, [closed / path.name, killed / path.name]


def questions(path: Path, config: Path) -> list[list[str]]:
    """What is asked of each: every reading command, and the histories of a few pupae."""
    journal = Journal(path)
    labels = sorted({entry.label for some in journal.read("kind = 'found'") for entry in some})  # type: ignore[attr-defined]
    journal.close()
    return [
        ["pupae", "--all", "--json", *AS_OF],
        ["today", "--json", *AS_OF],
        ["places", "--json", *AS_OF],
        ["review", "--json", *AS_OF],
        ["readings"],
        *(["history", label, "--json", *AS_OF] for label in labels[:: max(1, len(labels) // 3)]),
    ]


def answer(question: list[str], path: Path, config: Path) -> Answer:
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        if question == ["readings"]:
            code = readings(path)
        else:
            code = cli.main(["--journal", str(path), "--config", str(config), *question])
    return Answer(code, out.getvalue(), err.getvalue())


def readings(path: Path) -> int:
    """What a forecast reads of the sensors."""
    try:
        journal = Journal(path)
        try:
            journal.verify()
            print([(name, journal.readings(name, 0, 9e9)) for name, *_ in journal.sensors()])
        finally:
            journal.close()
    except PupawatchError as error:
        print(f"pupawatch: {error}", file=sys.stderr)
        return 3
    return 0


def bodies(path: Path) -> set[str]:
    journal = Journal(path)
    try:
        return {row[5] for rows in journal.rows() for row in rows}
    finally:
        journal.close()


def damage(home: Path, name: str, chance: random.Random) -> str:
    """Damage one thing in the journal or its log; says what."""
    files = [path for path in (home / name, home / f"{name}-wal") if path.exists()]
    path = chance.choice(files)
    data = bytearray(path.read_bytes())
    at = chance.randrange(len(data))
    if chance.random() < 0.5:  # the header of a page (or of a frame), and the pointers that follow it
        at = min(at // PAGE * PAGE + chance.randrange(60), len(data) - 1)
        if chance.random() < 0.2:
            at = chance.randrange(100)
    draw = chance.random()
    if draw < 0.5:
        data[at] ^= 1 << chance.randrange(8)
        what = f"a flipped bit at {at}"
    elif draw < 0.7:
        data[at] = (data[at] + chance.randrange(1, 256)) % 256
        what = f"a changed byte at {at}"
    elif draw < 0.9:
        del data[at:]
        what = f"a cut at {at}"
    else:
        at = at // 512 * 512
        data[at : at + 512] = chance.randbytes(min(512, len(data) - at))
        what = f"a sector of noise at {at}"
    path.write_bytes(data)
    return f"{what} of {path.name}"


if __name__ == "__main__":
    main()
