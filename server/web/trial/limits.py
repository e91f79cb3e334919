"""How much one visitor may ask of the trial runs: open sockets, and commands a second.

The bounds are a visitor's, not a socket's, so that more sockets do not give more. A hand never
reaches them; a script that does is cut off for a while.
"""

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from time import monotonic

log = logging.getLogger(__name__)

COMMANDS_A_SECOND = 40.0
"""A key that is held down repeats about 30 times a second (common practice, no source)."""

BURST = 120
"""Commands that may come at once, such as those that waited while the connection was slow."""

SOCKETS_OF_ONE = 12
"""Windows that one visitor has open, of own and of watched runs together."""

MAX_COMMAND_BYTES = 16_000
"""The socket of one who sends more at once is closed before it is read."""

BARRED_SECONDS = 10
"""How long after a flood the visitor gets no socket."""

KNOCK_SECONDS = 1.0
"""How long a socket waits at the door before it is told why it is not let in. A script comes back
at once, and each time costs more than the commands that it may send."""

FLOOD = f"Too many commands came at once. Wait {BARRED_SECONDS} seconds, then reload the page."
CROWD = (
    f"You have {SOCKETS_OF_ONE} windows with trial runs open, the most. Close one of them, then "
    "reload the page."
)


class Shut(Exception):
    """A socket is not opened, or is closed; the text says why and what to do."""


@dataclass(slots=True)
class _Visitor:
    sockets: int = 0
    left: float = BURST
    since: float = 0.0
    barred_until: float = field(default=float("-inf"))


class Doorkeeper:
    """Counts what each visitor does; used on the event loop alone."""

    def __init__(self, clock: Callable[[], float] = monotonic) -> None:
        self._clock = clock
        self._visitors: dict[int, _Visitor] = {}

    @property
    def visitors(self) -> int:
        """How many visitors are remembered."""
        return len(self._visitors)

    @contextmanager
    def socket(self, visitor_id: int) -> Iterator[None]:
        """Count one more socket of a visitor while the block runs. Raises Shut."""
        now = self._clock()
        self._forget(now)
        visitor = self._visitors.setdefault(visitor_id, _Visitor(since=now))
        if now < visitor.barred_until:
            raise Shut(FLOOD)
        if visitor.sockets >= SOCKETS_OF_ONE:
            raise Shut(CROWD)
        visitor.sockets += 1
        try:
            yield
        finally:
            visitor.sockets -= 1

    def count_command(self, visitor_id: int) -> None:
        """Count a command of a visitor who has a socket. Raises Shut for a flood."""
        visitor, now = self._visitors[visitor_id], self._clock()
        visitor.left = min(BURST, visitor.left + (now - visitor.since) * COMMANDS_A_SECOND)
        visitor.since = now
        visitor.left -= 1
        if visitor.left < 0 or now < visitor.barred_until:
            visitor.barred_until = now + BARRED_SECONDS
            log.warning("user %d sent too many commands to trial runs", visitor_id)
            raise Shut(FLOOD)

    def _forget(self, now: float) -> None:
        """Drop those who have no socket and would be as new."""
        gone = [
            visitor_id
            for visitor_id, visitor in self._visitors.items()
            if not visitor.sockets
            and now > max(visitor.barred_until, visitor.since + BURST / COMMANDS_A_SECOND)
        ]
        for visitor_id in gone:
            del self._visitors[visitor_id]
