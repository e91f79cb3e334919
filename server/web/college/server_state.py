"""How the server is, for the administrator: the queue, workers, the LMS outbox, requests."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from server.store.gauges import marking_now
from server.store.lti_outbox import outbox_now
from server.store.mail_outbox import mails_now
from server.web.build import versions
from server.web.dependencies import DatabaseHere, Now, Reading, WorkerHere
from server.web.operation import WINDOW
from server.web.rendering import page
from server.web.request_figures import BOUNDS

router = APIRouter()


@router.get("/server")
def server_state(
    request: Request, session: Reading, database: DatabaseHere, worker: WorkerHere, now: Now
) -> Response:
    """Show how the server is at this moment; requests are those of the process that answers."""
    state = request.app.state
    return page(
        request,
        "college/server.html",
        now=now,
        began_at=state.began_at,
        versions=versions(),
        database=database.place,
        marking=marking_now(session, now, WINDOW),
        window_minutes=int(WINDOW.total_seconds() // 60),
        workers=worker.count_alive(session),
        outbox=outbox_now(session),
        mails=mails_now(session),
        live_runs=sum(1 for _ in state.trial_runs),
        routes=state.request_figures.by_route(),
        slowest=BOUNDS[-1],
    )
