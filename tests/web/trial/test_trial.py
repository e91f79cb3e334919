"""Trial runs over their socket: work, hold, go back, hand on, keep, watch, and the bounds."""

import asyncio
import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from datetime import timedelta
from itertools import count
from time import monotonic
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy.exc import OperationalError
from starlette.testclient import TestClient, WebSocketTestSession
from starlette.websockets import WebSocketDisconnect

from server.marking.files.catalogue import Catalogue, start_program
from server.marking.scenario import Turn
from server.marking.trial.trial import Recorded
from server.settings import Settings
from server.store.database import Database
from server.store.people import User
from server.web.app import create_app
from server.web.trial import limits
from server.web.trial import page as trial_page
from server.web.trial.limits import (
    BARRED_SECONDS,
    BURST,
    CROWD,
    FLOOD,
    SOCKETS_OF_ONE,
    Doorkeeper,
    Shut,
)
from server.web.trial.runs import (
    FRAME_SECONDS,
    LATE_SECONDS,
    LONGEST_FRAME,
    MANY_WAITING,
    RUNS_OF_ALL,
    RUNS_OF_ONE,
    SAVE_SECONDS,
    SCANS_AT_ONCE,
    TURN_SECONDS,
    UNWATCHED_SECONDS,
    Key,
    LiveTrial,
    NoRoom,
    Runs,
    next_period,
)
from server.web.trial.screen import MOST_EVENTS, Viewer
from tests.factories import EXERCISES, NOON, Clock
from tests.web.conftest import SITE
from tests.web.lab import OVERFILLS, RIGHT, Desk, Lab

Json = dict[str, Any]
PRESS = {"control": "panel.start_pb", "on": True}
RELEASE = {"control": "panel.start_pb", "on": False}


class Socket:
    """One open page: the values it has been shown, and what it was told."""

    def __init__(self, session: WebSocketTestSession) -> None:
        self.session = session
        self.layout: Json = {}
        self.chart: Json = {}
        self.values: dict[str, float | None] = {}
        self.state: Json = {}
        self.changes: list[list[int]] = []
        self.takeovers: list[int] = []
        self.answers: list[Json] = []
        self.scan = -1

    def frame(self) -> None:
        frame = json.loads(self.session.receive_text())
        if "refused" in frame:
            self.answers.append(frame)
            return
        self.layout = frame.get("layout", self.layout)
        self.chart = frame.get("chart", self.chart)
        for index, value in frame.get("values", ()):
            self.values[self.layout["keys"][index]] = value
        self.state = frame.get("state", self.state)
        self.changes += frame.get("changes", [])
        self.takeovers = frame.get("takeovers", self.takeovers)
        self.answers += frame.get("answers", [])
        self.scan = frame["scan"]

    def until(self, holds: Callable[[], object]) -> None:
        while not holds():
            self.frame()

    def do(self, wish: str, **fields: object) -> None:
        self.session.send_text(json.dumps({"do": wish, **fields}))

    def scans(self, count: int) -> None:
        for _ in range(count):
            end = self.scan + 1
            self.do("scan")
            self.until(lambda end=end: self.scan == end)  # type: ignore[misc]

    def answer(self, key: str) -> Any:
        self.until(lambda: any(key in each for each in self.answers))
        found = next(each for each in self.answers if key in each)
        self.answers.remove(found)
        return found[key]


class House:
    """The running application: its clock goes, and several people have it open."""

    def __init__(self, app: FastAPI, stack: ExitStack, lab: Lab) -> None:
        self.lab = lab
        self._stack = stack
        self._client = stack.enter_context(TestClient(app, base_url=SITE))

    def open(self, user: User, path: str | None = None, origin: str = SITE) -> Socket:
        cookies = self.lab.client_for(user).cookies
        cookie = "; ".join(f"{name}={value}" for name, value in cookies.items())
        path = path or f"/assignments/{self.lab.assignment.id}/trial/socket"
        connecting = self._client.websocket_connect(
            path, headers={"Cookie": cookie, "Origin": origin}
        )
        socket = Socket(self._stack.enter_context(connecting))
        socket.frame()
        return socket

    def watch(self, user: User, student: User) -> Socket:
        return self.open(user, f"/assignments/{self.lab.assignment.id}/trials/{student.id}/socket")


@pytest.fixture
def house(app: FastAPI, lab: Lab) -> Iterator[House]:
    with ExitStack() as stack:
        yield House(app, stack, lab)


@pytest.fixture
def desk(lab: Lab) -> Desk:
    return lab.desk(lab.student)


def test_page_has_the_plant_and_every_control(desk: Desk) -> None:
    page = desk.client.get(f"{desk.address}/trial", follow_redirects=True).text
    assert 'data-signal="sump.level"' in page
    for control in ("panel.start_pb", "panel.stop_pb", "power", "fault.stop_pb.broken wire"):
        assert f'data-control="{control}"' in page
    assert "This is a teaching simulation." in page


def test_plant_is_worked_by_hand_before_any_rung_exists(house: House) -> None:
    page = house.open(house.lab.student)
    assert page.layout["texts"] == []
    page.scans(1)
    page.do("act", action={"quantity": "sump.level", "value": 1.1})
    page.scans(1)
    assert (page.values["sump.level"], page.values["sump_high"]) == (1.1, 0)
    page.scans(1)
    assert page.values["sump_high"] == 1


def test_working_program_runs_and_says_why(house: House, desk: Desk) -> None:
    desk.build(RIGHT)
    page = house.open(house.lab.student)
    assert len(page.layout["texts"]) == 2
    page.scans(3)
    page.do("act", action=PRESS)
    page.scans(2)
    page.do("act", action=RELEASE)
    page.scans(2)
    assert page.values["fill_pump"] == page.values["p:0:"] == page.values["v:fill_pump"] == 1
    assert page.values["p:0:0.0.0"] == 0, "the start contact has opened"
    assert page.values["p:0:0.1.0"] == 1, "the seal-in conducts"
    page.do("why", signal="fill_pump")
    reasons = page.answer("reasons")
    assert [reason["text"] for reason in reasons] == [
        "fill_pump came ON at 0.03 s: rung 1 conducted when start_pb came ON.",
        "It has held itself in since then while stop_pb is ON and sump_high is OFF.",
        "start_pb came ON at 0.03 s: push-button HS-201. Without that, fill_pump would be OFF.",
    ]
    assert (reasons[0]["rung"], reasons[0]["path"]) == (0, "0.0.0")


def test_a_student_sees_a_failure_happen_from_the_second_attempt(house: House, desk: Desk) -> None:
    desk.build(OVERFILLS)
    first = desk.submit()
    assert "See it happen" not in desk.verdict(first)
    desk.build((*OVERFILLS, "filling := fill_pump;"))
    second = desk.submit()
    assert desk.verdict(second).count("See it happen") == 1
    one, two = (int(each.headers["HX-Redirect"].rpartition("/")[2]) for each in (first, second))
    desk.build(RIGHT)
    page = house.open(house.lab.student)
    page.do("see", submission=one, name="R2b")
    assert page.answer("refused") == "There is no such attempt of yours to look at."
    page.do("see", submission=two, name="R2b")
    assert page.answer("faulty")["rung"] == 0, "its pump does not stop when the sump is full"
    page.until(lambda: page.state["showing"] and page.state["repeating"] is None)
    assert len(page.layout["texts"]) == 3, "the program of the attempt runs"
    violated = f"c:{page.layout['checks'].index('R2b')}:violated"
    assert page.values[violated] == 0
    page.do("speed", speed=20)
    page.do("run")
    page.until(lambda: page.values[violated] == 1)
    foreign = house.open(house.lab.instructor)
    foreign.do("see", submission=two, name="R2b")
    assert foreign.answer("refused") == "There is no such attempt of yours to look at."


def test_a_broken_stop_wire_stops_the_pump(house: House, desk: Desk) -> None:
    desk.build(RIGHT)
    page = house.open(house.lab.student)
    page.do("act", action=PRESS)
    page.scans(1)
    page.do("act", action=RELEASE)
    page.scans(1)
    assert page.values["fill_pump"] == 1
    page.do("act", action={"control": "fault.stop_pb.broken wire", "on": True})
    page.scans(1)
    assert page.values["fill_pump"] == 0


def test_going_back_and_on_differently(house: House, desk: Desk) -> None:
    desk.build(RIGHT)
    page = house.open(house.lab.student)
    page.scans(2)
    page.do("act", action=PRESS)
    page.scans(3)
    page.do("look", scan=2)
    page.until(lambda: page.state["looking"] == 2)
    assert (page.scan, page.values["fill_pump"]) == (5, 0)
    page.do("act", action=PRESS)
    assert page.answer("refused").startswith("This is a past moment.")
    page.do("branch", scan=2)
    page.until(lambda: page.scan == 2)
    page.scans(3)
    assert (page.scan, page.values["fill_pump"]) == (5, 0)


def test_another_version_goes_on_from_the_same_plant_or_from_the_start(
    house: House, desk: Desk
) -> None:
    desk.build(RIGHT)
    page = house.open(house.lab.student)
    page.do("act", action=PRESS)
    page.scans(6)
    level = page.values["sump.level"]
    assert level is not None
    assert level > 0
    desk.build(("lamp := NOT sump_high;",))
    page.do("exchange")
    assert page.answer("behind") is None
    assert page.takeovers == [6]
    page.until(lambda: len(page.layout["texts"]) == 1)
    assert (page.scan, page.values["sump.level"]) == (6, level)
    page.scans(1)
    assert (page.values["lamp"], page.values["fill_pump"]) == (1, 1)
    page.do("restart")
    page.until(lambda: page.scan == 0)
    assert page.values["sump.level"] != level


def test_a_program_with_errors_does_not_take_over(house: House, desk: Desk) -> None:
    desk.build(RIGHT)
    page = house.open(house.lab.student)
    page.scans(1)
    desk.do("write", rung=0, text="nowhere := start_pb;")
    desk.build(("nowhere := start_pb;",))
    page.do("exchange")
    assert page.answer("behind").startswith("Rung 1")
    assert len(page.layout["texts"]) == 2
    page.scans(1)


@pytest.mark.parametrize(
    ("command", "sentence"),
    [
        ("nonsense", "This command is not known here."),
        ('{"do": "explode"}', "This command is not known here."),
        ('{"do": "run", "more": 1}', "This command is not known here."),
        (json.dumps({"do": "save", "name": "x" * 5000}), "This command is too long."),
        ('{"do": "act", "action": {"explode": 1}}', "This is nothing that can be done"),
        ('{"do": "act", "action": {"control": "lamp", "on": true}}', "There is no control 'lamp'."),
        ('{"do": "act", "action": {"quantity": "sump.level", "value": 99}}', "Set sump.level to"),
        (
            '{"do": "act", "action": {"quantity": "sump.level", "value": 1e999}}',
            "Set sump.level to",
        ),
        ('{"do": "speed", "speed": 3}', "This speed is not offered."),
        ('{"do": "branch"}', "Go back to a past moment first."),
        ('{"do": "why", "signal": "lamp"}', "Run a scan first"),
        ('{"do": "save", "name": "  "}', "Give the run a name"),
        ('{"do": "open", "name": "never"}', "There is no run of this name any more."),
    ],
)
def test_what_is_refused_changes_nothing(house: House, command: str, sentence: str) -> None:
    page = house.open(house.lab.student)
    page.session.send_text(command)
    assert page.answer("refused").startswith(sentence)
    assert page.scan == 0
    page.scans(1)


def test_saved_run_is_repeated_on_the_next_version(house: House, desk: Desk) -> None:
    desk.build(RIGHT)
    page = house.open(house.lab.student)
    page.scans(2)
    page.do("act", action=PRESS)
    page.scans(4)
    page.do("save", name=" first   try ")
    assert page.answer("saved") == [{"name": "first try", "seconds": 0.06}]
    desk.build(("fill_pump := start_pb AND sump_high;", RIGHT[1]))
    page.do("repeat", name="first try")
    page.answer("saved")
    page.until(lambda: page.scan == 6 and page.state["repeating"] is None)
    assert (page.values["panel.start_pb"], page.values["fill_pump"]) == (1, 0)
    page.do("open", name="first try")
    page.answer("saved")
    page.until(lambda: page.scan == 6 and page.values["fill_pump"] == 1)
    page.do("forget", name="first try")
    assert page.answer("saved") == []


def test_run_becomes_a_scenario_for_the_instructor(house: House) -> None:
    page = house.open(house.lab.instructor)
    page.scans(10)
    page.do("act", action=PRESS)
    page.scans(5)
    page.do("scenario")
    assert page.answer("scenario") == (
        "  - name: tried by hand\n"
        "    steps:\n"
        "      - {after: 100 ms, press: [start_pb]}\n"
        "    run on: 50 ms\n"
    )


def test_recorded_run_is_there_again_after_the_server_was_killed(
    house: House, desk: Desk, database: Database, clock: Clock
) -> None:
    """A second application on the same database stands for the server that comes back."""
    desk.build(RIGHT)
    page = house.open(house.lab.student)
    page.do("act", action=PRESS)
    page.scans(9)
    page.do("save", name="kept")
    page.answer("saved")
    page.session.close()
    settings = Settings(database_url=database.place, public_urls=(SITE,), exercises=EXERCISES)
    with ExitStack() as stack:
        again = House(create_app(settings, database, clock), stack, house.lab)
        page = again.open(house.lab.student)
        page.until(lambda: page.scan == 9 and page.state["repeating"] is None)
        assert (page.values["fill_pump"], page.values["panel.start_pb"]) == (1, 1)
        page.do("saved")
        assert page.answer("saved")[0]["name"] == "kept"


def test_lost_connection_comes_back_to_the_same_run(house: House) -> None:
    page = house.open(house.lab.student)
    page.scans(4)
    page.session.close()
    again = house.open(house.lab.student)
    assert again.scan == 4


def test_two_windows_show_one_run(house: House) -> None:
    one, other = house.open(house.lab.student), house.open(house.lab.student)
    one.do("act", action=PRESS)
    one.scans(2)
    other.until(lambda: other.scan == 2 and other.values["start_pb"] == 1)


def test_instructor_watches_and_touches_nothing(house: House) -> None:
    page = house.open(house.lab.student)
    watching = house.watch(house.lab.instructor, house.lab.student)
    assert watching.state["works"] is False
    watching.do("act", action=PRESS)
    watching.do("scan")
    page.scans(3)
    watching.until(lambda: watching.scan == 3)
    assert page.values["start_pb"] == watching.values["start_pb"] == 0
    page.until(lambda: page.state["watched"] == 1)


def test_nobody_else_gets_in(house: House) -> None:
    house.open(house.lab.student)
    with pytest.raises(WebSocketDisconnect) as refused:
        house.watch(house.lab.classmate, house.lab.student)
    assert refused.value.code == 1008
    with pytest.raises(WebSocketDisconnect) as refused:
        house.open(house.lab.student, origin="http://elsewhere.example")
    assert refused.value.code == 1008


def test_no_run_to_watch(house: House) -> None:
    watching = house.watch(house.lab.instructor, house.lab.student)
    assert watching.answer("refused") == "This run is not in progress."


# -- bounds of one visitor ----------------------------------------------------------------------


@pytest.fixture
def frozen(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> Clock:
    """The clock by which commands are counted stands still; nobody waits at the door."""
    clock = Clock(NOON)
    monkeypatch.setattr(limits, "KNOCK_SECONDS", 0.0)
    app.state.trial_runs.doorkeeper = Doorkeeper(lambda: clock().timestamp())
    return clock


def closed_with(house: House, socket: Socket) -> tuple[int, str]:
    with pytest.raises(WebSocketDisconnect) as closed:
        while True:
            socket.frame()
    return closed.value.code, closed.value.reason


@pytest.mark.parametrize("watched", [False, True])
def test_flood_is_closed_with_a_sentence_and_shut_out_for_a_while(
    house: House, frozen: Clock, watched: bool
) -> None:
    """Who only watches is heard as little as who works, and floods as well."""
    own = house.open(house.lab.student)
    page = house.watch(house.lab.instructor, house.lab.student) if watched else own
    for _ in range(BURST + 1):
        page.do("scan")
    assert closed_with(house, page) == (1008, FLOOD)
    user = house.lab.instructor if watched else house.lab.student
    with pytest.raises(WebSocketDisconnect) as again:
        house.open(user)
    assert (again.value.code, again.value.reason) == (1008, FLOOD)
    frozen.now += timedelta(seconds=BARRED_SECONDS)
    # What was not done when the flood was seen is not done any more.
    assert house.open(user).scan <= (0 if watched else BURST)


def test_flood_on_many_sockets_is_one_flood(house: House, frozen: Clock) -> None:
    pages = [house.open(house.lab.student) for _ in range(3)]
    for number in range(BURST + 3):
        pages[number % 3].do("speed", speed=1.0)
    assert [closed_with(house, page)[0] for page in pages] == [1008] * 3


def test_a_hand_with_a_key_held_down_is_no_flood(
    house: House, frozen: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The clock of the limits is another; frames at their own pace would take nine real seconds.
    monkeypatch.setattr(trial_page, "FRAME_SECONDS", 0)
    page = house.open(house.lab.student)
    for _ in range(BURST + 60):
        frozen.now += timedelta(seconds=1 / 30)
        page.scans(1)


def test_windows_of_one_visitor_are_bounded() -> None:
    doorkeeper = Doorkeeper()
    with ExitStack() as windows:
        for _ in range(SOCKETS_OF_ONE):
            windows.enter_context(doorkeeper.socket(1))
        with pytest.raises(Shut, match="Close one of them"), doorkeeper.socket(1):
            pass
        with doorkeeper.socket(2):
            pass
    with doorkeeper.socket(1):
        pass


def test_reasons_fit_into_a_closing_frame() -> None:
    # RFC 6455, 5.5: at most 125 bytes, two of them for the code.
    assert all(len(reason.encode()) <= 123 for reason in (FLOOD, CROWD))


def test_bytes_are_no_command(house: House) -> None:
    page = house.open(house.lab.student)
    page.session.send_bytes(b"scan")
    assert page.answer("refused").startswith("This command is not known here.")


def test_visitors_who_have_gone_are_forgotten() -> None:
    now = [0.0]
    doorkeeper = Doorkeeper(lambda: now[0])
    for visitor in range(100):
        with doorkeeper.socket(visitor):
            doorkeeper.count_command(visitor)
    now[0] = 3600.0
    with doorkeeper.socket(100):
        assert doorkeeper.visitors == 1


# -- the clock and the screen, without a socket -------------------------------------------------


def run_of(runs: Runs) -> LiveTrial:
    exercise = Catalogue(EXERCISES).find("wash-sump")
    assert exercise is not None
    return asyncio.run(runs.open((1, 1), exercise, Recorded(start_program(exercise), (), 0)))


def test_runs_of_one_person_and_of_all_are_bounded() -> None:
    exercise = Catalogue(EXERCISES).find("wash-sump")
    assert exercise is not None
    recorded = Recorded(start_program(exercise), (), 0)

    async def fill() -> None:
        runs = Runs(lambda records: None)
        for number in range(RUNS_OF_ONE):
            await runs.open((number, 1), exercise, recorded)
        with pytest.raises(NoRoom, match=f"You have {RUNS_OF_ONE} trial runs open already"):
            await runs.open((RUNS_OF_ONE, 1), exercise, recorded)
        assert await runs.open((0, 1), exercise, recorded) is runs.find((0, 1))
        for number in range(RUNS_OF_ALL - RUNS_OF_ONE):
            await runs.open((0, 2 + number), exercise, recorded)
        with pytest.raises(NoRoom, match=f"All {RUNS_OF_ALL} places"):
            await runs.open((0, 9999), exercise, recorded)

    asyncio.run(fill())


def test_plant_keeps_its_time_at_every_speed() -> None:
    trial = run_of(Runs(lambda records: None))
    trial.go(100.0)
    for n in range(1, 21):
        trial.turn(100.0 + n * 0.05)
    assert trial.run.scan == 100
    trial.at_speed(0.02, 101.0)
    for n in range(1, 41):
        trial.turn(101.0 + n * 0.05)
    assert trial.run.scan == 104
    trial.at_speed(20.0, 103.0)
    trial.turn(103.05)
    assert trial.run.scan == 204
    trial.hold()
    assert not trial.turn(110.0)


def test_an_overloaded_server_leaves_plant_time_out() -> None:
    trial = run_of(Runs(lambda records: None))
    trial.go(0.0)
    trial.turn(10.0)
    assert trial.run.scan == int(LATE_SECONDS * 100)
    trial.turn(10.05)
    assert trial.run.scan == int(LATE_SECONDS * 100) + 5


def test_a_turn_ends_when_its_time_is_over_and_the_next_goes_on() -> None:
    trial = run_of(Runs(lambda records: None))
    trial.clock = count(0.0, TURN_SECONDS).__next__
    trial.at_speed(20.0, 0.0)
    trial.go(0.0)
    trial.turn(0.5)
    assert trial.run.scan == 2 * SCANS_AT_ONCE
    trial.turn(0.5)
    assert trial.run.scan == 4 * SCANS_AT_ONCE


def test_a_run_that_is_busy_has_no_turn_and_is_not_stored() -> None:
    kept: dict[Key, Recorded] = {}
    exercise = Catalogue(EXERCISES).find("wash-sump")
    assert exercise is not None

    async def work() -> None:
        runs = Runs(kept.update)
        trial = await runs.open((1, 1), exercise, Recorded(start_program(exercise), (), 0))
        trial.screen.step(1)
        runs.start()
        async with trial.busy:
            trial.at_speed(20.0, monotonic())
            trial.go(monotonic())
            await runs.tidy(monotonic() + SAVE_SECONDS + 1)
            await asyncio.sleep(5 * FRAME_SECONDS)
            assert (trial.run.scan, kept) == (1, {})
        while trial.run.scan == 1:
            await asyncio.sleep(FRAME_SECONDS)
        await runs.stop()

    asyncio.run(work())
    assert kept[1, 1].scans > 1


@pytest.mark.parametrize(
    ("load", "settles_at"),
    [((1.0, MANY_WAITING), FRAME_SECONDS), ((2.0, 0), LONGEST_FRAME), ((1.0, 9), LONGEST_FRAME)],
)
def test_frames_are_fewer_while_there_is_too_much_to_do(
    load: tuple[float, int], settles_at: float
) -> None:
    longer, waiting = load
    period = (FRAME_SECONDS + LONGEST_FRAME) / 2
    for _ in range(20):
        period = next_period(period, longer * period, waiting)
    assert period == settles_at


def test_a_slow_reader_skips_frames_and_misses_nothing() -> None:
    trial = run_of(Runs(lambda records: None))
    quick, slow = Viewer(works=True), Viewer(works=True)
    frames: dict[Viewer, list[Json]] = {quick: [], slow: []}

    def show(viewer: Viewer) -> None:
        text = trial.screen.frame(viewer, {})
        frames[viewer].append(json.loads(text) if text else {})

    show(quick)
    show(slow)
    for n in range(30):
        trial.run.act(Turn("panel.start_pb", n % 2 == 0))
        trial.screen.step(1)
        show(quick)
    show(slow)
    assert len(frames[slow]) == 2
    assert frames[slow][1]["changes"] == [c for f in frames[quick][1:] for c in f["changes"]]
    assert dict(map(tuple, frames[slow][1]["values"])).items() <= {
        tuple(v) for f in frames[quick][1:] for v in f["values"]
    }
    assert trial.screen.frame(slow, {}) is None


def test_who_misses_too_much_gets_the_whole_chart() -> None:
    trial = run_of(Runs(lambda records: None))
    viewer = Viewer(works=True)
    trial.screen.frame(viewer, {})
    for n in range(MOST_EVENTS):
        trial.run.act(Turn("panel.start_pb", n % 2 == 0))
        trial.screen.step(1)
    frame = json.loads(trial.screen.frame(viewer, {}) or "")
    changed = [change for change in frame["chart"]["changes"] if change[1] == 0]
    assert len(changed) == MOST_EVENTS


def test_a_run_that_nobody_watches_ends_and_is_kept() -> None:
    kept: dict[Key, Recorded] = {}
    runs = Runs(kept.update)
    trial = run_of(runs)
    viewer = Viewer(works=True)
    trial.viewers.add(viewer)
    trial.screen.step(7)

    async def later(seconds: float) -> None:
        await runs.tidy(trial.unwatched_since + seconds)

    asyncio.run(later(UNWATCHED_SECONDS + 1))
    assert runs.find((1, 1)) is trial
    trial.viewers.discard(viewer)
    asyncio.run(later(UNWATCHED_SECONDS + 1))
    assert runs.find((1, 1)) is None
    assert kept == {(1, 1): trial.run.recorded()}


def test_records_are_stored_together_and_again_when_the_database_took_none() -> None:
    exercise = Catalogue(EXERCISES).find("wash-sump")
    assert exercise is not None
    recorded = Recorded(start_program(exercise), (), 0)
    asked: list[set[Key]] = []

    def refuse_once(records: Mapping[Key, Recorded]) -> None:
        asked.append(set(records))
        if len(asked) == 1:
            raise OperationalError("INSERT", {}, Exception("it is gone"))

    async def work() -> None:
        runs = Runs(refuse_once)
        for number in range(3):
            await runs.open((number, 1), exercise, recorded)
        for trial in runs:
            if trial.key != (2, 1):
                trial.screen.step(7)
        for _ in range(3):
            await runs.tidy(monotonic() + SAVE_SECONDS + 1)

    asyncio.run(work())
    assert asked == [{(0, 1), (1, 1)}, {(0, 1), (1, 1)}]
