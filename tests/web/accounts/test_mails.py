"""The page on which somebody chooses their mails."""

from server.store.database import Database
from server.store.mail_outbox import MailKind, turned_off
from tests.web.lab import ClientFor, Lab


def test_a_kind_is_turned_off_and_on_again(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    client = client_for(lab.student)
    assert client.get("/mail").text.count(" checked>") == len(MailKind)
    for wanted in ([], ["comment", "due soon"]):
        assert client.post("/mail", data={"kind": wanted}).status_code == 303
        assert client.get("/mail").text.count(" checked>") == len(wanted)
        with database.read() as session:
            assert turned_off(session, lab.student.id) == set(MailKind) - set(wanted)
    assert client.post("/mail", data={"kind": "everything"}).status_code == 422
    assert client_for(lab.instructor).get("/mail").text.count(" checked>") == len(MailKind)
