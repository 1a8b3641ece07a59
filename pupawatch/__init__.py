"""pupawatch: from pupation to a well-winged adult flying away.

The rooms, from the bottom up: ``model`` (what there is), ``care`` (what to do this morning), ``journal``
(the file), ``settings``, ``keeper`` (every change goes through here), ``exchange`` (other people's files)
and the two faces, ``cli`` and ``tui``.
"""
