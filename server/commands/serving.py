"""The server behind `rungmark serve`, and what it does before it answers."""

import socket
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from server.commands.account import first_account_command
from server.commands.database import refuse
from server.commands.marking_process import marking_for, settle
from server.commands.progress import say
from server.data_folder import held_alone, keep_private, make_folder, reason
from server.demo import course as demo_course
from server.jobs.draft_reader import READING_SECONDS, WAITING_SECONDS, prepare_reading
from server.jobs.verdict_news import Verdicts
from server.jobs.work_process import WorkProcess
from server.jobs.worker import MARKING_SECONDS, mark_in_time
from server.logs import begin_log
from server.marking.files.catalogue import Catalogue, start_program
from server.marking.marking import mark as mark_program
from server.scan.cache_folder import cache_folder, has_kernels
from server.settings import (
    Settings,
    SettingTrouble,
    is_every_address,
    own_addresses,
    read_settings,
)
from server.socket_reading import SocketInPieces
from server.store.college import has_time_zone, set_time_zone
from server.store.connections import SERVING, WEB_POOL, connections_now
from server.store.database import Database, DatabaseTrouble
from server.store.migration import migrate
from server.store.people import has_people
from server.web.app import create_app
from server.web.operation import is_here
from server.web.trial.limits import MAX_COMMAND_BYTES


def serve_pages(data: Path, host: str, port: int, *, demo: bool) -> int:
    """Serve until stopped; 2 if it can't begin, with one sentence that says why."""
    keep_private()
    try:
        settings = read_settings(data, host, port)
        begin_log(settings.log_level)
        with (
            listen(host, port) as listening,
            opened(settings, data) as database,
            closing(
                WorkProcess("marking", partial(marking_for, settings), MARKING_SECONDS)
            ) as marker,
            closing(WorkProcess("reading", prepare_reading, READING_SECONDS)) as reader,
        ):
            if not has_kernels():
                compile_kernels(settings)
            if demo:
                # Whoever tries the demo has set up no second factor.
                settings = replace(settings, second_factor_required=False)
                load_demo(database, settings)
                say(demo_course.accounts())
            _say_where(database, settings, data, listening)
            if database.is_sqlite:
                marker.start()
            reader.start()
            app = create_app(
                settings,
                database,
                mark_one=mark_in_time(marker, database),
                read=partial(reader.ask, patience=WAITING_SECONDS),
            )
            serve(app, listening)
    except (DatabaseTrouble, SettingTrouble, CannotListen) as trouble:
        return refuse("serve", trouble)
    return 0


def prepare_start(demo_data: Path | None) -> int:
    """Compile the kernels and load the demo into a folder; 2, with one sentence, if it can't be."""
    keep_private()
    try:
        settings = read_settings(demo_data or Path("data"), "127.0.0.1", 8131)
        begin_log(settings.log_level)
        compile_kernels(settings)
        if demo_data is not None:
            with opened(settings, demo_data) as database:
                load_demo(database, settings)
                say(f"The demo is in {database.place}.")
    except (DatabaseTrouble, SettingTrouble) as trouble:
        return refuse("prepare", trouble)
    say(f"The kernels are in {cache_folder()}.")
    return 0


def compile_kernels(settings: Settings) -> None:
    """Compile, for this machine, what marking and trial runs use: a minute, once.

    Each exercise's first right program is marked, since a kernel is compiled when first used.
    """
    catalogue = Catalogue(settings.exercises)
    slugs = catalogue.slugs()
    for number, slug in enumerate(slugs, 1):
        say(f"Compiling the kernels for this machine: exercise {number} of {len(slugs)}")
        exercise = catalogue.find(slug)
        if exercise is not None:
            mark_program(exercise, next(iter(exercise.references), start_program(exercise)))


def load_demo(database: Database, settings: Settings) -> None:
    """Load the demo course, unless it is there. Raises DatabaseTrouble for a real course."""
    with database.read() as session:
        if demo_course.is_loaded(session):
            return
    exercises = Catalogue(settings.exercises).shipped()
    with database.write() as session:
        now = datetime.now(UTC)
        demo_course.load_demo(session, exercises, now, settings.exercises, say)


def _say_where(
    database: Database, settings: Settings, data: Path, listening: socket.socket
) -> None:
    """Say how the first person comes in, and at which addresses browsers find the server."""
    host, port, *_ = listening.getsockname()
    with database.read() as session:
        if not has_people(session):
            say(
                "Nobody has an account yet. In another terminal, add an administrator:"
                f"\n  {first_account_command(data, port)}"
            )
    if settings.public_urls == own_addresses(host, port) and not is_here(host):
        say(
            f"Browsers can use it at {' '.join(settings.public_urls)} only. For any other address, "
            "list all that browsers use in RUNGMARK_PUBLIC_URLS, separated by spaces."
        )
    if not database.is_sqlite:
        say(connections_now(database).describe(SERVING))
    say(f"Rungmark is at {settings.public_urls[0]} (stop it with Ctrl+C)")


def serve(app: FastAPI, listening: socket.socket) -> None:
    """Answer requests until Ctrl+C, which is how one stops it, and finish those begun."""
    config = uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        server_header=False,
        ws=SocketInPieces,
        # A trial run's commands are short.
        ws_max_size=MAX_COMMAND_BYTES,
        # A socket of a live run is told and closed; a request has so long to be answered.
        timeout_graceful_shutdown=10,
    )
    settle()
    with suppress(KeyboardInterrupt):
        _Server(config, app).run(sockets=[listening])


class _Server(uvicorn.Server):
    """Answers the requests that wait for a verdict as soon as it is to stop."""

    def __init__(self, config: uvicorn.Config, app: FastAPI) -> None:
        super().__init__(config)
        self._verdicts: Verdicts = app.state.worker.verdicts

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._verdicts.close()
        await super().shutdown(sockets)


class CannotListen(Exception):
    """The address can't be listened on; the text says why and how to fix it."""


def listen(host: str, port: int) -> socket.socket:
    """Return a socket on this address, taken before anything else is begun."""
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        # Every address means those of both kinds.
        both = family is socket.AF_INET6 and is_every_address(host) and socket.has_dualstack_ipv6()
        return socket.create_server((host, port), family=family, dualstack_ipv6=both)
    except (socket.gaierror, UnicodeError) as error:
        raise CannotListen(f"There is no address {host}. Name another with --host.") from error
    except OSError as error:
        raise CannotListen(
            f"Port {port} of {host} can't be taken: {reason(error)}. "
            "Stop the program that uses it, or name another with --port."
        ) from error


@contextmanager
def opened(settings: Settings, data: Path) -> Iterator[Database]:
    """Yield the database, made or brought up to date; on SQLite no other server may use it."""
    if settings.database_url.startswith("sqlite"):
        make_folder(data)
    with (
        closing(Database(settings.database_url, most=WEB_POOL, process=SERVING)) as database,
        held_alone(database),
    ):
        migrate(database)
        with database.write() as session:
            if not has_time_zone(session):
                set_time_zone(session, settings.time_zone)
        yield database
