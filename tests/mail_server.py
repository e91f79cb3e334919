"""A real SMTP server on this machine, and what it took."""

import email
import socket
from asyncio import Server, Transport, get_running_loop
from collections.abc import Iterator
from contextlib import contextmanager
from email.message import Message
from email.policy import default

from aiosmtpd.smtp import SMTP, Envelope, Session
from anyio.from_thread import start_blocking_portal

from server.settings import MailServer


class Letters:
    """What the server took; ``answers`` are what it says to the next messages instead.

    None there: it drops the connection while it has the message.
    """

    def __init__(self) -> None:
        self.taken: list[tuple[list[str], Message]] = []
        self.answers: list[str | None] = []
        self.server = MailServer("127.0.0.1", 0, False, "", "")

    async def handle_DATA(  # noqa: N802 (aiosmtpd's name)
        self, server: SMTP, _session: Session, envelope: Envelope
    ) -> str:
        if self.answers:
            answer = self.answers.pop(0)
            if answer is not None:
                return answer
            assert isinstance(server.transport, Transport)
            server.transport.abort()
        assert isinstance(envelope.content, bytes)
        message = email.message_from_bytes(envelope.content, policy=default)
        self.taken.append((envelope.rcpt_tos, message))
        return "250 taken"


@contextmanager
def mail_server() -> Iterator[Letters]:
    """Run a server; it is gone afterwards."""
    letters = Letters()
    with socket.create_server(("127.0.0.1", 0)) as listening, start_blocking_portal() as portal:

        async def start() -> Server:
            loop = get_running_loop()
            return await loop.create_server(
                lambda: SMTP(letters, hostname="127.0.0.1"), sock=listening
            )

        server = portal.call(start)
        letters.server = MailServer("127.0.0.1", listening.getsockname()[1], False, "", "")
        yield letters
        portal.call(server.close)
