"""The cookies of this server: out of reach of scripts, and by TLS of other hosts and plain http.

By TLS a name begins with ``__Host-``, or with ``__Secure-`` where the cookie is for one path only:
browsers then take it from this very host and over TLS alone (RFC 6265bis, 4.1.3).
"""

from datetime import timedelta

from starlette.requests import HTTPConnection
from starlette.responses import Response

from server.settings import Settings


def by_tls(connection: HTTPConnection) -> bool:
    settings: Settings = connection.app.state.settings
    return settings.by_tls(connection.headers.get("Host", ""))


def full_name(connection: HTTPConnection, name: str, path: str = "/") -> str:
    """Return the cookie's name as the browser knows it."""
    if not by_tls(connection):
        return name
    return ("__Host-" if path == "/" else "__Secure-") + name


def read_cookie(connection: HTTPConnection, name: str, path: str = "/") -> str | None:
    return connection.cookies.get(full_name(connection, name, path))


def set_cookie(
    answer: Response,
    connection: HTTPConnection,
    name: str,
    value: str,
    *,
    lasts: timedelta | None = None,
    path: str = "/",
) -> None:
    """Give the browser a cookie, until its window is closed or for as long as it ``lasts``."""
    answer.set_cookie(
        full_name(connection, name, path),
        value,
        max_age=int(lasts.total_seconds()) if lasts is not None else None,
        path=path,
        httponly=True,
        samesite="lax",
        secure=by_tls(connection),
    )


def drop_cookie(answer: Response, connection: HTTPConnection, name: str, path: str = "/") -> None:
    answer.delete_cookie(
        full_name(connection, name, path),
        path=path,
        httponly=True,
        samesite="lax",
        secure=by_tls(connection),
    )
