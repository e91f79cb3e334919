"""What a route may ask for: a unit of work, the settings, the time.

A route that returns commits its unit of work, and only then is its answer sent; a route that
raises rolls everything back.
"""

from collections.abc import AsyncIterator, Iterator
from datetime import datetime
from typing import Annotated

from fastapi import Depends
from sqlalchemy.orm import Session
from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection

from server.jobs.queue import Queue
from server.jobs.worker import Worker
from server.marking.files.catalogue import Catalogue
from server.remote.key_sets import KeySets
from server.remote.services import Services
from server.settings import Settings
from server.store.database import Database
from server.web.time_zone import CollegeZone

# What only looks something up is asynchronous: any other dependency is called in a thread, which
# takes longer than the call.


async def settings(connection: HTTPConnection) -> Settings:
    found: Settings = connection.app.state.settings
    return found


async def database(connection: HTTPConnection) -> Database:
    found: Database = connection.app.state.database
    return found


async def catalogue(connection: HTTPConnection) -> Catalogue:
    found: Catalogue = connection.app.state.catalogue
    return found


async def worker(connection: HTTPConnection) -> Worker | Queue:
    found: Worker | Queue = connection.app.state.worker
    return found


async def key_sets(connection: HTTPConnection) -> KeySets:
    found: KeySets = connection.app.state.key_sets
    return found


async def services(connection: HTTPConnection) -> Services:
    found: Services = connection.app.state.services
    return found


async def college_zone(connection: HTTPConnection) -> CollegeZone:
    found: CollegeZone = connection.app.state.college_zone
    return found


async def now(connection: HTTPConnection) -> datetime:
    """Return the moment of this request, with time zone; tests set the application's clock."""
    moment: datetime = connection.app.state.clock()
    return moment


async def reading(found: Annotated[Database, Depends(database)]) -> AsyncIterator[Session]:
    """Yield one session for all that a request reads.

    The access rule is the first to ask for it.
    """
    with found.read() as session:
        end = session.rollback
        try:
            yield session
            end = session.commit
        finally:
            if session.in_transaction():
                # The event loop does not wait for the database.
                await run_in_threadpool(end)


def release_connection(session: Session) -> None:
    """End a reading at the end of a dependency; what was read stays known to the session.

    The route waits for a thread, or for news. Were a connection held meanwhile, those who wait for
    a thread could hold them all, and those who have a thread wait for one of them.
    """
    session.commit()


def writing(found: Annotated[Database, Depends(database)]) -> Iterator[Session]:
    with found.write() as session:
        yield session


SettingsHere = Annotated[Settings, Depends(settings)]
DatabaseHere = Annotated[Database, Depends(database)]
CatalogueHere = Annotated[Catalogue, Depends(catalogue)]
WorkerHere = Annotated[Worker | Queue, Depends(worker)]
KeySetsHere = Annotated[KeySets, Depends(key_sets)]
ServicesHere = Annotated[Services, Depends(services)]
CollegeZoneHere = Annotated[CollegeZone, Depends(college_zone)]
Now = Annotated[datetime, Depends(now)]
# With the default scope the commit would come after the answer, which might then be a lie.
Reading = Annotated[Session, Depends(reading, scope="function")]
Writing = Annotated[Session, Depends(writing, scope="function")]
