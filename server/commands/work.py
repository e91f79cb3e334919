"""Mark submissions, beside web processes on PostgreSQL."""

import argparse
from contextlib import closing
from functools import partial
from pathlib import Path

from server.commands.database import refuse
from server.commands.marking_process import marking_for
from server.commands.progress import say
from server.data_folder import keep_private
from server.jobs.queue import Queue, announce, work
from server.jobs.sitting_closer import close_sittings
from server.jobs.work_process import WorkProcess
from server.jobs.worker import MARKING_SECONDS, mark_in_time
from server.logs import begin_log
from server.remote.access_tokens import AccessTokens
from server.remote.course_mail import CourseMail
from server.remote.http import Outside
from server.remote.outbox import send_due
from server.remote.sender import Sender
from server.remote.services import Services
from server.settings import SettingTrouble, read_settings
from server.store.connections import WORKER_POOL, WORKING, connections_now
from server.store.database import Database, DatabaseTrouble
from server.store.local_time import utc_clock
from server.store.migration import migrate

EXAMPLES = ("rungmark work",)

EXIT_STATUS = {
    0: "stopped",
    2: "there is no PostgreSQL database to work for, or a setting can't be used",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Mark what is submitted, one program after another, until SIGTERM or Ctrl+C.\n"
        "Start one for each core that is to mark, on any machine that reaches the database."
    )


def run(arguments: argparse.Namespace) -> int:
    """2, with one sentence, when there is no PostgreSQL to work for."""
    keep_private()
    try:
        settings = read_settings(Path("data"), "127.0.0.1", 8131)
        begin_log(settings.log_level)
        with closing(
            Database(settings.database_url, most=WORKER_POOL, process=WORKING)
        ) as database:
            if database.is_sqlite:
                raise DatabaseTrouble(
                    "On SQLite `rungmark serve` marks by itself. "
                    "Name a PostgreSQL database with RUNGMARK_DATABASE_URL."
                )
            migrate(database)
            process = WorkProcess(
                "marking", partial(marking_for, settings, announce), MARKING_SECONDS
            )
            process.start()
            outside = Outside()
            tokens = AccessTokens(outside, database, settings.key_secret)
            services = Services(outside, tokens)
            senders = (
                Sender("scores", partial(send_due, database, services), utc_clock),
                Sender("mails", CourseMail(database, settings).send_due, utc_clock),
                Sender("sittings", partial(close_sittings, database, Queue(database)), utc_clock),
            )
            for sender in senders:
                sender.start()
            say(connections_now(database).describe(WORKING))
            say("Marking what is submitted (stop it with Ctrl+C)")
            try:
                work(database, mark_in_time(process, database, announce), utc_clock)
            finally:
                process.close()
                for sender in senders:
                    sender.stop()
                outside.close()
    except (DatabaseTrouble, SettingTrouble) as trouble:
        return refuse("work", trouble)
    return 0
