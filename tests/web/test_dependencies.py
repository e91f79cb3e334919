"""The session that a request reads with, when the database goes away meanwhile."""

import pytest
from fastapi import FastAPI
from sqlalchemy import text
from sqlalchemy.exc import OperationalError
from starlette.testclient import TestClient

from server.store.database import Database
from server.web.dependencies import Reading


def test_a_lost_connection_is_told_as_what_it_is(database: Database) -> None:
    app = FastAPI()
    app.state.database = database

    @app.get("/")
    def lose_it(session: Reading) -> None:
        session.execute(text("SELECT 1"))
        session.connection().invalidate()
        raise OperationalError("SELECT", {}, Exception("it is gone"))

    with pytest.raises(OperationalError, match="it is gone"):
        TestClient(app).get("/")
