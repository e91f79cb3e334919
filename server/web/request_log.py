"""Gives each request an id, counts it, and writes one line about it."""

import logging
import secrets
from time import perf_counter

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.logs import request_id
from server.web.request_figures import RequestFigures

log = logging.getLogger("rungmark.requests")

ASKED_BY_ITSELF = {"health", "ready", "metrics", "verdict_progress", "live_class_now"}
"""Routes that pages and supervisors ask again and again: a line of each would hide the others."""


class RequestLog:
    """Outermost, so that what is refused before any route has its line, too."""

    def __init__(self, app: ASGIApp, figures: RequestFigures) -> None:
        self.app = app
        self.figures = figures

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        given = request_id.set(secrets.token_hex(8))
        status = 0

        async def send_with_id(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)["X-Request-ID"] = request_id.get()
            await send(message)

        begun = perf_counter()
        try:
            await self.app(scope, receive, send_with_id)
        finally:
            seconds = perf_counter() - begun
            route = scope.get("route")
            # What stands outside the routes, as /health does, is known by its function.
            name = getattr(route or scope.get("endpoint"), "__name__", "none")
            name = getattr(route, "name", name)
            if scope["type"] == "http":
                self.figures.note(name, status, seconds)
            figures = {
                "method": scope.get("method", "socket"),
                "route": getattr(route, "path", "none"),
                "status": status,
                "ms": round(1000 * seconds, 1),
            }
            quiet = name in ASKED_BY_ITSELF and 0 < status < 400
            log.log(
                logging.DEBUG if quiet else logging.INFO, "answered", extra={"figures": figures}
            )
            request_id.reset(given)
