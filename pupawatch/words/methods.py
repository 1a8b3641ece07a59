"""The methods of moving, in words."""

_HOW = {
    "silk": "by its silk",
    "tie": "by a thread",
    "sling": "in a sling",
    "whole": "with leaf or stem",
    "glue": "glued",
    "prop": "laid by mesh",
}


def how_words(method: str) -> str:
    """A method of moving in a few words; one that a keeper added, by the name it was given."""
    return _HOW.get(method, method)
