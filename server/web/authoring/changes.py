"""Changes of a draft that the author's page sends: each gives new texts, or a sentence why not."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from server.ladder.limits import MAX_TEXT_BYTES
from server.marking.authoring.demands import split_number, two_demands
from server.marking.authoring.implied import implied_requirements
from server.marking.authoring.plant_templates import TEMPLATES, new_point
from server.marking.authoring.renaming import may_follow, renamed
from server.marking.authoring.yaml_edit import add_part, move_part, set_value
from server.marking.checks import CHECKS
from server.marking.files.document import MAX_FILE_BYTES, FieldPath, FileFault, read_document
from server.marking.files.drafts import MAX_PROGRAM_BYTES, Draft, points_and_plant, read_draft
from server.marking.presentation.scenario_text import duration
from server.plant.devices import KINDS
from server.plant.measures import milliseconds_of
from server.plant.plant import LISTS, SINGLES
from server.web.authoring.fields import Kind, kinds_of, typed
from server.web.authoring.view import part_at

MAX_PROGRAMS = 60


class DraftChange(BaseModel):
    """One change: what is done, at which place, with which value."""

    model_config = ConfigDict(extra="forbid")

    do: str = Field(max_length=40)
    path: list[str | int] = Field(default_factory=list, max_length=12)
    value: str = Field(default="", max_length=200_000)


class ChangeRefused(ValueError):
    """A change that can't be made; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Offered:
    """What comes from elsewhere: findings of the check, a recorded run, a program, outcomes.

    ``outcome`` returns the word and the statement of one in a catalogue, by the id of its version.
    """

    finding: Callable[[int], Mapping[str, Any]]
    recorded: Callable[[], str]
    program: Callable[[], str]
    outcome: Callable[[str], tuple[str, str] | None]


def changed(draft: Draft, change: DraftChange, offered: Offered) -> Draft:
    """Return the draft after a change. Raises Refused; the draft is then as it was."""
    act = ACTIONS.get(change.do)
    if act is None:
        raise ChangeRefused("The page does not know this change. Reload it and try again.")
    try:
        after = act(draft, tuple(change.path), change.value, offered)
    except FileFault as fault:
        raise ChangeRefused(
            f"The text can't be read: {fault.faults[0]} Fix it in the text view first."
        ) from None
    except (LookupError, TypeError):
        raise ChangeRefused(
            "This part is not there any more. Reload the page to see the newest."
        ) from None
    if len(after.text.encode()) > MAX_FILE_BYTES:
        raise ChangeRefused(f"The exercise would be larger than {MAX_FILE_BYTES // 1000} kB.")
    return after


def _set(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    data = _data(draft)
    kind = _kind_at(path, data)
    kept, old = _kept(kind, value), _value_at(data, path)
    if may_follow(data, path, old, kept):
        text, programs = renamed(draft.text, draft.programs, path, str(old), str(kept))
        return replace(draft, text=text, programs=programs)
    return replace(draft, text=set_value(draft.text, path, kept))


def _value_at(data: Any, path: FieldPath) -> Any:
    for key in path[:-1]:
        data = data[key]
    return data.get(path[-1]) if isinstance(data, dict) else None


def _kept(kind: Kind, value: str) -> Any:
    found = typed(kind, value)
    # A field that must be there stays, so that its fault is shown beside it.
    return "" if found is None and kind.required else found


def _kind_at(path: FieldPath, data: Any) -> Kind:
    part: Any = part_at(path[:-1], data) if path else None
    for kind in kinds_of(part) if part else ():
        if kind.key == path[-1]:
            return kind
    raise LookupError(path)


def _remove(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    if len(path) < 2:
        raise LookupError(path)
    return replace(draft, text=set_value(draft.text, path, None))


def _move(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    return replace(draft, text=move_part(draft.text, path, -1 if value == "up" else 1))


def _add_parameter(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    taken = {row.get("name") for row in _rows(draft, "parameters")}
    name = next(f"number_{n}" for n in range(1, 200) if f"number_{n}" not in taken)
    row = {"name": name, "from": "1 s", "to": "3 s", "step": "500 ms"}
    return replace(draft, text=add_part(draft.text, ("parameters",), row))


def _take_outcome(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    found = offered.outcome(value)
    if found is None:
        raise ChangeRefused("This outcome is in no catalogue any more. Choose another.")
    word, statement = found
    outcomes = _data(draft).get("outcomes")
    kept = dict(outcomes) if isinstance(outcomes, dict) else {}
    return replace(draft, text=set_value(draft.text, ("outcomes",), kept | {word: statement}))


def _add_point(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    if value not in KINDS:
        raise ChangeRefused("Choose a device of the catalogue first.")
    row = new_point(value, _rows(draft, "points"))
    return replace(draft, text=add_part(draft.text, ("points",), row))


def _template(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    if value not in TEMPLATES:
        raise ChangeRefused("Choose a plant first.")
    _, plant, points = TEMPLATES[value]
    text = set_value(draft.text, ("plant",), plant)
    if not _rows(draft, "points"):
        text = set_value(text, ("points",), points)
    return replace(draft, text=text)


def _add_plant_part(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    """Add a part to the list at ``path``, or the kind ``value`` to the group at ``path``."""
    place = (*path, value) if value else path
    key, kinds = str(place[-1]), LISTS | SINGLES
    if key not in kinds:
        raise ChangeRefused("Choose a kind of part first.")
    row = {kind.key: kind.example or "" for kind in kinds_of(kinds[key]) if kind.required}
    if key in LISTS:
        return replace(draft, text=add_part(draft.text, place, row))
    if part_at(place, _data(draft)) is None or _there(_data(draft), place):
        raise ChangeRefused(f"The plant has its {key} already.")
    return replace(draft, text=set_value(draft.text, place, row))


def _there(data: Any, path: FieldPath) -> bool:
    for key in path:
        if not isinstance(data, dict) or key not in data:
            return False
        data = data[key]
    return True


def _add_requirement(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    row = {"id": _next_number(draft), "text": value, "kind": "stated", "weight": 1, "checks": []}
    return replace(draft, text=add_part(draft.text, ("requirements",), row))


def _next_number(draft: Draft) -> str:
    taken = {str(row.get("id", "")).rstrip("abcdefghij") for row in _rows(draft, "requirements")}
    return next(f"R{n}" for n in range(1, 200) if f"R{n}" not in taken)


def _split(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    """Split a requirement in two; checks stay with the first."""
    rows = _rows(draft, "requirements")
    number = path[1]
    assert isinstance(number, int)
    row = rows[number]
    parts = two_demands(str(row.get("text", "")))
    if parts is None:
        raise ChangeRefused("This sentence carries one demand already.")
    first, second = split_number(str(row.get("id", "R1")), {str(r.get("id")) for r in rows})
    text = set_value(draft.text, (*path, "id"), first)
    text = set_value(text, (*path, "text"), parts.first)
    other = {**row, "id": second, "text": parts.second, "checks": []}
    text = add_part(text, ("requirements",), other)
    text = move_part(text, ("requirements", len(rows)), number + 1 - len(rows))
    return replace(draft, text=text)


def _adopt(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    for implied in implied_requirements(*points_and_plant(read_draft(draft).filled)):
        if implied.key == value:
            row = {
                "id": _next_number(draft),
                "text": implied.text,
                "kind": "implied",
                "weight": 1,
                "checks": list(implied.checks),
            }
            return replace(draft, text=add_part(draft.text, ("requirements",), row))
    raise LookupError(value)


def _add_check(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    if value not in CHECKS:
        raise ChangeRefused("Choose a pattern first.")
    return replace(draft, text=add_part(draft.text, path, CHECKS[value].draft))


def _add_scenario(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    taken = {row.get("name") for row in _rows(draft, "scenarios")}
    name = next(f"Scenario {n}" for n in range(1, 200) if f"Scenario {n}" not in taken)
    row = {"name": name, "steps": [{"after": "500 ms"}], "run on": "2 s"}
    return replace(draft, text=add_part(draft.text, ("scenarios",), row))


def _add_step(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    return replace(draft, text=add_part(draft.text, path, {"after": "1 s"}))


def _shift(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    """Move a step in time by so many ms; those behind it stay where they are, if they can."""
    rows: Any = _data(draft)
    for key in path[:-1]:
        rows = rows[key]
    step = path[-1]
    assert isinstance(step, int)
    after, behind = _wait(rows, step), _wait(rows, step + 1)
    if after is None or re.fullmatch(r"-?[0-9]{1,7}", value) is None:
        raise ChangeRefused(
            "This step has no time of its own. Change what it waits for in its fields."
        )
    by = max(int(value), -after)
    if behind is not None:
        by = min(by, behind)
    text = set_value(draft.text, (*path, "after"), duration(after + by))
    if behind is not None:
        text = set_value(text, (*path[:-1], step + 1, "after"), duration(behind - by))
    return replace(draft, text=text)


def _wait(rows: list[Any], step: int) -> int | None:
    """Return how long a step waits by itself, in ms."""
    row = rows[step] if step < len(rows) else None
    return milliseconds_of(row.get("after")) if isinstance(row, dict) else None


def _add_offered(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    return _with_scenario(draft, str(_finding(offered, value, "scenario")["scenario"]))


def _demand_offered(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    """Add the check that a finding proposes to its requirement, or to a new one."""
    finding = _finding(offered, value, "check")
    ids = [str(row.get("id")) for row in _rows(draft, "requirements")]
    if finding["requirement"] not in ids:
        draft = _add_requirement(draft, (), str(finding["check"]["fails"]), offered)
        return _demand(draft, len(ids), finding)
    return _demand(draft, ids.index(finding["requirement"]), finding)


def _demand(draft: Draft, number: int, finding: Mapping[str, Any]) -> Draft:
    place = ("requirements", number, "checks")
    return replace(draft, text=add_part(draft.text, place, finding["check"]))


def _free_offered(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    finding = _finding(offered, value, "free")
    return replace(draft, text=add_part(draft.text, ("free",), finding["free"]))


def _finding(offered: Offered, value: str, key: str) -> Mapping[str, Any]:
    """Return the finding with this number, which must have something under ``key``."""
    found = offered.finding(int(value) if value.isdecimal() else -1)
    if not found.get(key):
        raise ChangeRefused("This is not offered any more. Wait for the newest check.")
    return found


def _add_recorded(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    return _with_scenario(draft, offered.recorded())


def _with_scenario(draft: Draft, text: str) -> Draft:
    (row,) = read_document("scenario", text.encode()).data
    taken = {each.get("name") for each in _rows(draft, "scenarios")}
    name = str(row["name"])
    row["name"] = next(
        n for n in (name, *(f"{name} ({i})" for i in range(2, 99))) if n not in taken
    )
    return replace(draft, text=add_part(draft.text, ("scenarios",), row))


def _set_program(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    return _with_program(draft, str(path[0]), value)


def _take_program(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    return _with_program(draft, _file_name(value), offered.program())


def _add_program(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    name = _file_name(value)
    if name in draft.programs:
        raise ChangeRefused(f"There is a program {name} already. Choose another name.")
    fails = "// fails: R1\n" if name.startswith("wrong-") else ""
    return _with_program(
        draft, name, f"{fails}PROGRAM {name[:-3].replace('-', '_')}\nEND_PROGRAM\n"
    )


def _with_program(draft: Draft, name: str, text: str) -> Draft:
    programs = draft.programs | {name: text.replace("\r\n", "\n")}
    if len(programs) > MAX_PROGRAMS:
        raise ChangeRefused(f"An exercise has at most {MAX_PROGRAMS} reference programs.")
    if len(text.encode()) > MAX_TEXT_BYTES:
        raise ChangeRefused(f"A program has at most {MAX_TEXT_BYTES // 1000} kB. Make it smaller.")
    if sum(len(each.encode()) for each in programs.values()) > MAX_PROGRAM_BYTES:
        raise ChangeRefused(
            f"The programs of an exercise have at most {MAX_PROGRAM_BYTES // 1000} kB together."
        )
    return replace(draft, programs=programs)


def _remove_program(draft: Draft, path: FieldPath, value: str, offered: Offered) -> Draft:
    programs = dict(draft.programs)
    del programs[str(path[0])]
    return replace(draft, programs=programs)


def _file_name(name: str) -> str:
    stem = name.strip().lower().removesuffix(".st").replace(" ", "-").replace("_", "-")
    good = all(c.isascii() and (c.isalnum() or c == "-") for c in stem)
    if not stem.startswith(("right-", "wrong-")) or not good or not 7 <= len(stem) <= 60:
        raise ChangeRefused("A program is called right-… or wrong-…, in letters, digits and '-'.")
    return f"{stem}.st"


def _data(draft: Draft) -> dict[str, Any]:
    data = read_document("exercise.yaml", draft.text.encode()).data
    return data if isinstance(data, dict) else {}


def _rows(draft: Draft, key: str) -> list[dict[str, Any]]:
    rows = _data(draft).get(key)
    return [r if isinstance(r, dict) else {} for r in rows] if isinstance(rows, list) else []


ACTIONS: dict[str, Callable[[Draft, FieldPath, str, Offered], Draft]] = {
    "set": _set,
    "remove": _remove,
    "move": _move,
    "add parameter": _add_parameter,
    "take outcome": _take_outcome,
    "add point": _add_point,
    "choose plant": _template,
    "add plant part": _add_plant_part,
    "add requirement": _add_requirement,
    "split": _split,
    "adopt": _adopt,
    "add check": _add_check,
    "add scenario": _add_scenario,
    "add step": _add_step,
    "shift": _shift,
    "add offered": _add_offered,
    "demand offered": _demand_offered,
    "free offered": _free_offered,
    "add recorded": _add_recorded,
    "set program": _set_program,
    "take program": _take_program,
    "add program": _add_program,
    "remove program": _remove_program,
}
"""By the name under which the page asks for it."""
