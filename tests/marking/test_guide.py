"""The guide to exercise files names every key, check, rule and control word that there is."""

from server.marking.checks import CHECKS
from server.marking.files.exercise_schema import ExerciseForm, StepPart
from server.marking.files.form import FileMapping
from server.marking.structure import RULES
from server.paths import EXERCISES

GUIDE = (EXERCISES / "README.md").read_text("utf-8")


def keys_of(form: type[FileMapping]) -> set[str]:
    schema = form.model_json_schema()
    parts = (schema, *schema.get("$defs", {}).values())
    return {key for part in parts for key in part.get("properties", {})}


def test_the_guide_is_complete() -> None:
    words = {key for form in (ExerciseForm, StepPart) for key in keys_of(form)}
    # A hole's coefficient has a sourced default that exercises leave alone.
    missing = {
        word for word in words - {"discharge"} if f"{word}:" not in GUIDE and word not in GUIDE
    }
    assert missing == set()
    assert {name for name in CHECKS if f"{{{name}:" not in GUIDE} == set()
    words_of_guide = " ".join(GUIDE.split())
    assert {name for name in RULES if f"`{name}`" not in words_of_guide} == set()
