"""Puts the web application together: middleware, routes, error pages.

To add a page: write it in its room with a ``router``, add it to ROUTERS here, and give
each of its route functions a rule in ``access.RULES``. Without a rule the application does not
start.
"""

import gc
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import datetime
from functools import partial

from anyio.to_thread import current_default_thread_limiter
from fastapi import APIRouter, Depends, FastAPI
from fastapi.routing import APIRoute, APIWebSocketRoute
from prometheus_client import CollectorRegistry
from starlette.staticfiles import StaticFiles

from server.jobs.draft_checker import DraftChecker
from server.jobs.draft_reader import DraftReader, ReadDraft
from server.jobs.published import published_in
from server.jobs.queue import Queue
from server.jobs.regrader import Regrader
from server.jobs.sitting_closer import close_sittings
from server.jobs.worker import MarkOne, Worker
from server.marking.files.catalogue import Catalogue
from server.marking.files.drafts import read_draft
from server.paths import STATIC
from server.remote.access_tokens import AccessTokens
from server.remote.course_mail import CourseMail
from server.remote.http import Outside
from server.remote.key_sets import KeySets
from server.remote.openid import OpenId
from server.remote.outbox import send_due
from server.remote.sender import Sender
from server.remote.services import Services
from server.settings import Settings
from server.store.database import Database
from server.store.local_time import utc_clock
from server.web.access import RULES, enforce
from server.web.accounts import access as account_access
from server.web.accounts import (
    calendar,
    forgotten,
    joining,
    mails,
    my_data,
    openid,
    own_password,
    second_factor,
)
from server.web.accounts import sessions as where_signed_in
from server.web.accounts import sign_in as accounts
from server.web.accounts.sign_in_line import SignInLine
from server.web.api import reading as api_reading
from server.web.api import tokens as api_tokens
from server.web.assignments import policy as assignments
from server.web.assignments import roll_over
from server.web.authoring import publishing as authoring_life
from server.web.authoring import second_look as authoring_second_look
from server.web.authoring import sheet as authoring
from server.web.college import courses, server_state
from server.web.college import pages as college
from server.web.editor import actions as editor
from server.web.editor import help as editor_help
from server.web.editor.sheets import Sheets
from server.web.errands import Errands
from server.web.error_pages import add_error_pages
from server.web.exercises import sheet as exercises
from server.web.exercises import sitting
from server.web.gradebook import agreements, grading, similarity, student_work
from server.web.gradebook import pages as gradebook
from server.web.help import pages as help_pages
from server.web.home import pages as home
from server.web.lti import choices as lti_choices
from server.web.lti import framed as lti_framed
from server.web.lti import launch as lti
from server.web.lti import links as lti_links
from server.web.lti import platforms
from server.web.lti import registration as lti_registration
from server.web.lti import roster as lms_roster
from server.web.one_look import Looks
from server.web.open_sockets import OpenSockets
from server.web.operation import add_operation
from server.web.programs import import_export, printing, versions
from server.web.rendering import error
from server.web.reports import actions as outcome_actions
from server.web.reports import binder, outcomes
from server.web.reports import pages as reports
from server.web.request_figures import RequestFigures
from server.web.request_log import RequestLog
from server.web.sections import live_class, supervised
from server.web.sections import roster as rosters
from server.web.security import (
    AnswerHead,
    SameOrigin,
    SecureHeaders,
    UploadLimit,
)
from server.web.submissions import diagnosis, places, released_runs
from server.web.submissions import verdict as submissions
from server.web.submissions.waiting import Held
from server.web.time_zone import CollegeZone
from server.web.trial import page as trial

ROUTERS = (
    # Routes are looked through in turn: those that a class asks for again and again come first.
    editor.router,
    submissions.router,
    trial.router,
    accounts.router,
    forgotten.router,
    second_factor.router,
    where_signed_in.router,
    own_password.router,
    my_data.router,
    calendar.router,
    account_access.router,
    mails.router,
    authoring.router,
    authoring_life.router,
    authoring_second_look.router,
    home.router,
    help_pages.router,
    exercises.router,
    sitting.router,
    editor_help.router,
    versions.router,
    import_export.router,
    printing.router,
    diagnosis.router,
    places.router,
    released_runs.router,
    gradebook.router,
    student_work.router,
    agreements.router,
    grading.router,
    live_class.router,
    supervised.router,
    joining.router,
    rosters.router,
    api_reading.router,
    api_tokens.router,
    college.router,
    courses.router,
    server_state.router,
    assignments.router,
    roll_over.router,
    similarity.router,
    lti.router,
    lti_framed.router,
    lti_links.router,
    lti_choices.router,
    lti_registration.router,
    platforms.router,
    openid.router,
    lms_roster.router,
    reports.router,
    outcomes.router,
    binder.router,
    outcome_actions.router,
)

_SITE = APIRouter(dependencies=[Depends(enforce)])
"""All rooms behind the one door. FastAPI works out what the routes of an included router take anew
for each application; so it does for each process."""
for _router in ROUTERS:
    _SITE.include_router(_router)

REQUEST_THREADS = 4
"""Requests that are worked on side by side; each may use two of the database's connections. One
process runs one thread of Python at a time, so that more of them would only make each other, and
the live runs, wait."""


def create_app(
    settings: Settings,
    database: Database,
    clock: Callable[[], datetime] = utc_clock,
    mark_one: MarkOne | None = None,
    read: ReadDraft = read_draft,
) -> FastAPI:
    """Return the application on a migrated database.

    On SQLite it has ``mark_one`` mark; ``read`` reads what authors write.
    """
    app = FastAPI(
        title="Rungmark",
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=_running,
    )
    _set_state(app, settings, database, clock, mark_one, read)
    app.router.routes.extend(_SITE.routes)
    _demand_rules()
    add_operation(app)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    app.add_middleware(AnswerHead)
    app.add_middleware(UploadLimit, limit=settings.upload_limit, refuse=error)
    app.add_middleware(
        SameOrigin,
        public_urls=settings.public_urls,
        refuse=error,
        from_elsewhere=lti.FROM_PLATFORMS,
    )
    app.add_middleware(SecureHeaders, by_tls=settings.by_tls)
    app.add_middleware(RequestLog, figures=app.state.request_figures)
    add_error_pages(app)
    return app


def _set_state(
    app: FastAPI,
    settings: Settings,
    database: Database,
    clock: Callable[[], datetime],
    mark_one: MarkOne | None,
    read: ReadDraft,
) -> None:
    """Make what lasts as long as the application; ``dependencies`` hands it to routes."""
    app.state.settings = settings
    app.state.began_at = clock()
    app.state.metrics = CollectorRegistry(auto_describe=False)
    app.state.request_figures = RequestFigures(app.state.metrics)
    app.state.routes = routes()
    app.state.database = database
    app.state.clock = clock
    app.state.college_zone = CollegeZone(shared=not database.is_sqlite)
    app.state.catalogue = Catalogue(settings.exercises, published_in(database))
    app.state.drafts = DraftReader(read)
    app.state.draft_checker = DraftChecker(database, app.state.drafts)
    app.state.looks = Looks()
    app.state.regrader = Regrader(database)
    app.state.sheets = Sheets()
    app.state.held = Held()
    app.state.sign_in_line = SignInLine()
    app.state.open_sockets = OpenSockets(database, clock, settings.idle)
    app.state.worker = (
        Worker(database, app.state.catalogue, clock, mark_one)
        if database.is_sqlite
        else Queue(database)
    )
    app.state.trial_runs = trial.runs_of(database, clock)
    outside = Outside(clock)
    app.state.outside = outside
    app.state.errands = Errands()
    app.state.key_sets = KeySets(outside)
    app.state.services = Services(outside, AccessTokens(outside, database, settings.key_secret))
    app.state.openid = (
        OpenId(outside, app.state.key_sets, settings.openid) if settings.openid else None
    )
    app.state.senders = (
        Sender("scores", partial(send_due, database, app.state.services), clock),
        Sender("mails", CourseMail(database, settings).send_due, clock),
        Sender("sittings", partial(close_sittings, database, app.state.worker), clock),
    )


@asynccontextmanager
async def _running(app: FastAPI) -> AsyncIterator[None]:
    """While the application runs, queued submissions are marked and trial runs go on."""
    current_default_thread_limiter().total_tokens = REQUEST_THREADS
    app.state.worker.start()
    app.state.trial_runs.start()
    app.state.open_sockets.start()
    if app.state.database.is_sqlite:
        # Beside PostgreSQL the workers send.
        for sender in app.state.senders:
            sender.start()
    # What is loaded by now lives as long as the process; a collection that goes through all of it
    # holds up whoever is editing just then for a tenth of a second.
    gc.collect()
    gc.freeze()
    yield
    await app.state.open_sockets.stop()
    await app.state.trial_runs.stop()
    app.state.worker.stop()
    for sender in app.state.senders:
        sender.stop()
    app.state.outside.close()
    app.state.draft_checker.stop()


def routes() -> list[APIRoute | APIWebSocketRoute]:
    """Return every route of the application, static files apart."""
    return [
        route
        for router in ROUTERS
        for route in router.routes
        if isinstance(route, APIRoute | APIWebSocketRoute)
    ]


def _demand_rules() -> None:
    names = [route.name for route in routes()]
    if len(names) != len(set(names)) or set(names) != set(RULES):
        raise RuntimeError(
            "Each route needs a name of its own and a rule in access.RULES; look at "
            f"{sorted(set(names) ^ set(RULES)) or sorted(names)}."
        )
