"""Requests that wait for a verdict: they hold no thread and no connection to the database.

The page of a submission that is being marked sends one request, which is answered when the verdict
is there. So it need not ask again and again, which was most of what a server had to answer.
"""

import asyncio
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import Future
from contextlib import contextmanager

from starlette.requests import Request

HOLD_SECONDS = 25.0
"""A proxy gives up on a request without an answer after a minute, as a rule."""

MOST_HELD = 3
"""Of one visitor. A browser opens six connections to a server; the rest is for its pages."""


async def wait_until_marked(request: Request, arrival: "Future[None]", seconds: float) -> None:
    """Wait until there is something to look at, ``seconds`` have passed or the page is gone."""
    gone = asyncio.create_task(_gone(request))
    try:
        await asyncio.wait(
            [asyncio.wrap_future(arrival), gone],
            timeout=seconds,
            return_when=asyncio.FIRST_COMPLETED,
        )
    finally:
        gone.cancel()


async def _gone(request: Request) -> None:
    while (await request.receive())["type"] != "http.disconnect":
        pass


class Held:
    """How many requests of each visitor are held; used on the event loop alone."""

    def __init__(self) -> None:
        self._held: Counter[int] = Counter()

    @contextmanager
    def one_more(self, visitor_id: int) -> Iterator[bool]:
        """Yield whether one more may be held while the block runs."""
        if self._held[visitor_id] >= MOST_HELD:
            yield False
            return
        self._held[visitor_id] += 1
        try:
            yield True
        finally:
            self._held[visitor_id] -= 1
            if not self._held[visitor_id]:
                del self._held[visitor_id]
