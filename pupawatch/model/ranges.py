"""The ranges that many settings share."""

from typing import Annotated

from msgspec import Meta

Hours = Annotated[float, Meta(gt=0, le=1000)]
Words = Annotated[str, Meta(min_length=1, max_length=400)]
Name = Annotated[str, Meta(min_length=1, max_length=40)]
