"""The help on the author's fields: none is forgotten, and an example may be put in as it is."""

from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from server.ladder.points import PointDeclaration
from server.marking.authoring.field_help import FORMS, field_help
from server.marking.authoring.signal_names import signal_names
from server.marking.files.catalogue import Catalogue
from server.marking.files.drafts import read_draft
from server.marking.files.exercise_names import signals_of
from server.paths import EXERCISES
from server.web.authoring.fields import Kind, kinds_of, typed

FIELDS = [(form, kind) for form in FORMS.values() for kind in kinds_of(form)]


@pytest.mark.parametrize(("form", "kind"), FIELDS, ids=lambda each: getattr(each, "key", ""))
def test_each_field_says_what_it_is_for(form: type[Any], kind: Kind) -> None:
    help = field_help(form, kind.key, kind.told)
    assert help is not None
    assert len(help.words) > 10
    if not help.example:
        return
    with pytest.raises(ValidationError) as caught:
        # Other fields are missing; what is asked is whether this one is wrong.
        TypeAdapter(form).validate_python({kind.key: typed(kind, help.example), "no field": 1})
    assert all(error["loc"][0] != kind.key for error in caught.value.errors())


@pytest.mark.parametrize("slug", ["apple-wash-sump", "bottle-line", "case-lift", "first-out-panel"])
def test_a_draft_has_all_signals_also_while_it_is_faulty(slug: str) -> None:
    catalogue = Catalogue(EXERCISES)
    reading = read_draft(catalogue.source(slug))
    assert reading.exercise is not None
    data = reading.filled
    wanted = {n for n in signals_of(reading.exercise) if not n.startswith(("fault.", "FAULT"))}
    groups = signal_names(data)
    assert {name.lower() for names in groups.values() for name in names} >= wanted
    first: PointDeclaration = reading.exercise.points[0]
    broken = {**data, "points": [{**data["points"][0], "address": "%Q"}, *data["points"][1:]]}
    left = {name for names in signal_names(broken).values() for name in names}
    lost = {name for names in groups.values() for name in names} - left
    assert lost <= {first.symbol, f"panel.{first.symbol}", f"{first.symbol}.on"}


def test_a_faulty_part_of_the_plant_hides_no_other() -> None:
    vessel = {"name": "sump", "area": "1 m²", "height": "1 m", "start level": "0 m", "label": "S"}
    plant = {"tank": {"vessels": [vessel, vessel | {"name": "other", "area": "much"}]}}
    assert signal_names({"plant": plant})["Quantities and counts"] == ["sump.level"]
