"""What a console or a pipe can carry: Unicode as it is, elsewhere plain signs and no question mark in an interval."""

import codecs
import sys
from io import TextIOWrapper

from pupawatch.model.signs import PLAIN, plain

_OURS = "pupawatch-"


def prepare() -> None:
    """Have whatever is printed reach the keeper, whatever the streams of this process can carry."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            _prepare(stream)


def _prepare(stream: TextIOWrapper) -> None:
    if (stream.errors or "").startswith(_OURS):
        return
    encoding = codecs.lookup(stream.encoding).name
    if encoding.startswith("utf"):
        stream.reconfigure(errors="replace")
        return
    # Everything above 127 comes to the handler: our own signs are told in ASCII, for where Windows prints in one code
    # page what the console shows in another; a keeper's own letters are kept where the encoding has them.
    name = f"{_OURS}{encoding}"
    codecs.register_error(name, lambda error: _instead(error, encoding))
    stream.reconfigure(encoding="ascii", errors=name)


def _instead(error: UnicodeError, encoding: str) -> tuple[str | bytes, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    signs = error.object[error.start : error.end]
    return b"".join(_bytes(sign, encoding) for sign in signs), error.end


def _bytes(sign: str, encoding: str) -> bytes:
    if sign not in PLAIN:
        try:
            return sign.encode(encoding)
        except UnicodeEncodeError:
            pass
    return plain(sign).encode("ascii")
