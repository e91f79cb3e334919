"""A thread that sends what waits, round after round."""

import logging
from collections.abc import Callable
from datetime import datetime
from threading import Event, Thread

from sqlalchemy.exc import DBAPIError

ROUND_SECONDS = 5.0

log = logging.getLogger(__name__)


class Sender:
    """Calls ``send_due`` with the time every few seconds. ``start`` it and ``stop`` it."""

    def __init__(
        self, name: str, send_due: Callable[[datetime], object], clock: Callable[[], datetime]
    ) -> None:
        self._name = name
        self._send_due = send_due
        self._clock = clock
        self._stopping = Event()
        self._thread: Thread | None = None

    def start(self) -> None:
        self._thread = Thread(target=self._run, name=self._name, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Finish the round that has begun and end."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        while not self._stopping.wait(ROUND_SECONDS):
            try:
                self._send_due(self._clock())
            except DBAPIError:
                log.exception("the database does not answer; the next round tries again")
            except Exception:
                log.exception("the round of %s failed", self._name)
