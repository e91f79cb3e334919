"""What the least that a FastAPI application can do costs on this machine, to compare with.

Two routes on a database of their own, written the way one writes them first: one reads 20 rows and
fills a small template, the other takes a form and inserts a row before that. A submission takes at
least two requests that write, the edit and the submission itself, and one that reads, the verdict's
page: ``ask_bare`` sends as many to these routes. ``python -m tests.load.bare URL`` serves them.
"""

import asyncio
import socket
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Annotated

import aiohttp
import uvicorn
from fastapi import Depends, FastAPI, Form
from jinja2 import Environment
from sqlalchemy import String, select
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, mapped_column
from starlette.responses import Response

from server.store.database import Database, UtcDateTime

ROWS = 20
AT_ONCE = 4

PAGE = """<!doctype html><html lang="en"><head><title>{{ title }}</title></head><body>
<h1>{{ title }}</h1><table>
{% for each in notes %}<tr><td>{{ each.id }}</td><td>{{ each.author }}</td><td>{{ each.text }}</td>
<td>{{ each.written_at.isoformat() }}</td></tr>
{% endfor %}</table></body></html>"""


class Base(DeclarativeBase):
    type_annotation_map = {datetime: UtcDateTime}  # noqa: RUF012


class Note(Base):
    __tablename__ = "bare_notes"

    id: Mapped[int] = mapped_column(primary_key=True)
    author: Mapped[str] = mapped_column(String(80))
    text: Mapped[str]
    written_at: Mapped[datetime]


def bare_app(database: Database) -> FastAPI:
    """The two routes on ``database``, whose connections are as the real server has them."""
    app = FastAPI()
    template = Environment(autoescape=True).from_string(PAGE)

    def writing() -> Iterator[Session]:
        with database.write() as session:
            yield session

    def reading() -> Iterator[Session]:
        with database.read() as session:
            yield session

    def filled(session: Session) -> Response:
        newest = select(Note).order_by(Note.id.desc()).limit(ROWS)
        notes = session.scalars(newest).all()
        return Response(template.render(title="Notes", notes=notes), media_type="text/html")

    @app.get("/notes")
    def read(session: Annotated[Session, Depends(reading)]) -> Response:
        return filled(session)

    @app.post("/notes")
    def write(
        session: Annotated[Session, Depends(writing)],
        author: Annotated[str, Form()],
        text: Annotated[str, Form()],
    ) -> Response:
        session.add(Note(author=author, text=text, written_at=datetime.now(UTC)))
        session.flush()
        return filled(session)

    return app


async def ask_bare(port: int, rounds: int) -> None:
    """Send two requests that write and one that reads, ``rounds`` times."""
    address = f"http://127.0.0.1:{port}/notes"
    gate = asyncio.Semaphore(AT_ONCE)
    async with aiohttp.ClientSession() as client:

        async def one(number: int) -> None:
            async with gate:
                data = {"author": f"Student {number}", "text": f"Try {number}"}
                for method, form in (("POST", data), ("POST", data), ("GET", None)):
                    async with client.request(method, address, data=form) as answer:
                        await answer.read()
                        answer.raise_for_status()

        await asyncio.gather(*(one(number) for number in range(rounds)))


def interpreter_ms() -> float:
    """Processor milliseconds for a million steps of a loop in plain Python: the machine's speed."""
    spent = []
    for _ in range(5):
        begun, total = time.process_time(), 0
        for number in range(1_000_000):
            total += number & 3
        spent.append(1000 * (time.process_time() - begun))
    return min(spent)


def main(url: str) -> None:
    database = Database(url)
    Base.metadata.create_all(database.engine)
    with database.write() as session:
        for number in range(ROWS):
            session.add(Note(author=f"Student {number}", text="-", written_at=datetime.now(UTC)))
    listening = socket.create_server(("127.0.0.1", 0))
    print(listening.getsockname()[1], flush=True)
    config = uvicorn.Config(bare_app(database), log_config=None, access_log=False)
    uvicorn.Server(config).run(sockets=[listening])


if __name__ == "__main__":
    main(sys.argv[1])
