"""What stands before every request: same-origin check, upload limit, secure headers."""

from collections.abc import Callable, Iterable

from fastapi import HTTPException
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

Refuse = Callable[[Request, int, str], Response]

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})


def content_security_policy(*, form_action: str = "'self'", frame_ancestors: str = "'none'") -> str:
    """Return what a page may do. A page that hands something to another site names it."""
    return "; ".join(
        (
            "default-src 'self'",
            "script-src 'self'",
            "style-src 'self'",
            "object-src 'none'",
            "base-uri 'none'",
            f"form-action {form_action}",
            f"frame-ancestors {frame_ancestors}",
        )
    )


def add_secure_headers(headers: MutableHeaders, *, secure: bool, static: bool = False) -> None:
    """Add the headers that every answer carries; pages are kept in no cache."""
    if "Content-Security-Policy" not in headers:
        headers["Content-Security-Policy"] = content_security_policy()
        # Older than frame-ancestors; it would forbid what a page's own policy permits.
        headers["X-Frame-Options"] = "DENY"
    headers["X-Content-Type-Options"] = "nosniff"
    headers["Referrer-Policy"] = "same-origin"
    # A page that a platform opens to be told when it is done says so by itself.
    headers.setdefault("Cross-Origin-Opener-Policy", "same-origin")
    headers["Permissions-Policy"] = "camera=(), geolocation=(), microphone=()"
    # A static file is asked for again, and not sent again unless it has changed.
    headers.setdefault("Cache-Control", "no-cache" if static else "no-store")
    if secure:
        headers["Strict-Transport-Security"] = "max-age=31536000"


class AnswerHead:
    """Answers HEAD as GET, without the body (RFC 9110, section 9.3.2; from memory)."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return

        async def send_without_body(message: Message) -> None:
            if message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        await self.app({**scope, "method": "GET"}, receive, send_without_body)


class SecureHeaders:
    """``by_tls`` tells of the header Host whether the browser came by TLS."""

    def __init__(self, app: ASGIApp, by_tls: Callable[[str], bool]) -> None:
        self.app = app
        self.by_tls = by_tls

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        secure = self.by_tls(Headers(scope=scope).get("Host", ""))

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                static = scope["path"].startswith("/static/")
                add_secure_headers(MutableHeaders(scope=message), secure=secure, static=static)
            await send(message)

        await self.app(scope, receive, send_with_headers)


class SameOrigin:
    """Refuses a change, or a socket, that some other site's page asked for.

    A browser says by Sec-Fetch-Site or Origin where a request comes from, and a page can't forge
    either. Sec-Fetch-Site is missing on sockets and without TLS, except on this machine itself.
    ``from_elsewhere`` are paths that other sites post to; what they send has to prove itself.
    """

    def __init__(
        self,
        app: ASGIApp,
        public_urls: Iterable[str],
        refuse: Refuse,
        from_elsewhere: Iterable[str] = (),
    ) -> None:
        self.app = app
        self.public_urls = frozenset(public_urls)
        self.refuse = refuse
        self.from_elsewhere = frozenset(from_elsewhere)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if self._is_trusted(scope):
            await self.app(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008, "reason": "another origin"})
        else:
            sentence = "This form was sent from another site. Open the page here and send it again."
            await self.refuse(Request(scope), 403, sentence)(scope, receive, send)

    def _is_trusted(self, scope: Scope) -> bool:
        if scope["type"] == "lifespan":
            return True
        if scope["type"] == "http" and (
            scope["method"] in SAFE_METHODS or scope["path"] in self.from_elsewhere
        ):
            return True
        headers = Headers(scope=scope)
        site = headers.get("Sec-Fetch-Site")
        if site is not None and scope["type"] == "http":
            return site == "same-origin"
        return headers.get("Origin") in self.public_urls


class UploadLimit:
    """Refuses a request body of more than ``limit`` bytes, whether it says its length or not."""

    def __init__(self, app: ASGIApp, limit: int, refuse: Refuse) -> None:
        self.app = app
        self.limit = limit
        self.refuse = refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        sentence = (
            f"What was sent is larger than {self.limit // 1000} kB, the limit here. "
            "Nothing was stored; send less at once."
        )
        length = Headers(scope=scope).get("Content-Length", "0")
        if not length.isdecimal() or int(length) > self.limit:
            await self.refuse(Request(scope), 413, sentence)(scope, receive, send)
            return
        received = 0

        async def receive_within_limit() -> Message:
            nonlocal received
            message = await receive()
            received += len(message.get("body", b""))
            if received > self.limit:
                raise HTTPException(413, sentence)
            return message

        await self.app(scope, receive_within_limit, send)
