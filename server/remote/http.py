"""Requests to other servers: to registered hosts only, over TLS, bounded in time and size.

Nothing is followed elsewhere: a redirection is an answer like any other. On this machine itself
plain HTTP is permitted, so that both sides can be tried without certificates.
"""

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from time import monotonic
from typing import Any
from urllib.parse import urlsplit

import httpx2

SECONDS = 10.0
"""For connecting, and for each wait for more of an answer."""

TOTAL_SECONDS = 30.0
"""For one answer, also if it comes drop by drop."""

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
    """Whether this server may ask at the address: https, or http on this machine."""
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

    @cached_property
    def _client(self) -> httpx2.Client:
        return httpx2.Client(follow_redirects=False, timeout=httpx2.Timeout(SECONDS))

    def close(self) -> None:
        if "_client" in self.__dict__:
            self._client.close()

    def get(
        self, address: str, hosts: Collection[str], headers: Mapping[str, str] | None = None
    ) -> Answer:
        """Raises NoAnswer and NotTaken."""
        return self._ask("GET", address, hosts, headers or {})

    def post_form(self, address: str, hosts: Collection[str], form: Form) -> Answer:
        """Raises NoAnswer and NotTaken."""
        return self._ask("POST", address, hosts, {}, data=dict(form))

    def post_json(
        self, address: str, hosts: Collection[str], headers: Mapping[str, str], value: object
    ) -> Answer:
        """``headers`` say of what type it is. Raises NoAnswer and NotTaken."""
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
        try:
            with self._client.stream(method, address, headers=dict(headers), **body) as response:
                content = _bounded(response, host)
                return _answer(response, content, host)
        except httpx2.TimeoutException as error:
            raise NoAnswer(f"{host} does not answer in time.") from error
        except (httpx2.TransportError, httpx2.DecodingError) as error:
            raise NoAnswer(f"{host} does not answer.") from error
        except httpx2.InvalidURL as error:
            raise NotTaken(f"{address[:200]} is no address.") from error


def _bounded(response: httpx2.Response, host: str) -> bytes:
    content, begun = b"", monotonic()
    for piece in response.iter_bytes():
        content += piece
        if monotonic() - begun > TOTAL_SECONDS:
            raise NoAnswer(f"{host} does not answer in time.")
        if len(content) > MAX_BYTES:
            raise NotTaken(f"{host} sent more than {MAX_BYTES // 1_000_000} MB.")
    return content


def _answer(response: httpx2.Response, content: bytes, host: str) -> Answer:
    status = response.status_code
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
    following = response.links.get("next", {}).get("url")
    return Answer(status, data, following)
