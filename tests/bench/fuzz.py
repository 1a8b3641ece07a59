"""Does any file make a reader fail otherwise than in a sentence?

    python tests/bench/fuzz.py [--seconds 60]

Each reader (notebook, logger, settings, times) is fed inputs for so long: guided by coverage where atheris is installed
(`pip install atheris`), else made by hypothesis. An error of this program's own is an answer; any other ends the run.
"""

import argparse
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from contextlib import nullcontext, suppress
from datetime import UTC, datetime
from pathlib import Path

try:
    import atheris
except ImportError:
    atheris = None

with atheris.instrument_imports(include=["pupawatch", "tomli", "csv"]) if atheris else nullcontext():
    from pupawatch import settings as files
    from pupawatch.errors import PupawatchError
    from pupawatch.exchange.logger import reading as logger
    from pupawatch.exchange.notebook import reading as notebook
    from pupawatch.model.typed_times import parse_span

NOW = datetime(2026, 9, 8, 11, 40, tzinfo=UTC)
SEEDS = {
    "notebook": [
        b"label,formed_to,moved_to,moved_at,note\nA1,2026-08-01T07:00,Roof,2026-08-03,=1+1\nA1,,Jar,2026-08-04,\n",
        b"label;site;stage;stage_seen_at\nA1;Jar;prepupa;2026-08-01T07:00\nA1;;;\n",
        ",".join(notebook.COLUMNS).encode()
        + b"\nA1,monarch,Jar,2026-08-01,2026-08-02,clear,2026-08-09,,,,,,,,,sound\n",
    ],
    "logger": [
        "Time,Temp °C\n2026-08-14 06:00,21.5\n2026-08-14 06:05,21.6\n".encode(),
        b"Nr 7\n\nDatum;Uhrzeit;Temperatur\n14.08.2026;06:00;21,5\n14.08.2026;06:05;21,6\n",
        "x\ty\n01/02/2026 1:00 PM\t70.1\n".encode("utf-16"),
    ],
    "toml": [
        b'[[places]]\nname = "Roof"\nsurface = "mesh"\ncapacity = 12\n',
        b'zone = "America/Chicago"\nspecies = "monarch"\n[sheet]\ncolumns = ["mark"]\n',
        b'[keys]\nwalked = "space"\n[monarch.heat]\nlower_c = 11.5\n',
    ],
    "time": [b"2026-08-14T06:40+02:00", b"yesterday 21:00", b"2026-03-08T02:30"],
}


def notebook_reader(folder: Path) -> Callable[[bytes], None]:
    loaded, path = files.load(folder), folder / "notebook.csv"

    def read(data: bytes) -> None:
        path.write_bytes(data)
        notebook.read(path, loaded, NOW, lambda label: ())

    return read


def logger_reader(folder: Path) -> Callable[[bytes], None]:
    path = folder / "log.csv"

    def read(data: bytes) -> None:
        path.write_bytes(data)
        how = logger.understand(path, "America/Chicago")
        for _ in logger.readings(path, how, NOW, logger.Left({}, {})):
            pass

    return read


def toml_reader(folder: Path) -> Callable[[bytes], None]:
    names = ("places.toml", "keeper.toml", "keys.toml", "species.toml", "care.toml", "health.toml")

    def read(data: bytes) -> None:
        path = folder / names[(data[0] if data else 0) % len(names)]
        path.write_bytes(data)
        try:
            files.load(folder)
        finally:
            path.unlink()

    return read


def time_reader(folder: Path) -> Callable[[bytes], None]:
    def read(data: bytes) -> None:
        parse_span(data.decode(errors="replace"), "Australia/Lord_Howe", NOW)

    return read


READERS = {"notebook": notebook_reader, "logger": logger_reader, "toml": toml_reader, "time": time_reader}


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--reader", choices=[*READERS])
    options = parser.parse_args()
    if options.reader:
        feed(options.reader, options.seconds)
        return
    for name in READERS:
        typed = [sys.executable, __file__, "--reader", name, "--seconds", str(options.seconds)]
        done = subprocess.run(typed, capture_output=True, text=True, errors="replace", check=False)
        tried = re.search(r"number_of_executed_units: (\d+)|tried (\d+)", done.stdout + done.stderr)
        if done.returncode or not tried:
            print((done.stdout + done.stderr)[-3000:])
            raise SystemExit(f"{name}: an input made the reader fail; it stands above")
        print(f"{name}: {tried[1] or tried[2]} inputs tried, each understood or refused in a sentence", flush=True)


def feed(name: str, seconds: int) -> None:
    """Feed one reader for so long."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        (folder / "settings").mkdir()
        read = READERS[name](folder / "settings")

        def one(data: bytes) -> None:
            with suppress(PupawatchError):
                read(data)

        if atheris:
            (folder / "corpus").mkdir()
            for number, seed in enumerate(SEEDS[name]):
                (folder / "corpus" / str(number)).write_bytes(seed)
            flags = [
                f"-max_total_time={seconds}",
                "-print_final_stats=1",
                "-max_len=2000",
                f"-artifact_prefix={folder}/",
            ]
            atheris.Setup([sys.argv[0], *flags, str(folder / "corpus")], one)
            atheris.Fuzz()
        else:
            by_hypothesis(one, SEEDS[name], seconds)


def by_hypothesis(one: Callable[[bytes], None], seeds: list[bytes], seconds: int) -> None:
    """The same without guidance: pieces of the seeds and any bytes, in any order."""
    import time

    from hypothesis import HealthCheck, given, settings
    from hypothesis import strategies as st

    pieces = [piece for seed in seeds for piece in re.split(rb"(\W)", seed) if piece]
    until, tried = time.monotonic() + seconds, 0

    @settings(max_examples=1000, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(data=st.lists(st.one_of(st.sampled_from(pieces), st.binary(max_size=8)), max_size=80).map(b"".join))
    def some(data: bytes) -> None:
        nonlocal tried
        tried += 1
        one(data)

    while time.monotonic() < until:
        some()
    print(f"tried {tried}")


if __name__ == "__main__":
    main()
