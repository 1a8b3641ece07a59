"""One HTML page that is a file by itself: opens without a network, loads nothing, runs nothing."""

from html import escape

from pupawatch.model.text import shown


def safe(text: str) -> str:
    """A text from a keeper or a file, as it may stand on a page."""
    return escape(shown(text), quote=True)


def page(title: str, style: str, body: str) -> str:
    """The page under its title. style: CSS; body: HTML, in which every text was made safe."""
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">\n'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{safe(title)}</title><style>{style}</style></head>\n"
        f"<body><h1>{safe(title)}</h1>\n{body}</body></html>\n"
    )
