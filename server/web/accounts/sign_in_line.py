"""The line of those whose password is being verified: short, and nobody fills it alone.

A verification takes a tenth of a second of all cores and much memory, so one goes on at a time. The
others wait here, in no thread, and pages go on meanwhile.
"""

from collections import Counter
from typing import Annotated

from anyio import CapacityLimiter
from anyio.to_thread import run_sync
from fastapi import Depends
from starlette.requests import HTTPConnection

from server.store.people import HASHED_AT_ONCE, verify_password

LONGEST_LINE = 40
"""Who may wait at once from one place: a class that comes in, some four seconds of waiting."""


class LineFull(Exception):
    """Too many wait already who come from the same place."""


class SignInLine:
    def __init__(self) -> None:
        self._limiter = CapacityLimiter(HASHED_AT_ONCE)
        self._waiting: Counter[str] = Counter()

    async def verify(
        self, source: str, password: str, password_hash: str | None
    ) -> tuple[bool, str | None]:
        """As ``verify_password``, in one's turn. Raises LineFull."""
        if self._waiting[source] >= LONGEST_LINE:
            raise LineFull
        self._waiting[source] += 1
        try:
            return await run_sync(verify_password, password, password_hash, limiter=self._limiter)
        finally:
            self._waiting[source] -= 1
            if not self._waiting[source]:
                del self._waiting[source]


async def line(connection: HTTPConnection) -> SignInLine:
    found: SignInLine = connection.app.state.sign_in_line
    return found


SignInLineHere = Annotated[SignInLine, Depends(line)]
