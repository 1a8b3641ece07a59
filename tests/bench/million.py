"""Can a file of a million rows be brought in with little memory, and stopped without trace?

    python tests/bench/million.py [--rows 1000000] [--only notebook|temperatures]

Makes a notebook (two rows a pupa, half a million pupae of thirty seasons) and a logger's table, brings each in with
the command in a process of its own, and tells time and peak memory; then begins again, interrupts it (SIGINT) while it
reads and while it writes, and looks at what is left.
"""

import argparse
import os
import signal
import subprocess
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

from pupawatch.journal.file import Journal

_RUN = """
import resource, sys
from pupawatch.cli import main
code = main(sys.argv[1:])
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
sys.exit(code)
"""


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--only", choices=("notebook", "temperatures"))
    options = parser.parse_args()
    signal.signal(signal.SIGINT, signal.default_int_handler)  # else a child of a background job ignores it
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "config").mkdir()
        (folder / "config" / "keeper.toml").write_text('zone = "UTC"\n', encoding="utf-8")
        for kind, write in (("notebook", notebook), ("temperatures", temperatures)):
            if options.only in (None, kind):
                table = write(folder, options.rows)
                seconds = bring_in(folder, table, kind, options.rows)
                stop(folder, table, kind, seconds / 4)


def notebook(folder: Path, rows: int) -> Path:
    path = folder / "notebook.csv"
    with path.open("w", encoding="utf-8") as out:
        out.write("label,site,formed_from,formed_to,moved_to,moved_at,emerged_to,wings\n")
        for number in range(rows // 2):
            begin = datetime(1990 + number % 30, 6, 1) + timedelta(minutes=number % 100_000)
            formed, moved, out_at = (begin + timedelta(hours=hours) for hours in (12, 80, 300))
            label = f"P{number}"
            out.write(f"{label},Roof,{begin:%Y-%m-%dT%H:%M},{formed:%Y-%m-%dT%H:%M},,,{out_at:%Y-%m-%dT%H:%M},sound\n")
            out.write(f"{label},,,,Line,{moved:%Y-%m-%dT%H:%M},,\n")
    return path


def temperatures(folder: Path, rows: int) -> Path:
    path = folder / "log.csv"
    begin = datetime(2015, 1, 1)
    with path.open("w", encoding="utf-8") as out:
        out.write("Time,Temp °C,RH %\n")
        for number in range(rows):
            out.write(f"{begin + timedelta(minutes=5 * number):%Y-%m-%d %H:%M},{18 + number % 97 / 10:.1f},60\n")
    return path


def words(folder: Path, table: Path, kind: str, journal: str) -> list[str]:
    where = ["--journal", str(folder / journal), "--config", str(folder / "config")]
    return [*where, "import", str(table), "--as", kind]


def bring_in(folder: Path, table: Path, kind: str, rows: int) -> float:
    """The seconds that it took."""
    begin = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", _RUN, *words(folder, table, kind, "whole.db")],
        capture_output=True,
        text=True,
        check=True,
    )
    seconds = time.perf_counter() - begin
    *told, peak = done.stdout.splitlines()
    size = table.stat().st_size / 1e6
    print(f"{kind}: {rows} rows ({size:.0f} MB) in {seconds:.0f} s, peak {float(peak):.0f} MB of memory")
    print("   ", " | ".join(line[:100] for line in told), flush=True)
    for path in folder.glob("whole.db*"):
        path.unlink()
    return seconds


def stop(folder: Path, table: Path, kind: str, reading_after: float) -> None:
    """Interrupt it while it reads, and while it writes: as soon as the log beside the journal has grown."""
    for when in ("reading", "writing"):
        journal = folder / f"{when}.db"
        command = [sys.executable, "-m", "pupawatch", *words(folder, table, kind, journal.name)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as child:
            log = journal.with_name(journal.name + "-wal")
            if when == "reading":
                time.sleep(reading_after)
            else:
                while child.poll() is None and not (log.exists() and log.stat().st_size > 4_000_000):
                    time.sleep(0.01)
            os.kill(child.pid, signal.SIGINT)
            out, told = child.communicate()
        assert child.returncode == 130, (child.returncode, out, told)
        assert told.strip() == "Stopped; nothing was written.", told
        left = Journal(journal)
        assert (left.last(), left.sensors()) == (0, [])
        left.close()
        staged = [path.name for path in folder.iterdir() if path.name not in ("config", table.name, journal.name)]
        print(f"    stopped while {when}: nothing was written, left beside: {staged or 'nothing'}", flush=True)
        journal.unlink(missing_ok=True)
        for path in folder.glob(f"{when}.db*"):
            path.unlink()


if __name__ == "__main__":
    main()
