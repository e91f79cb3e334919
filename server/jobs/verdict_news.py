"""Who waits for a verdict in this process, and is notified when it comes.

Threads and the event loop wait by the same futures; whoever marks, or hears that somebody else has
marked, notifies. Being notified means *look again*: the submission's row is the truth.
"""

from collections.abc import Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from threading import Lock


class Verdicts:
    def __init__(self) -> None:
        self._lock = Lock()
        self._waiting: dict[int, set[Future[None]]] = {}
        self._closed = False

    @contextmanager
    def awaited(self, submission_id: int) -> Iterator[Future[None]]:
        """Yield a future that is done once there is something to look at.

        Begin this before looking whether the verdict is there: it may come at any time after.
        """
        arrival: Future[None] = Future()
        # Whoever gives up waiting must not cancel what another thread is just setting.
        arrival.set_running_or_notify_cancel()
        with self._lock:
            if self._closed:
                arrival.set_result(None)
            else:
                self._waiting.setdefault(submission_id, set()).add(arrival)
        try:
            yield arrival
        finally:
            with self._lock:
                waiting = self._waiting.get(submission_id, set())
                waiting.discard(arrival)
                if not waiting:
                    self._waiting.pop(submission_id, None)

    def notify(self, submission_id: int) -> None:
        """Note that a submission is marked, or can't be."""
        with self._lock:
            waiting = self._waiting.pop(submission_id, set())
        for arrival in waiting:
            arrival.set_result(None)

    def notify_all(self) -> None:
        """Something may have been missed."""
        with self._lock:
            waiting = list(self._waiting)
        for submission_id in waiting:
            self.notify(submission_id)

    def close(self) -> None:
        """Nobody waits any longer: the process is to stop."""
        with self._lock:
            self._closed = True
        self.notify_all()
