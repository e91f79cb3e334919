"""Holds that a writing unit of work lasts no longer than its statements.

On SQLite all other writers wait meanwhile. Work of the core grows with what somebody typed, so none
of it belongs between the first statement of a writing unit and its end. What a test writes by
itself, to prepare what it tests, keeps nobody waiting.
"""

import sys
from collections import Counter
from pathlib import Path
from types import FrameType
from typing import Any

from sqlalchemy import event
from sqlalchemy.engine import Connection

import server
from server.store.database import Database

CORE = tuple(f"{server.__path__[0]}/{layer}/" for layer in ("ladder", "scan", "plant", "marking"))


TESTS = f"{Path(__file__).parents[1]}/"

DATA = CORE[-1] + "verdict.py"
"""What the store is handed as data; it adds up the points of some requirements."""


class UnitsOfWork:
    """Watches the threads that write; ``found`` has what of the core was called meanwhile."""

    def __init__(self, database: Database) -> None:
        self.found: Counter[str] = Counter()
        self._writing: set[Any] = set()
        event.listen(database.engine, "begin", self._begin)
        event.listen(database.engine, "checkin", self._end)

    def _begin(self, connection: Connection) -> None:
        if connection.get_execution_options().get("read_only") or _is_of_a_test():
            return
        unit = connection.connection.dbapi_connection
        self._writing.add(unit)

        def look(frame: FrameType, event: str, _argument: object) -> None:
            if unit not in self._writing:
                sys.setprofile(None)
            elif event == "call":
                file = frame.f_code.co_filename
                if file.startswith(CORE) and file != DATA:
                    self.found[f"{file}:{frame.f_code.co_qualname}"] += 1

        sys.setprofile(look)

    def _end(self, connection: object, _record: object) -> None:
        self._writing.discard(connection)


def _is_of_a_test() -> bool:
    """Whether a test began what this thread does; requests are answered in threads of their own."""
    frame: FrameType | None = sys._getframe(2)
    while frame is not None:
        if frame.f_code.co_filename.startswith(TESTS) and frame.f_code.co_filename != __file__:
            return True
        frame = frame.f_back
    return False
