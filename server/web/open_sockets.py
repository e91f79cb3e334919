"""The sockets that are open in this process, and who may keep theirs.

A socket is let in once, but may stay open for hours. Whoever is signed out, or no longer has their
place in the section, loses it: at once where this process ended it, else when it is looked at next.
"""

import asyncio
import logging
from collections.abc import AsyncIterator, Callable, Collection, Coroutine, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated

from fastapi import Depends, WebSocket, status
from sqlalchemy.exc import DBAPIError
from starlette.requests import HTTPConnection

from server.store.courses import TEACHING, SectionRole, roles_in_sections
from server.store.database import Database
from server.store.sessions import live_sessions, note_use, use_is_due
from server.store.sittings import sitting_sessions
from server.web.access import visitor_of

log = logging.getLogger(__name__)

LOOKED_AT_EVERY = 3.0
"""Seconds; another process may have signed somebody out."""

SIGNED_OUT = "You are signed out, so this run was closed here. Sign in, then open the page again."
NO_SITTING = "Your sitting is over, so this run was closed here."
SITTING_ELSEWHERE = "You are in a supervised lab now, so this run was closed here."
NO_PLACE = "Your place in this section changed, so this run was closed here. Open the page again."


@dataclass(eq=False)
class OpenSocket:
    """One socket: by which session it came, and what its person has to be in which section.

    ``sits_at``: the supervised assignment at which they need a sitting. ``used``: its person did
    something since it was looked at last.
    """

    socket: WebSocket
    session_hash: str
    user_id: int
    section_id: int
    roles: Collection[SectionRole]
    sits_at: int | None = None
    used: bool = False


class OpenSockets:
    """All sockets of the process. ``start`` and ``stop`` go with the application."""

    def __init__(self, database: Database, clock: Callable[[], datetime], idle: timedelta) -> None:
        self._database = database
        self._clock = clock
        self._idle = idle
        self._open: set[OpenSocket] = set()
        self._due = asyncio.Event()
        self._tasks: set[asyncio.Task[None]] = set()

    @contextmanager
    def watching(
        self,
        socket: WebSocket,
        section_id: int,
        roles: Collection[SectionRole],
        sits_at: int | None = None,
    ) -> Iterator[None]:
        """Watch over the visitor's socket while it is open; it closes when they may not have it."""
        visitor = visitor_of(socket)
        here = OpenSocket(socket, visitor.session_hash, visitor.id, section_id, roles, sits_at)
        socket.state.open_socket = here
        self._open.add(here)
        # They may have lost it between being let in and now.
        self._due.set()
        try:
            yield
        finally:
            self._open.discard(here)

    def recheck(self) -> None:
        """Look at all sockets at once; called in the event loop."""
        self._due.set()

    def start(self) -> None:
        self._begin(self._watch())

    async def stop(self) -> None:
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    def _begin(self, work: Coroutine[None, None, None]) -> None:
        task = asyncio.create_task(work, name="open sockets")
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _watch(self) -> None:
        while True:
            with suppress(TimeoutError):
                await asyncio.wait_for(self._due.wait(), LOOKED_AT_EVERY)
            self._due.clear()
            looked_at = list(self._open)
            if not looked_at:
                continue
            used = {each.session_hash for each in looked_at if each.used}
            for each in looked_at:
                each.used = False
            try:
                refused = await asyncio.to_thread(self._refused, looked_at, used)
            except DBAPIError:
                log.warning("the database did not say who is signed in; it is asked again")
                continue
            for each, why in refused.items():
                self._open.discard(each)
                # The other side may take its time to answer.
                self._begin(_close(each.socket, why))

    def _refused(self, looked_at: Iterable[OpenSocket], used: set[str]) -> dict[OpenSocket, str]:
        now = self._clock()
        with self._database.read() as session:
            live = live_sessions(session, {each.session_hash for each in looked_at}, now)
            roles = roles_in_sections(
                session,
                {each.user_id for each in looked_at},
                {each.section_id for each in looked_at},
            )
            sitting = sitting_sessions(session, {each.user_id for each in looked_at}, now)
        if due := {each for each in used & live.keys() if use_is_due(live[each], now)}:
            with self._database.write() as session:
                note_use(session, due, now, self._idle)
        refused = {}
        for each in looked_at:
            if each.session_hash not in live:
                refused[each] = SIGNED_OUT
            elif (role := roles.get((each.user_id, each.section_id))) not in each.roles:
                refused[each] = NO_PLACE
            elif role in TEACHING:
                continue
            elif each.sits_at is None and each.user_id in sitting:
                refused[each] = SITTING_ELSEWHERE
            elif each.sits_at is not None and sitting.get(each.user_id) != (
                each.sits_at,
                each.session_hash,
            ):
                refused[each] = NO_SITTING
        return refused


async def _close(socket: WebSocket, why: str) -> None:
    with suppress(RuntimeError):  # the page has gone away meanwhile
        await socket.close(status.WS_1008_POLICY_VIOLATION, why)


def note_command(socket: WebSocket) -> None:
    """Whoever sends commands by a socket is not idle."""
    here: OpenSocket = socket.state.open_socket
    here.used = True


async def open_sockets(connection: HTTPConnection) -> OpenSockets:
    found: OpenSockets = connection.app.state.open_sockets
    return found


OpenSocketsHere = Annotated[OpenSockets, Depends(open_sockets)]


async def _recheck_afterwards(sockets: OpenSocketsHere) -> AsyncIterator[None]:
    yield
    sockets.recheck()


RECHECK = Depends(_recheck_afterwards)
"""For routes that take somebody's session or place in a section: what is open by it closes."""
