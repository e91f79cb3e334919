"""Hidden means hidden in a trial run, too: pages and frames carry no mark of hidden scenarios."""

import json

from server.marking.files.catalogue import Catalogue, start_program
from server.marking.trial.trial import TrialRun
from server.marking.trial.trial_view import View
from server.paths import EXERCISES
from tests.web.lab import OVERFILLS
from tests.web.test_leaks import FORBIDDEN, exercises
from tests.web.trial.test_trial import PRESS, House, desk, house

__all__ = ["desk", "exercises", "house"]


def test_no_mark_reaches_a_student_on_the_plant(house: House) -> None:
    desk = house.lab.desk(house.lab.student)
    desk.build(OVERFILLS)
    assert FORBIDDEN.search(desk.client.get(desk.address).text) is None
    page = house.open(house.lab.student)
    page.do("act", action={"quantity": "sump.level", "value": 1.5})
    page.do("act", action=PRESS)
    page.scans(20)
    page.do("why", signal="fill_pump")
    page.do("save", name="kept")
    seen = [page.answer("reasons"), page.answer("saved"), page.layout, page.chart, page.values]
    assert FORBIDDEN.search(json.dumps(seen)) is None
    assert set(page.layout["checks"]) == {"R1", "R2a", "R2b", "R3"}


def test_an_exercise_keeps_its_observer_to_itself() -> None:
    exercise = Catalogue(EXERCISES).find("apple-wash-sump")
    assert exercise is not None
    own = {variable.symbol for variable in exercise.observer.variables}
    assert own
    run = TrialRun(exercise, start_program(exercise))
    keys = View(exercise, run.program, run.live.assembled).keys
    assert not {key for key in keys if key.partition(".")[0] in own}
