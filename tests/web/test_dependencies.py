"""The session that a request reads with, when the database goes away meanwhile."""

import asyncio
from contextlib import asynccontextmanager

import pytest
from sqlalchemy import text
from sqlalchemy.exc import OperationalError

from server.store.database import Database
from server.web.dependencies import reading


def test_a_lost_connection_is_told_as_what_it_is(database: Database) -> None:
    async def lose_it() -> None:
        async with asynccontextmanager(reading)(database) as session:
            session.execute(text("SELECT 1"))
            session.connection().invalidate()
            raise OperationalError("SELECT", {}, Exception("it is gone"))

    with pytest.raises(OperationalError, match="it is gone"):
        asyncio.run(lose_it())


def test_a_reading_is_over_at_its_end(database: Database) -> None:
    async def read() -> None:
        async with asynccontextmanager(reading)(database) as session:
            session.execute(text("SELECT 1"))
        assert not session.in_transaction()

    asyncio.run(read())
