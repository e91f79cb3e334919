"""The exercise sheet: everything that is asked, the open scenarios, and nothing of the others."""

from server.store.database import Database
from tests.web.lab import ClientFor, Lab, open_lab


def test_the_sheet_says_what_is_asked(lab: Lab) -> None:
    page = lab.desk(lab.student).page()
    assert "<strong>wash sump</strong>" in page
    for requirement in ("R1", "R2a", "R2b", "R3", "R4"):
        assert f'<li id="{requirement}">' in page
    assert "normally closed" in page
    assert "hard-wired emergency stop" in page
    assert "fill until full" in page


def test_markup_of_a_statement_stays_text(lab: Lab) -> None:
    text = lab.client_for(lab.student).get(f"/assignments/{lab.assignment.id}").text
    assert "&lt;b&gt;Raw markup&lt;/b&gt;" in text


def test_hidden_scenarios_stay_on_the_server(lab: Lab) -> None:
    page = lab.desk(lab.student).page()
    assert "stop while filling" not in page
    assert "full from the beginning" not in page


def test_every_point_is_declared_from_the_start(lab: Lab) -> None:
    page = lab.desk(lab.student).page()
    for symbol in ("start_pb", "stop_pb", "sump_high", "fill_pump", "lamp", "filling"):
        assert f'data-symbol="{symbol}"' in page


def test_an_exercise_that_cannot_be_read(database: Database, client_for: ClientFor) -> None:
    lab = open_lab(database, client_for, exercise="gone")
    answer = client_for(lab.student).get(f"/assignments/{lab.assignment.id}")
    assert answer.status_code == 500
    assert "can&#39;t be read on the server. Tell the instructor" in answer.text
