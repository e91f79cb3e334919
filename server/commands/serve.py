"""Serve the course pages on this machine."""

import argparse
import gc
import socket
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from server.commands.account import first_account_command
from server.data_folder import held_alone, keep_private, make_folder, reason
from server.demo import course as demo
from server.jobs.draft_reader import READING_SECONDS, WAITING_SECONDS, prepare_reading
from server.jobs.verdict_news import Verdicts
from server.jobs.work_process import WorkProcess
from server.jobs.worker import MARKING_SECONDS, Announce, MarkOne, get_ready, mark, mark_in_time
from server.logs import begin_log
from server.marking.files.catalogue import Catalogue
from server.settings import Settings, SettingTrouble, read_settings
from server.socket_reading import SocketInPieces
from server.store.college import has_time_zone, set_time_zone
from server.store.database import Database, DatabaseTrouble
from server.store.migration import migrate
from server.store.people import has_people
from server.web.app import create_app
from server.web.authoring.sheet import published_in
from server.web.dependencies import utc_clock
from server.web.trial.limits import MAX_COMMAND_BYTES


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--demo", action="store_true", help="load an invented course")
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (%(default)s)")
    parser.add_argument("--port", type=port_number, default=8131, help="(%(default)s)")
    parser.add_argument(
        "--data",
        type=Path,
        metavar="DIR",
        help="folder of the database (data, and data-demo for the demo)",
    )


def port_number(text: str) -> int:
    if text.isdecimal() and 0 < int(text) < 65536:
        return int(text)
    raise argparse.ArgumentTypeError(f"{text!r} is no port; name a number from 1 to 65535")


def run(arguments: argparse.Namespace) -> int:
    """Serve until stopped; 2 if it can't begin, with one sentence that says why."""
    keep_private()
    data = arguments.data or Path("data-demo" if arguments.demo else "data")
    try:
        settings = read_settings(data, arguments.host, arguments.port)
        begin_log(settings.log_level)
        with (
            listen(arguments.host, arguments.port) as listening,
            opened(settings, data) as database,
            closing(
                WorkProcess("marking", partial(marking_for, settings), MARKING_SECONDS)
            ) as marker,
            closing(WorkProcess("reading", prepare_reading, READING_SECONDS)) as reader,
        ):
            with database.write() as session:
                if not has_time_zone(session):
                    set_time_zone(session, settings.time_zone)
            if arguments.demo:
                # Whoever tries the demo has set up no second factor.
                settings = replace(settings, second_factor_required=False)
                with database.write() as session:
                    found = Catalogue(settings.exercises).shipped()
                    demo.load_demo(session, found, datetime.now(UTC), settings.exercises)
                print(demo.accounts())
            with database.read() as session:
                if not has_people(session):
                    print(
                        "Nobody has an account yet. In another terminal, add an administrator:"
                        f"\n  {first_account_command(data, arguments.port)}"
                    )
            print(f"Rungmark is at {settings.public_urls[0]} (stop it with Ctrl+C)", flush=True)
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
        print(f"rungmark serve: {trouble}", file=sys.stderr)
        return 2
    return 0


def marking_for(settings: Settings, announce: Announce | None = None) -> MarkOne:
    """Return what marks in a process of its own; the kernel is loaded by then."""
    begin_log(settings.log_level)
    database = Database(settings.database_url)
    catalogue = Catalogue(settings.exercises, published_in(database))
    get_ready(catalogue)
    settle()
    return lambda submission_id: mark(database, catalogue, submission_id, utc_clock, announce)


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


def settle() -> None:
    """Leave what is loaded by now out of each later collection of garbage, which it made slow."""
    gc.collect()
    gc.freeze()


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
        return socket.create_server((host, port), family=family)
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
    with closing(Database(settings.database_url)) as database, held_alone(database):
        migrate(database)
        yield database
