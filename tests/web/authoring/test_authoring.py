"""The author's page: changes, faults at their fields, markup as text, copies, zips, the bench."""

import io
import json
import re
import zipfile
from html import unescape
from typing import Any

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.jobs.draft_reader import DraftReader
from server.jobs.work_process import PastDeadline
from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.marking.expression import Expression
from server.marking.files.document import read_document
from server.marking.files.drafts import Draft, DraftReading
from server.marking.scenario import Scenario, Step, Turn
from server.marking.trial.scenario_run import recorded_run
from server.marking.trial.trial_form import from_json, to_json
from server.store.authored import authored_by, find_authored, keep_findings
from server.store.database import Database
from server.store.outcomes import Target, catalogue_now, save_outcome
from server.store.people import Role, User
from server.store.trials import LATEST, find_trial
from tests.factories import make_section, make_user
from tests.web.lab import HTMX, ClientFor

MARKUP = "<script>alert(1)</script><b onclick='x'>{{ 7*7 }}"


class Author:
    """An instructor at the sheet of one exercise."""

    def __init__(self, client: TestClient, user: User, title: str = "Day tank", **begun: str):
        self.client, self.user = client, user
        answer = client.post("/authoring", data={"title": title, **begun})
        assert answer.status_code == 303, answer.text
        self.address = answer.headers["location"]
        self.revision = 1

    @classmethod
    def at(cls, client: TestClient, user: User, address: str) -> "Author":
        """At the sheet of an exercise that is there already."""
        author = cls.__new__(cls)
        author.client, author.user, author.address, author.revision = client, user, address, 1
        return author

    @property
    def id(self) -> int:
        return int(self.address.rpartition("/")[2])

    def do(self, do: str, *path: str | int, value: str = "") -> Response:
        change = json.dumps({"do": do, "path": list(path), "value": value})
        answer = self.client.post(
            f"{self.address}/change",
            data={"change": change, "revision": str(self.revision)},
            headers=HTMX,
        )
        shown = re.search(r'data-revision="(\d+)"', answer.text)
        self.revision = int(shown[1]) if shown else self.revision
        return answer

    def page(self) -> str:
        answer = self.client.get(self.address)
        assert answer.status_code == 200
        return answer.text


@pytest.fixture
def author(database: Database, client_for: ClientFor) -> Author:
    with database.write() as session:
        user = make_user(session, Role.INSTRUCTOR)
    return Author(client_for(user), user)


def text_of(database: Database, author: Author) -> str:
    with database.read() as session:
        row = find_authored(session, author.id)
        assert row is not None
        return row.text


def test_an_empty_sheet_says_what_is_wanting(author: Author) -> None:
    page = author.page()
    assert "Points will be listed here" in page
    assert "faults still" in page


def test_a_plant_brings_its_points_and_is_drawn(author: Author, database: Database) -> None:
    page = author.do("choose plant", value="filled tank").text
    assert '<svg class="plant"' in page
    assert "LSH-203" in page
    assert "tank_high" in text_of(database, author)


def test_what_uses_a_symbol_follows_its_new_name(author: Author, database: Database) -> None:
    author.do("choose plant", value="filled tank")
    author.do("add requirement", value="Start starts the pump.")
    author.do("add check", "requirements", 0, "checks", value="never")
    author.do("set", "requirements", 0, "checks", 0, "never", value="start_pb AND NOT power")
    author.do("set", "points", 0, "symbol", value="go_pb")
    assert "never: go_pb AND NOT power" in text_of(database, author)


def test_what_was_typed_stays_and_its_fault_stands_beside_it(
    author: Author, database: Database
) -> None:
    author.do("choose plant", value="filled tank")
    place = ("plant", "tank", "vessels", 0, "height")
    page = unescape(author.do("set", *place, value="5 parsecs").text)
    assert 'value="5 parsecs"' in page
    assert "'parsecs' is no unit of a length." in page
    assert "height: 5 parsecs" in text_of(database, author)


def test_all_faults_are_listed_once_with_the_field_where_each_stands(author: Author) -> None:
    """Remedy: a key that has no field of its own is not passed over."""
    text = (
        "exercise: day-tank\ntitle: Day tank\nsummary: ''\ncolor: blue\nstatement: Fill.\n"
        "points:\n  - {symbol: start_pb, address: '%IX0.9', device: HS-1, kind: push-button,\n"
        "     label: Start, size: 3}\nplant: {}\nrequirements: []\nscenarios: []\n"
    )
    data = {"revision": str(author.revision), "text": text}
    assert author.client.post(f"{author.address}/text", data=data).status_code == 200
    page = author.page()
    listed = re.findall(r"<li>(?:<a href=\"#([^\"]+)\"|<span)[^>]*>([^<]+)<", page)
    places = [place for _, place in listed]
    assert {"color", "points.1.size", "summary"} <= set(places)
    assert len(places) == len(set(places))
    assert f"{len(places)} faults still" in page
    for field, _ in listed:
        assert not field or f'id="{field}"' in page


def test_a_change_of_an_older_sheet_is_refused_and_nothing_is_lost(
    author: Author, database: Database
) -> None:
    author.do("set", "title", value="One")
    author.revision = 1
    answer = author.do("set", "title", value="Two")
    assert answer.status_code == 409
    assert answer.headers["HX-Retarget"] == "#notice"
    assert "title: One" in text_of(database, author)


@pytest.mark.parametrize(
    ("do", "path", "value"),
    [
        ("burn", (), ""),
        ("set", ("nothing", 3, "x"), "a"),
        ("set", (), "a"),
        ("remove", ("points", 7), ""),
        ("add point", (), "teapot"),
        ("choose plant", (), "volcano"),
        ("adopt", (), "nothing"),
        ("split", ("requirements", 4), ""),
        ("add check", ("requirements", 0, "checks"), "perhaps"),
        ("add offered", (), "9"),
        ("add recorded", (), ""),
        ("add program", (), "../../etc"),
        ("remove program", ("none.st",), ""),
    ],
)
def test_a_change_that_can_not_be_made_changes_nothing(
    author: Author, database: Database, do: str, path: tuple[str | int, ...], value: str
) -> None:
    before = text_of(database, author)
    answer = author.do(do, *path, value=value)
    assert answer.status_code == 422, answer.text
    assert text_of(database, author) == before


def test_a_sentence_with_two_demands_is_split(author: Author, database: Database) -> None:
    text = "A press of Start starts the pump, and the pump runs on when it is released."
    page = author.do("add requirement", value=text).text
    assert "seems to join two demands" in page
    page = author.do("split", "requirements", 0).text
    assert "seems to join two demands" not in page
    kept = text_of(database, author)
    assert "id: R1a" in kept
    assert "The pump runs on when it is released." in kept


def test_an_implied_requirement_comes_with_its_checks(author: Author, database: Database) -> None:
    author.do("choose plant", value="filled tank")
    page = unescape(author.do("adopt", value="stop-fill_pump").text)
    assert "Stop wins over every start of Fill pump" in page
    assert "What passes and what fails" in page
    assert "whenever: NOT stop_pb AND fill_pump.on" in text_of(database, author)


def test_markup_in_every_field_is_shown_as_text(author: Author) -> None:
    author.do("choose plant", value="filled and drained tank")
    author.do("add requirement", value="A demand.")
    author.do("add check", "requirements", 0, "checks", value="whenever")
    author.do("add scenario")
    author.do("add step", "scenarios", 0, "steps")
    page = author.page()
    places = [json.loads(unescape(p)) for p in re.findall(r'data-path="([^"]+)"', page)]
    assert len(places) > 90
    for place in places[::3]:
        answer = author.do("set", *place, value=MARKUP)
        assert answer.status_code == 200, (place, answer.text)
        assert "<script>alert" not in answer.text, place
        assert "<b onclick" not in answer.text, place
        # Back again, so that other fields are still shown.
        author.do("set", *place, value="x")
    author.do("add program", value="right-one")
    answer = author.do("set program", "right-one.st", value=MARKUP)
    assert "<script>alert" not in answer.text
    assert "&lt;script&gt;" in answer.text


def test_a_shipped_exercise_is_copied_with_its_programs(
    database: Database, client_for: ClientFor
) -> None:
    with database.write() as session:
        user = make_user(session, Role.INSTRUCTOR)
    author = Author(client_for(user), user, "My sump", source="wash-sump")
    assert "exercise: my-sump" in text_of(database, author)
    assert "0 faults" not in author.page()
    assert "No faults" in author.page()


def test_an_exercise_goes_out_and_in_as_a_zip(
    author: Author, database: Database, client_for: ClientFor
) -> None:
    author.do("choose plant", value="filled tank")
    author.do("add program", value="right-one")
    content = author.client.get(f"{author.address}/zip").content
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        names = archive.namelist()
    assert names == ["day-tank/exercise.yaml", "day-tank/programs/right-one.st"]
    taken = author.client.post("/authoring/import", files={"archive": ("a.zip", content)})
    assert taken.status_code == 409
    files = {
        "night-tank/exercise.yaml": text_of(database, author).replace("day-tank", "night-tank")
    }
    answer = author.client.post("/authoring/import", files={"archive": ("a.zip", packed(files))})
    assert answer.status_code == 303
    with database.read() as session:
        assert {e.slug for e in authored_by(session, author.user.id)} == {"day-tank", "night-tank"}


def packed(files: dict[str, str]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    return out.getvalue()


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"no zip", "This is no zip"),
        (packed({"../evil/exercise.yaml": "a"}), "does not belong"),
        (packed({"a/exercise.yaml": "a", "b/exercise.yaml": "b"}), "one folder"),
        (packed({"a/programs/x.st": "a"}), "one folder"),
        (packed({"a/exercise.yaml": "a" * 500_000}), "more than"),
        (packed({"a/exercise.yaml": "a" * 4_000_000}), "larger than"),
        (packed({f"a/programs/p{n}.st": "" for n in range(101)}), "more than 100 files"),
    ],
)
def test_a_zip_that_is_no_exercise_is_refused(
    author: Author, content: bytes, sentence: str
) -> None:
    answer = author.client.post("/authoring/import", files={"archive": ("a.zip", content)})
    assert answer.status_code == 422
    assert sentence in unescape(answer.text)


def test_the_text_is_kept_with_its_faults_by_line_and_column(author: Author) -> None:
    author.do("choose plant", value="filled tank")
    answer = author.client.post(
        f"{author.address}/text", data={"text": "title: [", "revision": str(author.revision)}
    )
    assert answer.status_code == 200
    assert "exercise.yaml:1:" in answer.text
    assert "title: [" in answer.text
    assert "The text can't be read" in unescape(author.page())


def test_the_statement_is_rendered_safely(author: Author) -> None:
    answer = author.client.post(
        f"{author.address}/statement", data={"statement": f"**bold** {MARKUP}"}, headers=HTMX
    )
    assert "<strong>bold</strong>" in answer.text
    assert "<script" not in answer.text


def test_the_schema_is_published(author: Author) -> None:
    schema = author.client.get("/exercise-schema.json").json()
    assert "requirements" in schema["properties"]


RIGHT_TEXT = "PROGRAM p\n// The lamp follows the switch.\nlamp := sump_high;\nEND_PROGRAM\n"


def test_the_bench_is_the_draft_as_a_student_has_it(
    database: Database, client_for: ClientFor
) -> None:
    with database.write() as session:
        user = make_user(session, Role.INSTRUCTOR)
    author = Author(client_for(user), user, "My sump", source="wash-sump")
    answer = author.client.post(f"{author.address}/bench")
    assert answer.status_code == 303
    address = answer.headers["location"].partition("#")[0]
    sheet = author.client.get(address)
    assert sheet.status_code == 200
    assert "My sump" in sheet.text
    kept = author.client.post(f"{address}/versions", data={"name": "Begun"})
    assert kept.status_code == 303
    assert "Begun" in author.client.get(f"{address}/versions").text
    file = {"program": ("right.st", RIGHT_TEXT)}
    assert "1 rung added" in author.client.post(f"{address}/program/file", files=file).text
    taken = author.do("take program", value="right-mine")
    assert taken.status_code == 200
    assert "right-mine.st" in taken.text


def test_a_refused_beginning_keeps_what_was_typed(client_for: ClientFor, author: Author) -> None:
    client = author.client
    values = {"title": "Apple & wash sump", "source": "wash-sump", "slug": "day-tank"}
    answer = client.post("/authoring", data=values)
    assert answer.status_code == 409
    page = unescape(answer.text)
    assert "There is an exercise called" in page
    assert 'value="Apple & wash sump"' in page
    assert 'value="wash-sump" selected' in page


def test_a_parameter_is_written_in_the_sheet(author: Author) -> None:
    assert author.do("add parameter").status_code == 200
    author.do("set", "parameters", 0, "name", value="soak")
    author.do("set", "parameters", 0, "to", value="5 s")
    page = unescape(author.do("set", "statement", value="Wait for <soak>, not <b>.").text)
    assert "There is no parameter 'b'. There are soak." in page
    page = unescape(author.do("set", "statement", value="Wait for <soak>.").text)
    assert "<p>Wait for 3 s.</p>" in page
    preview = author.client.post(f"{author.address}/statement", data={"statement": "In <soak>."})
    assert "<p>In 3 s.</p>" in preview.text
    author.do("remove", "parameters", 0)
    assert "All students have the same numbers." in author.page()


STEPS = ("scenarios", 0, "steps")


def steps_of(author: Author) -> list[str]:
    """When each step of the first scenario comes, as the file has it."""
    text = unescape(author.client.get(f"{author.address}/text").text)
    written = text[text.index("scenarios:") :].split("- name:")[1]
    return re.findall(r"(?:after|when): ([^,}\n]+)", written)


@pytest.mark.parametrize(
    ("step", "by", "waits"),
    [
        (0, "300", ["800 ms", "700 ms", "tank_high", "1 s"]),
        (0, "-2000", ["0 ms", "1500 ms", "tank_high", "1 s"]),
        (0, "5000", ["1500 ms", "0 ms", "tank_high", "1 s"]),
        (1, "500", ["500 ms", "1500 ms", "tank_high", "1 s"]),
        (3, "1500", ["500 ms", "1 s", "tank_high", "2500 ms"]),
    ],
)
def test_a_step_is_moved_and_its_neighbours_stay(
    author: Author, step: int, by: str, waits: list[str]
) -> None:
    author.do("add scenario")
    for _ in range(3):
        author.do("add step", *STEPS)
    author.do("set", *STEPS, 2, "after")
    author.do("set", *STEPS, 2, "when", value="tank_high")
    assert steps_of(author) == ["500 ms", "1 s", "tank_high", "1 s"]
    assert author.do("shift", *STEPS, step, value=by).status_code == 200
    assert steps_of(author) == waits


def test_a_step_without_a_time_of_its_own_is_not_moved(author: Author) -> None:
    author.do("add scenario")
    author.do("set", *STEPS, 0, "after", value="<soak>")
    answer = author.do("shift", *STEPS, 0, value="100")
    assert answer.status_code == 422
    assert "no time of its own" in answer.text
    assert author.do("shift", *STEPS, 7, value="100").status_code == 422
    assert author.do("shift", *STEPS, 0, value="soon").status_code == 422


def test_texts_that_take_too_long_to_be_read_are_kept_and_told(
    app: FastAPI, database: Database, client_for: ClientFor
) -> None:
    with database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR)
    client = client_for(teacher)
    address = Author(client, teacher, "Heavy sump").address

    def read(draft: Draft) -> DraftReading:
        raise PastDeadline

    app.state.drafts = DraftReader(read)
    saved = client.post(f"{address}/text", data={"revision": "1", "text": "typed: here\n"})
    assert saved.status_code == 200
    assert "takes too long to read" in saved.text
    assert "typed: here" in saved.text
    assert client.get(address).status_code == 200
    change = {"change": '{"do": "set", "path": ["title"], "value": "x"}', "revision": "2"}
    for path, values in (("change", change), ("statement", {"statement": "x"})):
        refused = client.post(f"{address}/{path}", data=values)
        assert refused.status_code == 422
        assert "takes too long to read" in refused.text
    published = client.post(f"{address}/publish", data={"revision": "2"})
    assert published.status_code == 422


PROPOSED = {
    "kind": "undemanded",
    "concerns": "fill_pump",
    "sentence": "In a right program fill_pump stays on: no check notices.",
    "drawing": "<svg></svg>",
    "scenario": "  - name: Unnoticed\n    steps: []\n    run on: 3 s\n",
    "steps": ["3 s later: the run ends"],
    "check": {"never": "fill_pump AND sump_high", "fails": "it ran."},
    "requirement": "R1",
    "free": {"outputs": ["fill_pump"], "when": "sump_high", "sentence": "What a full sump does."},
}


CHECKED = {"done": 0, "total": 0, "caught": 0, "complete": True}


@pytest.fixture
def sump(database: Database, client_for: ClientFor) -> Author:
    """A copy of the sump whose check has found one undemanded output."""
    with database.write() as session:
        user = make_user(session, Role.INSTRUCTOR)
    author = Author(client_for(user), user, "My sump", source="wash-sump")
    with database.write() as session:
        found = CHECKED | {"findings": [PROPOSED]}
        assert keep_findings(session, author.id, author.revision, found)
    return author


def test_the_run_of_a_finding_opens_where_it_happened(sump: Author, database: Database) -> None:
    """The program and the actions are those that the finding speaks of."""
    declared = "lamp AT %QX0.1 : BOOL;"
    program = parse_program(f"PROGRAM p VAR {declared} END_VAR lamp := TRUE; END_PROGRAM")
    steps = (Step((Turn("panel.start_pb", True),), after_ms=25), Step((Turn("power", False),), 10))
    run = recorded_run(Scenario("Seen", steps, run_on_ms=1000), program, 10)
    assert run is not None
    assert [scan for scan, _ in run.events] == [3, 4]
    assert run.scans == 104
    found = CHECKED | {"findings": [PROPOSED | {"run": to_json(run)}]}
    with database.write() as session:
        assert keep_findings(session, sump.id, sump.revision, found)
    assert "Open this run" in sump.client.get(f"{sump.address}/findings").text
    opened = sump.client.post(f"{sump.address}/bench", data={"finding": "0"})
    address = opened.headers["location"]
    with database.read() as session:
        kept = find_trial(session, int(address.split("/")[2]), sump.user.id, LATEST)
        assert kept is not None
        assert from_json(kept.run) == run


def test_a_run_that_waits_for_a_condition_has_no_times() -> None:
    waits = Step(when=Expression.read("power"), within_ms=1000)
    assert recorded_run(Scenario("Waits", (waits,)), Program("p"), 10) is None


def test_an_undemanded_output_is_shown_with_three_ways_out(sump: Author) -> None:
    page = sump.client.get(f"{sump.address}/findings").text
    assert "no check notices" in page
    for words in ("Demand it in R1", "Leave it free", "Add this scenario"):
        assert words in page


@pytest.mark.parametrize(
    ("do", "place", "kept"),
    [
        ("demand offered", ("requirements", 0, "checks", -1), PROPOSED["check"]),
        ("free offered", ("free", -1), PROPOSED["free"]),
        ("add offered", ("scenarios", -1, "name"), "Unnoticed"),
    ],
)
def test_each_way_out_is_written_into_the_draft(
    sump: Author, database: Database, do: str, place: tuple[str | int, ...], kept: object
) -> None:
    assert sump.do(do, value="0").status_code == 200
    found = read_document("exercise.yaml", text_of(database, sump).encode()).data
    for key in place:
        found = found[key]
    assert found == kept
    assert sump.do(do, value="7").status_code == 422


def test_what_is_left_free_is_shown_on_the_sheet_and_can_be_changed(
    sump: Author, database: Database
) -> None:
    page = sump.do("free offered", value="0").text
    assert "Left to you" in page
    assert "What a full sump does." in page
    number = page.count("legend>item ")
    sump.do("set", "free", number - 1, "sentence", value="Nothing is asked of a full sump.")
    assert "Nothing is asked of a full sump." in text_of(database, sump)


def outcomes_of(database: Database, author: Author) -> object:
    return read_document("exercise.yaml", text_of(database, author).encode()).data["outcomes"]


def test_an_outcome_is_taken_from_the_departments_catalogue(
    author: Author, database: Database
) -> None:
    assert "The department has no catalogue of outcomes yet" in author.page()
    author.do("set", "outcomes", value="waiting: Waits as long as it must, and no longer.")
    with database.write() as session:
        section = make_section(session)
        code = section.course.code
        words: dict[str, Any] = {"statement": "Stops, whatever breaks.", "target": Target()}
        save_outcome(session, section.course_id, section.term, "stopping", **words)
        version = catalogue_now(session)[0].id
        # What the department has taken out of its catalogue is not offered.
        hidden: dict[str, Any] = {"statement": "Old.", "target": Target(), "listed": False}
        save_outcome(session, section.course_id, section.term, "pulses", **hidden)
    page = unescape(author.page())
    assert "stopping: Stops, whatever breaks." in page
    assert "pulses" not in page
    assert author.do("take outcome", value="999999").status_code == 422
    page = unescape(author.do("take outcome", value=str(version)).text)
    assert f"in the catalogue of {code}" in page
    assert page.count("local: the report shows it apart") == 1
    kept = {
        "waiting": "Waits as long as it must, and no longer.",
        "stopping": "Stops, whatever breaks.",
    }
    assert outcomes_of(database, author) == kept
    # Saved again as it is shown, the statements keep their commas.
    typed = ", ".join(f"{word}: {statement}" for word, statement in kept.items())
    author.do("set", "outcomes", value=typed)
    assert outcomes_of(database, author) == kept
