"""Entry ids: sorted by time, unique across machines (UUID version 7, RFC 9562, section 5.7)."""

import hashlib
from datetime import UTC, datetime, timedelta
from uuid import UUID

CLOCK_SLACK = timedelta(minutes=5)
"""By so much two computers' clocks may differ before anything is made of it."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def entry_id(moment: datetime, chance: bytes) -> str:
    """The id of an entry first known at ``moment``, told apart from others of that microsecond by ``chance``.

    chance: at least 8 bytes, random for what is recorded live, a digest for what is brought in from a file, so
    that the same row brings in the same entry on every machine. The 12 bits after the version carry the
    fraction of the millisecond (RFC 9562, section 6.2, method 3).
    """
    micros = max(0, (moment - _EPOCH) // timedelta(microseconds=1))
    millis, rest = divmod(micros, 1000)
    fraction = rest * 4096 // 1000
    tail = int.from_bytes(chance[:8], "big") & ((1 << 62) - 1)
    return str(UUID(int=(millis & ((1 << 48) - 1)) << 80 | 7 << 76 | fraction << 64 | 2 << 62 | tail))


def is_id(text: str) -> bool:
    """Whether a text is a UUID, written as ids are written here."""
    try:
        return str(UUID(text)) == text
    except ValueError:
        return False


def moment_of(identity: str) -> datetime:
    """The instant that an entry's id was made for, to the microsecond."""
    number = UUID(identity).int
    micros = (number >> 80) * 1000 - (-(number >> 64 & 0xFFF) * 1000 // 4096)
    return _EPOCH + timedelta(microseconds=micros)


def is_from(identity: str, where: bytes) -> bool:
    """Whether an id was made with a chance that ends with these bytes, which name where it was made."""
    return identity.endswith(where.hex())


def digest(*parts: str) -> bytes:
    """Eight bytes that stand for these words and no others, for ``entry_id``."""
    return hashlib.blake2b("\x1f".join(parts).encode(), digest_size=8).digest()
