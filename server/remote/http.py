"""Requests to other servers: to registered hosts only, over TLS, bounded in time and size.

Nothing is followed elsewhere: a redirection is an answer like any other. On this machine itself
plain HTTP is permitted, so that both sides can be tried without certificates.

The requests run in an event loop of their own, where a request that takes too long can be ended
wherever it stands: at a name that isn't found, or at an answer that comes drop by drop. A host that
does not answer is left alone for a minute, so that it costs that time once and not for every
visitor.
"""

import json
from collections.abc import Callable, Collection, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from threading import Lock
from typing import Any
from urllib.parse import urljoin, urlsplit

import anyio
import httpx2
from anyio.from_thread import BlockingPortal, start_blocking_portal

SECONDS = 10.0
"""For one answer, from looking up its host's name to its last byte."""

LEFT_ALONE = timedelta(minutes=1)
"""How long a host that did not answer is not asked again."""

MAX_BYTES = 2_000_000
"""Of one answer."""

LOOPBACK = frozenset({"127.0.0.1", "::1", "localhost"})

Form = Mapping[str, str]


class NoAnswer(Exception):
    """The other server is away or overloaded: worth another try, after ``wait`` if it says so."""

    def __init__(self, sentence: str, wait: timedelta | None = None) -> None:
        super().__init__(sentence)
        self.wait = wait


class NotTaken(Exception):
    """The other server answers, but not with what was asked for. ``status`` 0: it wasn't asked."""

    def __init__(self, sentence: str, status: int = 0) -> None:
        super().__init__(sentence)
        self.status = status


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back: ``status`` is 200 to 299; ``following`` is the address of the next page."""

    status: int
    data: Any
    following: str | None = None


def host_of(address: str) -> str:
    """Host and port of an address; empty if there is none."""
    try:
        return urlsplit(address).netloc.lower()
    except ValueError:
        return ""


def is_permitted(address: str) -> bool:
    """Return whether this server may ask at the address: https, or http on this machine."""
    try:
        parts = urlsplit(address)
        host, _ = parts.hostname, parts.port
    except ValueError:
        return False
    if not host or parts.username is not None or not address.isprintable() or " " in address:
        return False
    return parts.scheme == "https" or (parts.scheme == "http" and host in LOOPBACK)


class Outside:
    """The one client of other servers in a process, made when it is first needed."""

    def __init__(self, clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self._clock = clock
        self._making = Lock()
        self._open = ExitStack()
        self._portal: BlockingPortal | None = None
        self._away: dict[str, tuple[NoAnswer, datetime]] = {}

    def close(self) -> None:
        with self._making:
            self._portal = None
            self._open.close()

    def get(
        self, address: str, hosts: Collection[str], headers: Mapping[str, str] | None = None
    ) -> Answer:
        """Ask for what is at an address. Raises NoAnswer and NotTaken."""
        return self._ask("GET", address, hosts, headers or {})

    def post_form(
        self,
        address: str,
        hosts: Collection[str],
        form: Form,
        headers: Mapping[str, str] | None = None,
    ) -> Answer:
        """Post a form. Raises NoAnswer and NotTaken."""
        return self._ask("POST", address, hosts, headers or {}, data=dict(form))

    def post_json(
        self, address: str, hosts: Collection[str], headers: Mapping[str, str], value: object
    ) -> Answer:
        """Post a value, whose type ``headers`` say. Raises NoAnswer and NotTaken."""
        return self._ask("POST", address, hosts, headers, content=json.dumps(value).encode())

    def _ask(
        self,
        method: str,
        address: str,
        hosts: Collection[str],
        headers: Mapping[str, str],
        **body: Any,
    ) -> Answer:
        host = host_of(address)
        if host not in hosts:
            raise NotTaken(
                f"The host {host or '(none)'} is not registered. The administrator adds it to "
                "the hosts of this system."
            )
        if not is_permitted(address):
            raise NotTaken(f"{address} is not an https address. The administrator corrects it.")
        trouble, since = self._away.get(host, (None, self._clock()))
        if trouble is not None and timedelta() <= self._clock() - since < LEFT_ALONE:
            raise NoAnswer(str(trouble))
        try:
            response = self._running().call(self._exchange, method, address, dict(headers), body)
        except (TimeoutError, httpx2.TimeoutException) as error:
            raise self._remember(host, f"{host} does not answer in time.") from error
        except (httpx2.TransportError, httpx2.DecodingError) as error:
            raise self._remember(host, f"{host} does not answer.") from error
        except httpx2.InvalidURL as error:
            raise NotTaken(f"{address[:200]} is no address.") from error
        self._away.pop(host, None)
        return _answer(response, address, host)

    def _remember(self, host: str, sentence: str) -> NoAnswer:
        trouble = NoAnswer(sentence)
        self._away[host] = trouble, self._clock()
        return trouble

    def _running(self) -> BlockingPortal:
        with self._making:
            if self._portal is None:
                portal = self._open.enter_context(start_blocking_portal(name="outside"))
                self._client = self._open.enter_context(
                    portal.wrap_async_context_manager(
                        httpx2.AsyncClient(follow_redirects=False, timeout=SECONDS)
                    )
                )
                self._portal = portal
            return self._portal

    async def _exchange(
        self, method: str, address: str, headers: dict[str, str], body: dict[str, Any]
    ) -> httpx2.Response:
        """Send a request and read its answer, as much as is taken. Raises TimeoutError."""
        with anyio.fail_after(SECONDS):
            async with self._client.stream(method, address, headers=headers, **body) as response:
                content = b""
                async for piece in response.aiter_bytes():
                    content += piece
                    if len(content) > MAX_BYTES:
                        host = host_of(address)
                        raise NotTaken(f"{host} sent more than {MAX_BYTES // 1_000_000} MB.")
                return httpx2.Response(
                    response.status_code, headers=_kept(response.headers), content=content
                )


def _kept(headers: httpx2.Headers) -> dict[str, str]:
    """Return the headers that are looked at; those of the encoding no longer fit the content."""
    return {name: headers[name] for name in ("Retry-After", "Link") if name in headers}


def _answer(response: httpx2.Response, address: str, host: str) -> Answer:
    status, content = response.status_code, response.content
    if status == 429 or status >= 500:
        after = response.headers.get("Retry-After", "")
        wait = timedelta(seconds=min(int(after), 86400)) if after.isdecimal() else None
        raise NoAnswer(f"{host} is out of order or overloaded ({status}).", wait)
    if not 200 <= status < 300:
        raise NotTaken(f"{host} does not take the request ({status}).", status)
    try:
        data = json.loads(content) if content.strip() else None
    except ValueError:
        data = None
    # A target may be relative to the address that was asked (RFC 8288, section 3.1; from memory).
    following = response.links.get("next", {}).get("url")
    return Answer(status, data, urljoin(address, following) if following else None)
