"""What the author's page says of each field: a sentence, an example, and the section to read on in.

A part of a plant whose key means something of its own says so in its field's ``description``.
"""

from dataclasses import dataclass
from typing import Any

from server.marking.checks import CHECKS
from server.marking.files.exercise_schema import (
    BitPart,
    ExerciseForm,
    FreePart,
    ParameterPart,
    PointPart,
    RequirementPart,
    ScenarioPart,
    StepPart,
)
from server.plant.plant import LISTS, SINGLES

FILE, PLANT, DRAWN = "the-file", "plant", "numbers-drawn-per-student"
CONDITIONS, SCENARIOS, FREE = "conditions", "scenarios", "behavior-coverage"
"""Addresses of sections of the author's manual."""


@dataclass(frozen=True, slots=True)
class FieldHelp:
    """``words`` say what stands in the field, ``example`` may be put in as it is."""

    words: str
    example: str = ""
    section: str = PLANT


def _file(words: str, example: str = "") -> FieldHelp:
    return FieldHelp(words, example, FILE)


def _step(words: str, example: str = "") -> FieldHelp:
    return FieldHelp(words, example, SCENARIOS)


def _condition(words: str, example: str = "") -> FieldHelp:
    return FieldHelp(words, example, CONDITIONS)


_OF_FORMS: dict[type[Any], dict[str, FieldHelp]] = {
    ExerciseForm: {
        "exercise": _file("Its name in addresses: a to z, digits and '-'.", "wash-sump"),
        "title": _file("The name that people read.", "Apple wash sump"),
        "version": _file("Counts up with each version that is published.", "1"),
        "teaching order": _file("Lists of exercises go by it.", "3"),
        "summary": _file("One line for lists of exercises.", "A sump is filled and drained."),
        "scan period": _file("How often the program runs.", "10 ms"),
        "outcomes": _file("What is learned: a word, and what it stands for.",
                          "seal-in: Program a seal-in circuit."),
        "statement": _file("What students read, in Markdown. Number the requirements: (R1)."),
        "observer": _condition("Rungs that make signals for checks. They run beside the "
                               "student's program.",
                               "VAR\n    long_on : TON;\n    late : BOOL;\nEND_VAR\n"
                               "late := power AND long_on(PT := T#2s);"),
        "tolerance": _file("How long two right programs may differ in an output.", "150 ms"),
    },
    ParameterPart: {
        "name": FieldHelp("The name that stands in angle brackets in texts.", "soak", DRAWN),
        "from": FieldHelp("The lowest value: a measure or a whole number.", "3 s", DRAWN),
        "to": FieldHelp("The highest value.", "5 s", DRAWN),
        "step": FieldHelp("From one possible value to the next.", "500 ms", DRAWN),
    },
    PointPart: {
        "symbol": _file("The name that programs use: lower-case words.", "start_pb"),
        "address": _file("%IX for an input, %QX for an output, %IW and %QW for numbers.",
                         "%IX0.0"),
        "device": _file("The tag of the device: letters for its kind, then a number.", "HS-201"),
        "kind": _file("What device it is. The list has all of them.", "push-button"),
        "wiring": _file("A contact that is closed at rest is on (1) while nobody works it."),
        "label": _file("What people call it.", "Start"),
    },
    BitPart: {
        "symbol": _file("The name of an internal bit that the statement names.", "filling"),
        "address": _file("Its direct address.", "%MX0.0"),
        "label": _file("What it stands for.", "The sump is being filled"),
    },
    FreePart: {
        "outputs": FieldHelp("Outputs that may be anything while the condition holds.",
                             "fill_pump", FREE),
        "when": FieldHelp("While this holds.", "power AND NOT stop_pb", FREE),
        "sentence": FieldHelp("What students read of it on their sheet.",
                              "Whether the pump starts again while Start is held.", FREE),
    },
    RequirementPart: {
        "id": _condition("Its number: R and a number, a letter for one of two demands.", "R1a"),
        "text": _condition("One demand in one sentence, as students read it."),
        "kind": _condition("Stated in the text, implied by the trade, or about the program "
                           "itself: structure, documentation."),
        "weight": _condition("Its points, 1 to 100.", "1"),
        "outcomes": _condition("Which outcomes it counts for, by their words in section 1.",
                               "seal-in"),
    },
    ScenarioPart: {
        "name": _step("What happens in it, in a few words.", "Stop wins over Start"),
        "open": _step("Students may see it. At most three are open."),
        "judges": _step("Only these requirements are judged in it; empty: all.", "R1a, R1b"),
        "start": _step("Where it begins: quantities, controls on or off.", "power: on"),
        "items": _step("Where items lie: their front edges from the infeed on.",
                       "1.2 m, 2 m marked"),
        "run on": _step("How long it goes on after its last step.", "2 s"),
    },
    StepPart: {
        "after": _step("How long after the step before. Give this, or 'when'.", "500 ms"),
        "when": _step("It waits until this holds.", "power"),
        "within": _step("How long it waits for 'when'; the scenario ends if it never comes.",
                        "20 s"),
        "press": _step("Push-buttons that are pressed and held.", "start_pb"),
        "release": _step("Push-buttons that are let go.", "start_pb"),
        "tap": _step("Push-buttons that are pressed for 300 ms.", "start_pb"),
        "turn on": _step("Switches that stay as they are set, an emergency stop.", "auto_sel"),
        "turn off": _step("Switches that are turned off again.", "auto_sel"),
        "power": _step("The supply of the controller and its outputs."),
        "fault": _step("A point and its fault. The trial run's page lists the faults.",
                       "stop_pb: broken wire"),
        "mend": _step("A point and its fault that goes again.", "stop_pb: broken wire"),
        "set": _step("A quantity or a control, and what a hand sets it to.",
                     "sump.level: 600 mm"),
        "put": _step("Items that are laid down: their front edges.", "3 m, 3.6 m marked"),
        "clear": _step("A stretch from which items are taken off.", "1 m to 2 m"),
    },
}  # fmt: skip

_OF_CHECKS: dict[str, FieldHelp] = {
    "fails": _condition("The sentence after 'R1 not met: '. It must be true of every run that "
                        "breaks the check.", "the pump ran although the sump was full."),
    "idle": _condition("The sentence after 'R1 not reached: '.", "the sump never got full."),
    "scenarios": _condition("It is judged in these scenarios only; empty: in all."),
    "follows": _condition("Requirements whose mistake breaks this check, too: where one of them is "
                          "not met, it does not count.", "R4a"),
    "always": _condition("This holds in every scan …", "pump OR stopped"),
    "given": _condition("… in which this holds. A 'never' is reached once this has held.",
                        "power"),
    "never": _condition("This never holds.", "fill_pump AND drain_valve"),
    "whenever": _condition("Whenever this comes …", "RISING(start_pb)"),
    "held for": _condition("… and has held for so long …", "1 s"),
    "then": _condition("… this must hold …", "pump"),
    "within": _condition("… so soon …", "50 ms"),
    "until": _condition("… and stay until this comes;", "NOT stop_pb"),
    "unless": _condition("nothing is demanded any more once this comes.", "NOT power"),
    "lasts": _condition("Each time this holds, it lasts …", "horn"),
    "at least": _condition("… so long at least;", "1 s"),
    "at most": _condition("… so long at most.", "2 s"),
    "only": _condition("This comes only …", "pump"),
    "after": _condition("… after this has come.", "start_pb"),
    "afresh": _condition("After this it must come again.", "NOT stop_pb"),
    "steady": _condition("This does not chatter:", "pump"),
    "changes": _condition("it changes at most so often …", "4"),
    "window": _condition("… in so much time.", "2 s"),
    "uses": _condition("A rule about the program itself. The list has all of them.", "seal-in"),
    "of": _condition("What the rule asks for: a symbol or an element.", "TON"),
    "by": _condition("What it must be driven by.", "start_pb"),
    "to": _condition("The output to which its path must lead.", "fill_pump"),
    "times": _condition("How often it must be there.", "1"),
    "preset": _condition("About which preset a timer must have.", "4 s"),
}  # fmt: skip

_OF_PLANTS: dict[str, FieldHelp] = {
    "name": FieldHelp("A lower-case word for signals: sump.level.", "sump"),
    "tag": FieldHelp("Its tag on the drawing; for a sensor also the device of its point.",
                     "M-205"),
    "label": FieldHelp("What people call it.", "Apple wash sump"),
    "vessel": FieldHelp("The name of a vessel of this plant.", "sump"),
    "axis": FieldHelp("The name of an axis of this plant.", "lift"),
    "motor": FieldHelp("The name of a motor of this plant.", "auger"),
    "actuator": FieldHelp("The output that works it; empty: it is worked by hand.", "fill_pump"),
    "by": FieldHelp("The output that works it.", "gate_valve"),
    "forward": FieldHelp("The output that drives it forward.", "lift_up"),
    "back": FieldHelp("The output that drives it back; empty: a spring does.", "lift_down"),
    "at start": FieldHelp("Its state at the start, where it is worked by hand."),
    "from": FieldHelp("The vessel that it takes from; empty: from outside.", "sump"),
    "to": FieldHelp("The vessel that it leads to; empty: outside.", "buffer"),
    "area": FieldHelp("The area of its surface.", "0.6 m²"),
    "height": FieldHelp("How high it is, or at which height above the bottom.", "800 mm"),
    "start level": FieldHelp("How high it is filled at the start.", "300 mm"),
    "rate": FieldHelp("How much flows.", "6 l/s"),
    "drawn": FieldHelp("As what it is drawn."),
    "diameter": FieldHelp("The inner diameter of the outlet.", "50 mm"),
    "discharge": FieldHelp("The discharge coefficient of the opening, 0 to 1.", "0.6"),
    "hysteresis": FieldHelp("How far the level falls before the switch drops out.", "10 mm"),
    "length": FieldHelp("How long it is.", "2 m"),
    "speed": FieldHelp("How fast it runs.", "400 mm/s"),
    "run up": FieldHelp("How long the drive takes to its full speed.", "300 ms"),
    "power": FieldHelp("How much heat it gives to the water.", "30 kW"),
    "losses": FieldHelp("How much heat the vessel loses for each degree above its surroundings.",
                        "40 W/K"),
    "surroundings": FieldHelp("The temperature around it, and of the water that flows in.",
                              "20 °C"),
    "start temperature": FieldHelp("How warm the water is at the start; empty: as the "
                                   "surroundings.", "20 °C"),
    "load": FieldHelp("What it draws at full speed, per cent of its rated current.", "80"),
    "trip class": FieldHelp("10, 20 or 30: it trips after so many seconds at the latest, cold and "
                            "at 7.2 times the rated current.", "10"),
    "at": FieldHelp("Where it stands: from the infeed on, or per cent of the travel.", ""),
    "marked only": FieldHelp("It sees marked items only."),
    "holds when": FieldHelp("Whether it holds items while its output is on, or while it is off."),
    "start": FieldHelp("Where it stands at the start, per cent of its travel.", "0"),
    "time forward": FieldHelp("How long the whole travel takes.", "3 s"),
    "time back": FieldHelp("How long the way back takes.", "2 s"),
    "width": FieldHelp("Over how much of the travel it is actuated, per cent.", "4"),
    "item length": FieldHelp("How long an item is.", "500 mm"),
    "gap": FieldHelp("The least distance between two items.", "100 mm"),
    "item": FieldHelp("What travels, in one word.", "crate"),
    "mark": FieldHelp("What a marked item is, in one word.", "bruised"),
    "interval": FieldHelp("The time from one item to the next.", "4 s"),
    "marked every": FieldHelp("Which items are marked: 5 for each fifth one.", "5"),
}  # fmt: skip

FORMS: dict[str, type[Any]] = {
    "The job": ExerciseForm,
    "Parameter": ParameterPart,
    "Point": PointPart,
    "Internal bit": BitPart,
    "Requirement": RequirementPart,
    **{f"Check: {key}": kind for key, kind in CHECKS.items()},
    "Left to the student": FreePart,
    "Scenario": ScenarioPart,
    "Step": StepPart,
    **{f"Plant: {kind.noun}": kind for kind in (*LISTS.values(), *SINGLES.values())},
}
"""The parts of an exercise that have fields, by the heading under which they are listed."""


def field_help(form: type[Any], key: str, description: str = "") -> FieldHelp | None:
    """Return the help on a field; None where nothing is known of it."""
    if description:
        return FieldHelp(description)
    if form in _OF_FORMS:
        return _OF_FORMS[form].get(key)
    return (_OF_CHECKS if form in CHECKS.values() else _OF_PLANTS).get(key)
