"""What a visitor reads when a request is refused or goes wrong: one sentence with its fix."""

import logging
from collections.abc import Callable
from typing import Any

from fastapi import FastAPI, HTTPException, Request
from fastapi.exceptions import RequestValidationError
from sqlalchemy.exc import DataError, DBAPIError, InterfaceError, OperationalError
from sqlalchemy.exc import TimeoutError as NoConnection
from starlette.exceptions import HTTPException as StarletteHTTPException
from starlette.responses import RedirectResponse, Response
from starlette.routing import Match, Route

from server.jobs.work_process import Busy
from server.store.database import cannot_be_written
from server.store.sittings import SittingOver
from server.web.access import NO_SITTING, FactorFirst, SignInFirst, SittingFirst
from server.web.cookies import by_tls
from server.web.rendering import error, wants_fragment
from server.web.security import add_secure_headers

log = logging.getLogger(__name__)

SENTENCES = {
    404: "There is nothing at this address, or it is not yours to see. Check the address.",
    405: "This address does not take that kind of request. Go back and use the page's buttons.",
}


def _methods_at(request: Request) -> list[str]:
    """Return what may be asked at an address; each method has a route of its own."""
    methods = {
        method
        for route in (*request.app.state.routes, *request.app.routes)
        if isinstance(route, Route) and route.matches(request.scope)[0] is not Match.NONE
        for method in route.methods or ()
    }
    return sorted(methods | ({"HEAD"} if "GET" in methods else set()))


def _sign_in_first(request: Request, refused: SignInFirst) -> Response:
    if request.method == "GET" and not wants_fragment(request):
        return RedirectResponse(f"/sign-in?next={refused.address}", 303)
    sentence = (
        "You are signed out, so nothing was stored. "
        "Sign in in another window, then repeat the last step here."
    )
    return error(request, 401, sentence)


def _factor_first(request: Request, refused: FactorFirst) -> Response:
    if request.method == "GET" and not wants_fragment(request):
        return RedirectResponse("/second-factor", 303)
    return error(request, refused.status_code, refused.detail)


def _sitting_first(request: Request, refused: SittingFirst) -> Response:
    if request.method == "GET" and not wants_fragment(request):
        return RedirectResponse(refused.address, 303)
    return error(request, refused.status_code, refused.detail)


def _sitting_over(request: Request, _over: SittingOver) -> Response:
    return error(request, 403, NO_SITTING)


def _refused(request: Request, refused: HTTPException) -> Response:
    sentence = SENTENCES.get(refused.status_code, refused.detail)
    answer = error(request, refused.status_code, sentence)
    answer.headers.update(refused.headers or {})
    if refused.status_code == 405:
        answer.headers["Allow"] = ", ".join(_methods_at(request))
    return answer


def _invalid(request: Request, invalid: RequestValidationError) -> Response:
    # A number in the address that is none: the address leads nowhere.
    if any(mistake["loc"][0] == "path" for mistake in invalid.errors()):
        return error(request, 404, SENTENCES[404])
    places = ", ".join(sorted({str(mistake["loc"][-1]) for mistake in invalid.errors()}))
    return error(request, 422, f"The field {places} can't be read. Correct it and try again.")


def _no_database(request: Request, trouble: DBAPIError) -> Response:
    log.error("database: %s", trouble.orig)
    if cannot_be_written(trouble):
        sentence = (
            "The server's disk can't be written; it may be full. Nothing was stored. "
            "Tell whoever runs the server, then try again."
        )
        return error(request, 507, sentence)
    # It may have gone away just after it had stored something.
    sentence = (
        "The database does not answer, so this is probably not stored. "
        "Look at the page again in a minute, then repeat your last step if it is not there."
    )
    return error(request, 503, sentence)


def _busy(request: Request, trouble: Exception) -> Response:
    log.error("no connection or process was free in time: %s", type(trouble).__name__)
    sentence = "The server is too busy. Nothing was stored; try again in a minute."
    return error(request, 503, sentence)


def _unstorable(request: Request, trouble: Exception) -> Response:
    # PostgreSQL takes no NUL in a text and no text longer than its column; SQLite does. A
    # number that no column holds is an OverflowError of SQLite's driver.
    log.warning("what was sent can't be stored: %s", type(trouble).__name__)
    sentence = (
        "What was sent is too long or too large, or has a sign that can't be stored. "
        "Nothing was stored; shorten it or type it again."
    )
    return error(request, 422, sentence)


def _mistake(request: Request, _mistake: Exception) -> Response:
    sentence = "Something went wrong on the server. The error was logged, and nothing was stored."
    answer = error(request, 500, sentence)
    # This answer is made outside the middleware.
    add_secure_headers(answer.headers, secure=by_tls(request))
    return answer


_HANDLERS: dict[type[Exception], Callable[[Request, Any], Response]] = {
    SignInFirst: _sign_in_first,
    FactorFirst: _factor_first,
    SittingFirst: _sitting_first,
    SittingOver: _sitting_over,
    StarletteHTTPException: _refused,
    RequestValidationError: _invalid,
    OperationalError: _no_database,
    InterfaceError: _no_database,
    NoConnection: _busy,
    Busy: _busy,
    DataError: _unstorable,
    OverflowError: _unstorable,
    Exception: _mistake,
}


def add_error_pages(app: FastAPI) -> None:
    """Answer every exception that a route lets through with a page or a notice."""
    for exception, handler in _HANDLERS.items():
        app.add_exception_handler(exception, handler)
