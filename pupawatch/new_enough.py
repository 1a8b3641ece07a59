"""Says whether this Python can run pupawatch: ``python3 pupawatch/new_enough.py``.

It is what an older Python is given to read, so it is written as even that understands it (no annotations, no
f-strings), and imports nothing of ours.
"""

import sys

OLDEST = (3, 11)


def answer(version):  # type: ignore[no-untyped-def]
    """What to tell the keeper, None where there is nothing to tell. version: as ``sys.version_info``."""
    if tuple(version[:2]) >= OLDEST:
        return None
    words = (
        "pupawatch needs Python {}.{} or newer, and this is {}.{}. Get a newer one from python.org, or use uv (README)."
    )
    return words.format(*(OLDEST + tuple(version[:2])))


if __name__ == "__main__":
    sys.exit(answer(sys.version_info))  # type: ignore[no-untyped-call]
