"""Sends the scores that wait, outside any unit of work, and notes what became of each."""

from datetime import datetime

from sqlalchemy.orm import Session

from server.remote.http import NoAnswer, NotTaken
from server.remote.own_keys import KeyTrouble
from server.remote.services import Score, Services, WantedLineItem
from server.store.database import Database
from server.store.lti import LineItem, LtiLink, OutgoingScore
from server.store.lti_outbox import any_due, claim_due, note_failed, note_sent, subjects_of

FIXES = {
    400: "The LMS finds the score malformed. Ask its administrator what it demands.",
    401: "The LMS refuses our sign-in. The administrators compare client id and key set address.",
    403: "The LMS does not permit us to send grades. Its administrator grants the grade service.",
    404: "The column was deleted in the LMS. Send again to create a new one.",
}


def explain_refusal(trouble: NotTaken) -> str:
    """Return what an instructor reads of a refusal, with what fixes it."""
    return FIXES.get(trouble.status, str(trouble))


def send_due(database: Database, services: Services, now: datetime) -> int:
    """Send what is due; how many scores the platforms took.

    A platform that does not answer is asked once; its other scores wait as long as that one.
    """
    with database.read() as session:
        if not any_due(session, now):
            return 0
    with database.write() as session:
        claimed = claim_due(session, now)
    away: dict[int, NoAnswer] = {}
    taken = 0
    for score in claimed:
        platform = score.link.context.platform_id
        try:
            if platform in away:
                raise away[platform]
            _send(database, services, score, now)
        except NoAnswer as trouble:
            away[platform] = trouble
            with database.write() as session:
                note_failed(session, score.id, score.version, str(trouble), now, wait=trouble.wait)
        except (NotTaken, KeyTrouble) as trouble:
            sentence = explain_refusal(trouble) if isinstance(trouble, NotTaken) else str(trouble)
            with database.write() as session:
                note_failed(session, score.id, score.version, sentence, now, stop=True)
        else:
            taken += 1
            with database.write() as session:
                note_sent(session, score.id, score.version)
    return taken


def _send(database: Database, services: Services, score: OutgoingScore, now: datetime) -> None:
    course = score.link.context
    with database.read() as session:
        subject = subjects_of(session, course.platform_id, [score.user_id]).get(score.user_id)
        address = _line_item_of(session, score)
    if subject is None:
        raise NotTaken("The LMS no longer knows this student here. They open the exercise from it.")
    if address is None:
        link = score.link
        if link.line_items is None or link.assignment is None:
            raise NotTaken("The LMS offers no column for grades. Its link must be graded there.")
        wanted = WantedLineItem(
            label=f"{link.assignment.title} {score.requirement}".strip(),
            most=score.max_points,
            resource_id=f"assignment-{link.assignment.id}",
            tag=score.requirement,
            resource_link_id=link.resource_link_id,
        )
        address = services.line_item(course, link.line_items, wanted, now)
        with database.write() as session:
            _keep_line_item(session, score, address)
    outgoing = Score(
        subject,
        score.points,
        score.max_points,
        score.made_at,
        score.submitted_at,
        score.comment,
        score.pending,
    )
    services.post_score(course, address, outgoing, now)


def _line_item_of(session: Session, score: OutgoingScore) -> str | None:
    if not score.requirement:
        return session.get_one(LtiLink, score.link_id).line_item
    made = session.get(LineItem, (score.link_id, score.requirement))
    return made.address if made else None


def _keep_line_item(session: Session, score: OutgoingScore, address: str) -> None:
    if score.requirement:
        session.merge(
            LineItem(link_id=score.link_id, requirement=score.requirement, address=address)
        )
    else:
        session.get_one(LtiLink, score.link_id).line_item = address
