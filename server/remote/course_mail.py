"""Mails about course work: a verdict that changed, a comment, more time, something due tomorrow.

A mail tells that there is news and where to read it. Points, comments and reasons stay on the
pages, where one signs in.
"""

import logging
from datetime import datetime, timedelta
from smtplib import SMTPDataError, SMTPRecipientsRefused, SMTPSenderRefused
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from server.remote.mail import MailMaybeSent, MailRefused, send_mail
from server.settings import Settings
from server.store.college import time_zone
from server.store.database import Database
from server.store.due_soon import queue_due_soon
from server.store.mail_outbox import (
    MailKind,
    OutgoingMail,
    any_mail_due,
    claim_mails,
    forget_old_mails,
    note_mail_failed,
    note_mail_sent,
)

LOOK = timedelta(minutes=10)
"""So often due dates are looked through."""

OF_ONE_MAIL = (SMTPDataError, SMTPRecipientsRefused, SMTPSenderRefused)
"""Errors that say nothing of the next mail."""

log = logging.getLogger(__name__)

WORDS = {
    MailKind.MARKED_AGAIN: (
        "Marked again: {title}",
        "The exercise {title} was changed, and what you submitted was marked again.",
    ),
    MailKind.COMMENT: (
        "A comment on {title}",
        "An instructor commented on what you submitted for {title}.",
    ),
    MailKind.MORE_TIME: ("More time for {title}", "You have until {when} for {title}."),
    MailKind.DUE_SOON: ("Due soon: {title}", "{title} is due {when}."),
}

TEXT = """\
{news}

{section}
{site}{path}

You get this mail from {site}. Choose which mails you get:
{site}/mail
"""


class CourseMail:
    """Queues what falls due and sends what waits; one round after another."""

    def __init__(self, database: Database, settings: Settings) -> None:
        self._database = database
        self._settings = settings
        self._looked_at: datetime | None = None

    def send_due(self, now: datetime) -> int:
        """Send every mail whose time has come; how many the server took.

        A server that does not answer is asked once; the other mails wait like that one.
        """
        self._look_for_due_dates(now)
        with self._database.read() as session:
            if not any_mail_due(session, now):
                return 0
            zone = time_zone(session)
        with self._database.write() as session:
            claimed = claim_mails(session, now)
        taken, away = 0, ""
        for mail in claimed:
            trouble, stop = away, False
            if not away:
                subject, text = compose(mail, self._settings, zone)
                try:
                    send_mail(self._settings, mail.user.email, subject, text, now, self._id(mail))
                except MailRefused as refused:
                    trouble, stop = str(refused), True
                except MailMaybeSent as lost:
                    trouble, stop = str(lost), True
                except OSError as error:
                    log.error("mail could not be sent: %s", type(error).__name__)
                    trouble = f"The mail server did not take it ({type(error).__name__})."
                    if not isinstance(error, OF_ONE_MAIL):
                        away = trouble
            with self._database.write() as session:
                if trouble:
                    note_mail_failed(session, mail.id, trouble, now, stop=stop)
                else:
                    note_mail_sent(session, mail.id)
                    taken += 1
        return taken

    def _id(self, mail: OutgoingMail) -> str:
        """Return the same id for a mail however often it is tried."""
        return f"<mail-{mail.id}@{urlsplit(self._settings.public_urls[0]).hostname}>"

    def _look_for_due_dates(self, now: datetime) -> None:
        if self._looked_at is not None and now - self._looked_at < LOOK:
            return
        with self._database.write() as session:
            queue_due_soon(session, now)
            forget_old_mails(session, now)
        self._looked_at = now


def compose(mail: OutgoingMail, settings: Settings, zone: ZoneInfo) -> tuple[str, str]:
    """Return subject and text of a mail; times are the college's."""
    subject, news = WORDS[mail.kind]
    words = {"title": mail.assignment.title, "when": ""}
    if mail.kind in (MailKind.MORE_TIME, MailKind.DUE_SOON):
        due_at = datetime.fromisoformat(mail.about).astimezone(zone)
        words["when"] = f"{due_at:%A, %B} {due_at.day}, {due_at:%H:%M %Z}"
    text = TEXT.format(
        news=news.format(**words),
        section=mail.assignment.section.title_with_term,
        site=settings.public_urls[0],
        path=mail.path,
    )
    # A line break in a title would end the header.
    return " ".join(subject.format(**words).split()), text
