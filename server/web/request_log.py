"""Gives each request an id and writes one line about it."""

import logging
import secrets
from time import perf_counter

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.logs import request_id

log = logging.getLogger("rungmark.requests")


class RequestLog:
    """Outermost, so that what is refused before any route has its line, too."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

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
            figures = {
                "method": scope.get("method", "socket"),
                "route": getattr(scope.get("route"), "path", "none"),
                "status": status,
                "ms": round(1000 * (perf_counter() - begun), 1),
            }
            log.info("answered", extra={"figures": figures})
            request_id.reset(given)
