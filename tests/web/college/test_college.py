"""The administrator's pages: a link for a new password, a person's data handed out and erased."""

import csv
import io
import re

from sqlalchemy import select

from server.marking.verdict import Status
from server.store.attempts import Submission
from server.store.audit_chain import Action, AuditEvent, check_chain
from server.store.database import Database
from server.store.people import Role, User
from tests.factories import PASSWORD, make_marked, make_user
from tests.web.lab import ClientFor, Lab

NEW = "quince-press-9"


def test_an_administrators_link_sets_a_new_password_and_ends_the_old(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        head = make_user(session, Role.ADMINISTRATOR)
    signed_in = client_for(lab.student)
    page = client_for(head).post(f"/people/{lab.student.id}/link").text
    found = re.search(r"/password\?link=([\w.-]+)", page)
    assert found is not None
    # It is shown once.
    assert found[1] not in client_for(head).get(f"/people?find={lab.student.email}").text
    nobody = client_for(None)
    answer = nobody.post("/password", data={"link": found[1], "password": NEW})
    assert answer.status_code == 303
    assert nobody.post("/password", data={"link": found[1], "password": NEW}).status_code == 422
    for password, lets_in in ((PASSWORD, False), (NEW, True)):
        form = {"email": lab.student.email, "password": password}
        assert (nobody.post("/sign-in", data=form).status_code == 303) == lets_in
    # Whoever was signed in with the old one is signed out.
    assert signed_in.get("/").headers.get("location", "").startswith("/sign-in")


def test_a_persons_data_are_handed_out_and_erased_only_as_typed(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        head = make_user(session, Role.ADMINISTRATOR)
        make_marked(session, lab.assignment, lab.student, R1=Status.MET)
    teacher, administrator = client_for(lab.instructor), client_for(head)
    address = f"/assignments/{lab.assignment.id}/students/{lab.student.id}"
    teacher.post(f"{address}/points", data={"points": "1", "reason": "shown at the bench"})
    own = client_for(lab.student).get("/my-data.json").json()
    theirs = administrator.get(f"/people/{lab.student.id}/data.json").json()
    # That an administrator takes them is itself in the log.
    assert [each["what"] for each in theirs.pop("log")] == ["set points", "exported data"]
    assert {each["what"] for each in theirs.pop("who saw it")} == {"exported data"}
    assert theirs == {k: v for k, v in own.items() if k not in ("log", "who saw it")}
    assert own["person"]["email"] == lab.student.email
    assert own["submissions"][0]["points"] == 1
    assert own["points set by hand"][0]["reason"] == "shown at the bench"
    assert "1 points: shown at the bench" in {each["detail"] for each in own["log"]}
    erase = f"/people/{lab.student.id}/erase"
    slip = administrator.post(erase, data={"email": lab.classmate.email})
    assert slip.status_code == 422
    assert "Nothing was erased" in slip.text
    with database.read() as session:
        assert session.get(User, lab.student.id) is not None
    assert administrator.post(erase, data={"email": lab.student.email}).status_code == 303
    with database.read() as session:
        assert session.get(User, lab.student.id) is None
        assert session.scalars(select(Submission)).all() == []
        events = session.scalars(select(AuditEvent)).all()
        assert check_chain(session).faults == ()
    assert events[-1].action is Action.ERASED_PERSON
    assert {each.detail for each in events if each.person == lab.student.log_id} == {""}
    assert (
        administrator.post(f"/people/{head.id}/erase", data={"email": head.email}).status_code
        == 422
    )


def test_people_come_from_a_file_all_of_them_or_none(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        administrator = make_user(session, Role.ADMINISTRATOR)
    head = client_for(administrator)
    text = (
        "Role;First name;Last name;Email;Student ID\n"
        "Instructor;Solveig;Østby;solveig.ostby@larkmoor.example;\n"
        ";Tevita;Moala;tevita.moala@larkmoor.example;L-4711\n"
        f"administrator;Other;Name;{lab.student.email};\n"
    )
    for wrong in ("dean;Una;Roe;una.roe@larkmoor.example;\n", ";Una;Roe;una.roe;\n"):
        refused = head.post("/people/import", data={"text": text + wrong})
        assert refused.status_code == 422
        assert "Line 5: " in refused.text
        assert "Tevita;Moala" in refused.text, "what was typed is there"
    file = ("people.csv", text.encode("cp1252"), "text/csv")
    done = head.post("/people/import", files={"file": file})
    assert "2 accounts were made. 1 person has an account already." in done.text
    table = list(csv.DictReader(io.StringIO(head.get("/people.csv").content.decode("utf-8-sig"))))
    by_email = {row["Email"]: row for row in table}
    teacher, student, old = (
        by_email[each]
        for each in (
            "solveig.ostby@larkmoor.example",
            "tevita.moala@larkmoor.example",
            lab.student.email,
        )
    )
    assert (teacher["Role"], teacher["Listed as"]) == ("instructor", "Østby, Solveig")
    assert (student["Role"], student["Student number"]) == ("student", "L-4711")
    assert (old["Role"], old["Name"]) == ("student", lab.student.name)
    # The file that was taken can be imported, too: everybody has an account.
    again = head.post("/people/import", data={"text": head.get("/people.csv").text})
    assert f"0 accounts were made. {len(table)} people have" in again.text
