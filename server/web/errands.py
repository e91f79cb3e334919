"""Asking other servers for a request, without holding up the pages.

An errand takes as long as the other server likes, within the limits of ``remote.http``. It runs in
threads of its own, so that those that answer pages never wait for another server.
"""

from collections.abc import Callable
from typing import Annotated, TypeVar

from anyio import CapacityLimiter, to_thread
from fastapi import Depends
from starlette.requests import HTTPConnection

from server.remote.http import NoAnswer

THREADS = 8
MOST_WAITING = 100
"""A class signs in at once; more than that is a host that answers too slowly."""

Result = TypeVar("Result")


class Errands:
    """The threads of one process that wait for other servers."""

    def __init__(self) -> None:
        self._threads = CapacityLimiter(THREADS)

    async def run(self, errand: Callable[[], Result]) -> Result:
        """Return what the errand returns. Raises what it raises, and NoAnswer if too many wait."""
        if self._threads.statistics().tasks_waiting >= MOST_WAITING:
            raise NoAnswer("Too many people wait for an answer of another server.")
        return await to_thread.run_sync(errand, limiter=self._threads)


async def errands(connection: HTTPConnection) -> Errands:
    found: Errands = connection.app.state.errands
    return found


ErrandsHere = Annotated[Errands, Depends(errands)]
