"""The log: one JSON object a line, with a request's id and without what is personal.

Of a request it has the route, not the address with its ids, and never a form, a cookie or a
header. Of an exception it has the kind and the places in the code, not its text, which may quote
a row of the database.
"""

import json
import logging
import sys
import traceback
from contextvars import ContextVar
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from server.paths import PACKAGE

request_id: ContextVar[str] = ContextVar("request_id", default="")
"""The id of the request that is answered just now, which its answer carries, too."""


class JsonLines(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "from": record.name,
            "says": record.getMessage(),
        }
        if found := request_id.get():
            line["request"] = found
        line |= getattr(record, "figures", {})
        if record.exc_info and record.exc_info[0] is not None:
            line["exception"] = record.exc_info[0].__name__
            frames = traceback.extract_tb(record.exc_info[2])
            line["places"] = [
                f"{frame.filename}:{frame.lineno} {frame.name}"
                for frame in frames
                # Our own, and where it happened.
                if Path(frame.filename).is_relative_to(PACKAGE) or frame is frames[-1]
            ]
        return json.dumps(line, ensure_ascii=False)


def begin_log(level: str, stream: TextIO | None = None) -> None:
    """Write everything from ``level`` up (debug, info, warning, error) to standard error."""
    handler = logging.StreamHandler(stream or sys.stderr)
    handler.setFormatter(JsonLines())
    logging.basicConfig(level=level.upper(), handlers=[handler], force=True)
    # Its own log says again, with addresses, what ours says without.
    logging.getLogger("uvicorn.access").disabled = True
    if level != "debug":
        # It writes several lines every ten seconds, whether there is work or not.
        logging.getLogger("procrastinate").setLevel(logging.WARNING)
