"""Grading by hand on the pages: a requirement, the queue, comments in Markdown."""

import re
from html.parser import HTMLParser

import pytest

from server.marking.verdict import Status
from server.store.database import Database
from server.web.rendering import comment_markdown
from tests.factories import make_marked
from tests.web.lab import ClientFor, Lab


def test_a_requirement_is_set_by_hand_with_a_reason_that_the_student_reads(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        submission = make_marked(session, lab.assignment, lab.student, R1=Status.NOT_MET)
        submission.program = {"version": 1, "name": "p"}
    teacher, own = client_for(lab.instructor), client_for(lab.student)
    address = f"/submissions/{submission.id}"
    form = {"requirement": "R1", "points": "1", "reason": "The wire was <loose>."}
    for wrong in ({"points": "1.5"}, {"points": "x"}, {"reason": " "}, {"requirement": "R9"}):
        assert teacher.post(f"{address}/requirements", data=form | wrong).status_code == 422
    assert teacher.post(f"{address}/requirements", data=form).status_code == 303
    page = own.get(address).text
    assert "The wire was &lt;loose&gt;." in page
    assert "The marking found: not met." in page
    assert "1 of 1 points" in page
    assert "Every requirement is met." in page
    assert "/requirements" not in page, "only who teaches has the form"
    file = teacher.get(f"/assignments/{lab.assignment.id}/gradebook.csv").text
    assert "Requirements set by hand" in file
    assert (
        own.get("/my-data.json").json()["submissions"][0]["set by hand"][0]["requirement"] == "R1"
    )
    teacher.post(f"{address}/requirements/back", data={"requirement": "R1"})
    assert "Set by hand" not in own.get(address).text


def test_a_grader_goes_through_the_queue(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        for student in (lab.student, lab.classmate):
            submission = make_marked(session, lab.assignment, student, R1=Status.MET)
            submission.program = {"version": 1, "name": "p"}
    teacher = client_for(lab.instructor)
    queue = f"/sections/{lab.assignment.section_id}/grading"
    first = re.search(r'href="(/submissions/\d+\?queue=new)"', teacher.get(queue).text)
    assert first is not None
    page = teacher.get(first[1]).text
    # It has been looked at by now; the other one waits.
    coming = re.search(r'href="(/submissions/\d+\?queue=new)" data-key="KeyN"', page)
    assert coming is not None
    form = {"text": "Say **why** it stops.", "queue": "new", "keep": "true"}
    answer = teacher.post(f"{first[1].split('?')[0]}/comments", data=form)
    assert answer.headers["location"] == f"{first[1]}#comments"
    page = teacher.get(first[1]).text
    assert "<strong>why</strong>" in page
    assert '<option value="Say **why** it stops.">' in page
    assert "Nothing else waits." in teacher.get(coming[1]).text
    assert "Nothing waits here." in teacher.get(queue).text
    assert "Say **why** it stops." in teacher.get(f"{queue}?show=no%20comment").text
    assert client_for(lab.student).get(queue).status_code == 404


HOSTILE = (
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "[a](javascript:alert(1))",
    "[a](&#106;avascript:alert(1))",
    "[a](JaVaScRiPt:alert(1))",
    "[a](data:text/html;base64,PHNjcmlwdD4=)",
    "[a](vbscript:x)",
    "<javascript:alert(1)>",
    "![a](https://elsewhere.example/x.png)",
    '[a](https://x.example "onmouseover=alert(1)")',
    '[a](<https://x.example" onmouseover="alert(1)>)',
    "[a]: javascript:alert(1)\n\n[a]",
    "```\n</code><script>alert(1)</script>\n```",
    "# Heading\n\n---",
)


@pytest.mark.parametrize("text", HOSTILE)
def test_no_comment_becomes_anything_but_text(text: str) -> None:
    class Checked(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            assert tag in {"p", "a", "em", "strong", "code", "pre", "br"}
            for name, value in attrs:
                assert name in {"href", "title"}
                if name == "href":
                    assert str(value).startswith("https://")

    Checked().feed(comment_markdown(text))


def test_a_comment_has_what_people_write() -> None:
    shown = comment_markdown("*No*\nseal-in, see `start_pb`:\n\n- one\n- two")
    assert "<em>No</em><br />" in shown
    assert "<code>start_pb</code>" in shown
    assert shown.count("<li>") == 2
