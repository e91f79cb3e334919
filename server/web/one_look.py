"""One expensive look at a time for each visitor: what takes long, and how many of it there may be.

A route that works on a whole program, class or exercise for longer than a page may take asks for
``OneLook``. A second one of the same visitor is refused at once and holds no thread.
"""

from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager

from fastapi import Depends, HTTPException
from starlette.requests import HTTPConnection

from server.web.access import VisitorHere

BUSY = (
    "The server is still working on something for you, in this window or another. "
    "Wait until it is there, then try again."
)


class Looks:
    """Who waits for an expensive look; used on the event loop alone."""

    def __init__(self) -> None:
        self._looking: set[int] = set()

    @contextmanager
    def one(self, visitor_id: int) -> Iterator[bool]:
        """Yield whether this is the visitor's only look while the block runs."""
        if visitor_id in self._looking:
            yield False
            return
        self._looking.add(visitor_id)
        try:
            yield True
        finally:
            self._looking.discard(visitor_id)


async def one_look(connection: HTTPConnection, visitor: VisitorHere) -> AsyncIterator[None]:
    looks: Looks = connection.app.state.looks
    with looks.one(visitor.id) as only:
        if not only:
            raise HTTPException(429, BUSY)
        yield


# With the default scope the visitor would be kept until the answer has been read.
OneLook = Depends(one_look, scope="function")
