"""A recorded trial run as JSON: what the database keeps, and what is read back."""

from typing import Any, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from server.ladder.json_form import from_json as program_from_json
from server.ladder.json_form import to_json as program_to_json
from server.ladder.program import Program
from server.marking.scenario import Action
from server.marking.trial.trial import LONGEST_SCANS, Recorded

VERSION = 1

MAX_EVENTS = 20_000
"""No hand works a panel more often than this in an hour."""

Json: TypeAlias = dict[str, Any]

_action: TypeAdapter[Action] = TypeAdapter(Action)


class _Event(BaseModel):
    model_config = ConfigDict(extra="forbid")

    scan: int = Field(ge=0, le=LONGEST_SCANS)
    action: Any = None
    program: Any = None


class _Form(BaseModel):
    model_config = ConfigDict(extra="forbid")

    version: int = Field(ge=VERSION, le=VERSION)
    program: Any
    events: list[_Event] = Field(max_length=MAX_EVENTS)
    scans: int = Field(ge=0, le=LONGEST_SCANS)


def action_from_json(data: object) -> Action:
    """Return one action, such as ``{"control": "panel.start_pb", "on": true}``.

    Raises ValueError.
    """
    try:
        return _action.validate_python(data)
    except ValidationError:
        raise ValueError("This is nothing that can be done to a plant.") from None


def to_json(recorded: Recorded) -> Json:
    """Return a recorded run as plain JSON data."""
    return {
        "version": VERSION,
        "program": program_to_json(recorded.program),
        "events": [
            {"scan": scan, "program": program_to_json(event)}
            if isinstance(event, Program)
            else {"scan": scan, "action": _action.dump_python(event)}
            for scan, event in recorded.events
        ],
        "scans": recorded.scans,
    }


def from_json(data: object) -> Recorded:
    """Return the run that ``to_json`` wrote. Raises ValueError for anything else."""
    try:
        form = _Form.model_validate(data)
        events = tuple(
            (
                event.scan,
                action_from_json(event.action)
                if event.program is None
                else program_from_json(event.program),
            )
            for event in form.events
        )
        program = program_from_json(form.program)
    except ValueError as refused:
        raise ValueError("This is no recorded run.") from refused
    if list(events) != sorted(events, key=lambda event: event[0]):
        raise ValueError("The events of this run do not stand in order.")
    return Recorded(program, events, form.scans)
