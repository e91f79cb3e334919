"""Mail: sent by SMTP or, where no server is set, written to files in a folder."""

import secrets
import smtplib
import ssl
from contextlib import ExitStack, suppress
from datetime import datetime
from email.message import EmailMessage

from server.remote.http import LOOPBACK
from server.settings import MailServer, Settings

SECONDS = 10.0
"""For each step of the exchange with the server."""

PERMANENT = 500
"""Replies from here on are refusals for good (RFC 5321, section 4.2.1)."""


class MailRefused(OSError):
    """The server will never take the message."""


class MailMaybeSent(OSError):
    """The connection was lost while the server had the message; it may have taken it."""


def send_mail(
    settings: Settings, to: str, subject: str, text: str, now: datetime, id: str = ""
) -> None:
    """Send one message of plain text; ``id`` is its Message-ID.

    Raises OSError, of which smtplib's errors are kinds: MailRefused and MailMaybeSent where trying
    again is of no use, or might send it twice.
    """
    message = EmailMessage()
    message["From"], message["To"], message["Subject"] = settings.mail_from, to, subject
    message["Date"] = now
    if id:
        message["Message-ID"] = id
    # Other programs answer no mail that says so (RFC 3834, section 5; from memory).
    message["Auto-Submitted"] = "auto-generated"
    message.set_content(text)
    if settings.mail_server is not None:
        _hand_over(settings.mail_server, message)
        return
    folder = settings.mail_folder
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    name = f"{now:%Y%m%d-%H%M%S}-{secrets.token_hex(4)}.eml"
    (folder / name).write_bytes(bytes(message))


def _hand_over(server: MailServer, message: EmailMessage) -> None:
    """Give a message to the server: over TLS, unless it is on this machine and offers none."""
    context = ssl.create_default_context()
    with ExitStack() as stack:
        if server.tls:
            secure = smtplib.SMTP_SSL(server.host, server.port, timeout=SECONDS, context=context)
            client: smtplib.SMTP = stack.enter_context(secure)
        else:
            client = stack.enter_context(smtplib.SMTP(server.host, server.port, timeout=SECONDS))
            client.ehlo()
            if server.host not in LOOPBACK or client.has_extn("starttls"):
                client.starttls(context=context)
        if server.user:
            client.login(server.user, server.password)
        _send(client, message)
        # It is taken: nothing that goes wrong while parting matters.
        stack.pop_all()
        with suppress(OSError):
            client.quit()


def _send(client: smtplib.SMTP, message: EmailMessage) -> None:
    try:
        client.send_message(message)
    except smtplib.SMTPRecipientsRefused as refused:
        if all(code >= PERMANENT for code, _ in refused.recipients.values()):
            raise MailRefused("The mail server does not know the address.") from refused
        raise
    except smtplib.SMTPResponseException as refused:
        if refused.smtp_code >= PERMANENT:
            raise MailRefused(f"The mail server refused it ({refused.smtp_code}).") from refused
        raise
    except OSError as lost:
        if isinstance(lost, smtplib.SMTPException | TimeoutError | ConnectionError):
            raise MailMaybeSent("The mail server was lost on the way; it may be sent.") from lost
        raise
