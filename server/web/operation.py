"""What whoever runs the server looks at: /health, /ready, /metrics.

These are not pages: they stand outside the routes, without a visitor, and /health asks nothing of
the database, so that a supervisor does not restart a server whose database is away for a minute.
"""

import hmac
from collections.abc import Iterable, Iterator
from datetime import timedelta
from ipaddress import ip_address
from typing import Any

from fastapi import FastAPI
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily, InfoMetricFamily, Metric
from prometheus_client.registry import Collector
from sqlalchemy.exc import DBAPIError
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from server.store.gauges import marking_now
from server.store.lti_outbox import outbox_now
from server.web.build import versions

WINDOW = timedelta(minutes=15)
"""Times of marking are published for the verdicts of so long."""


def add_operation(app: FastAPI) -> None:
    registry: CollectorRegistry = app.state.metrics
    registry.register(_Gauges(app))

    async def health(_request: Request) -> Response:
        # Whether the process answers: it does not wait for a thread.
        return PlainTextResponse("ok\n")

    def ready(request: Request) -> Response:
        try:
            with request.app.state.database.read() as session:
                marking_now(session, request.app.state.clock(), WINDOW)
        except DBAPIError:
            return PlainTextResponse("The database does not answer.\n", 503)
        return PlainTextResponse("ready\n")

    def metrics(request: Request) -> Response:
        if not may_see_metrics(request, request.app.state.settings.metrics_token):
            return PlainTextResponse("Ask from this machine, or with the token.\n", 404)
        try:
            text = generate_latest(registry)
        except DBAPIError:
            return PlainTextResponse("The database does not answer.\n", 503)
        return Response(text, media_type="text/plain; version=0.0.4")

    for path, endpoint in (("/health", health), ("/ready", ready), ("/metrics", metrics)):
        app.add_route(path, endpoint, include_in_schema=False)


def may_see_metrics(request: Request, token: str) -> bool:
    """Return whether the request carries the token or, if none is set, comes from this machine.

    What a proxy on this machine passes on comes from somewhere else.
    """
    if token:
        given = request.headers.get("Authorization", "").removeprefix("Bearer ")
        return hmac.compare_digest(given.encode(), token.encode())
    passed_on = {"forwarded", "x-forwarded-for"} & set(request.headers)
    return not passed_on and request.client is not None and is_here(request.client.host)


def is_here(host: str) -> bool:
    """Return whether an address is this machine's own, which nobody else can reach."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


class _Gauges(Collector):
    """Read when asked for: the queue from the database, the runs from this process."""

    def __init__(self, app: FastAPI) -> None:
        self._state: Any = app.state

    def describe(self) -> Iterable[Metric]:
        return ()

    def collect(self) -> Iterator[Metric]:
        with self._state.database.read() as session:
            found = marking_now(session, self._state.clock(), WINDOW)
            workers = self._state.worker.count_alive(session)
            outbox = outbox_now(session)
        yield InfoMetricFamily("rungmark_build", "What runs.", versions())
        for name, meaning, value in (
            ("rungmark_queued", "Submissions that wait for their verdict.", found.queued),
            ("rungmark_queue_age_seconds", "Age of the oldest of them.", found.oldest_seconds),
            ("rungmark_workers", "Workers that are alive.", workers),
            ("rungmark_lms_waiting", "Scores that wait to be sent to an LMS.", outbox.waiting),
            ("rungmark_lms_stopped", "Those of them that somebody has to help.", outbox.stopped),
            ("rungmark_verdicts", "Verdicts of the last 15 minutes.", found.verdicts),
            ("rungmark_marking_seconds", "Their mean time from submission.", found.mean_seconds),
            ("rungmark_marking_seconds_most", "Their longest time.", found.most_seconds),
            (
                "rungmark_live_runs",
                "Trial runs that this process holds.",
                sum(1 for _ in self._state.trial_runs),
            ),
        ):
            yield GaugeMetricFamily(name, meaning, value)
