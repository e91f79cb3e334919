"""The recipes of DEVELOPERS.md, each followed once with something invented, in this process."""

import re
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from textwrap import dedent

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from fastapi import APIRouter, Depends, Request
from jinja2 import ChoiceLoader, DictLoader
from pydantic import TypeAdapter, ValidationError
from starlette.responses import Response
from starlette.testclient import TestClient

import server.commands
from server.cli import COMMANDS, main
from server.ladder.elements import BLOCK_TYPES, BlockFamily, BlockType, ElementHelp, Pin
from server.ladder.text_form import parse_program, print_program
from server.ladder.xml_reader import read_xml
from server.ladder.xml_writer import write_xml
from server.marking import checks
from server.marking.check import Pattern
from server.marking.checks import CHECKS, AnyCheck, kind_in
from server.paths import MIGRATIONS, PACKAGE
from server.plant.drawing import draw_plant
from server.plant.fields import Flow, Line, Many, VesselName
from server.plant.part import Part
from server.plant.parts.outlet import inflow
from server.plant.parts_view import Parts
from server.plant.physics import PhysicsOp
from server.plant.plant import PART_KINDS, Plant
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site
from server.plant.step import PlantStep
from server.scan.assembler import Assembler
from server.scan.blocks import INSTANCES, RisingEdge
from server.scan.instructions import TRUE, Op
from server.settings import Settings
from server.store import migration
from server.store.database import Database
from server.store.migration import ALL_TABLES, migrate
from server.web import app as application
from server.web.access import ANYBODY, RULES, enforce
from server.web.authoring.fields import kinds_of
from server.web.rendering import environment, page
from tests.factories import EXERCISES, Clock
from tests.plant.rig import Rig
from tests.scan.lane_run import LaneRun


@pytest.mark.parametrize(
    "recipe",
    ["a page", "a part to plants (a device)", "an element of the language", "a check",
     "a table or column", "a subcommand"],
)  # fmt: skip
def test_the_recipes_below_are_those_of_the_document(recipe: str) -> None:
    text = (PACKAGE.parent / "DEVELOPERS.md").read_text()
    assert f"**add {recipe}.**" in text


# -- a device ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Leak(Part):
    """A hole in a vessel that nobody can shut."""

    noun = "leak"

    name: Line
    vessel: VesselName
    rate: Flow
    label: Line = field(kw_only=True)

    def controls(self, parts: Parts) -> tuple[()]:
        return ()

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        return f"{self.label} in {parts.label(self.vessel)}."

    def draw(self, sheet: PlantSheet) -> None:
        sheet.vessels.add_beside(
            self.vessel, lambda pen, column: pen.text(column.left, column.bottom, self.label)
        )

    def drive(self, site: Site) -> None:
        flow, rate = site.row(inflow(self.vessel)), site.rate(f"{self.name}.rate", self.rate)
        site.asm.emit_physics(PhysicsOp.FLOW, flow, TRUE, rate, -1)

    def permit(self, site: Site) -> None:
        site.may_fall(f"{self.vessel}.level", TRUE)


@dataclass(frozen=True, slots=True)
class LeakyPlant(Plant):
    """The catalogue of parts with one more field."""

    leaks: Many[Leak] = ()


def test_a_device_is_a_file_and_a_field(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(PART_KINDS, "leaks", Leak)
    assert [f.key for f in kinds_of(Leak)] == ["name", "vessel", "rate", "label"]
    vessel = {"name": "tank", "area": "1 m²", "height": "1 m", "start level": "500 mm"}
    leak = {"name": "leak", "vessel": "tank", "rate": "10 l/s", "label": "Cracked weld"}
    form = TypeAdapter(LeakyPlant)
    written = {"vessels": [vessel | {"label": "Tank"}], "leaks": [leak]}
    plant = form.validate_python(written)
    rig = Rig(plant)
    rig.run(100)
    assert rig.value("tank.level") == pytest.approx(0.49)
    assert "Cracked weld in Tank." in draw_plant(plant, ())
    assert PlantStep(plant, Assembler(), abstract=True).gauges
    with pytest.raises(ValidationError, match="leak: no vessel cellar"):
        form.validate_python(written | {"leaks": [leak | {"vessel": "cellar"}]})


# -- an element ----------------------------------------------------------------------------------

TOGGLE = BlockType(
    "TOGGLE",
    BlockFamily.EDGE_DETECTOR,
    power_in="CLK",
    power_out="Q",
    inputs=(),
    outputs=(Pin("Q", "BOOL"),),
    meaning="toggle",
    help=ElementHelp(
        "TOGGLE", ("Q changes at each edge.", "Nothing resets it."), "x := a AND t();", (), ()
    ),
    mistaken_for=("R_TRIG",),
)


class Toggle(RisingEdge):
    """Q changes whenever power arrives."""

    def run(self, power: int, pin: object) -> None:
        rose = self.asm.edge(power, self.memory)
        self.asm.emit(Op.XOR, self.power_out, self.power_out, rose)


def test_an_element_is_a_row_and_its_instructions(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(BLOCK_TYPES, "TOGGLE", TOGGLE)
    monkeypatch.setitem(INSTANCES, "TOGGLE", Toggle)
    program = parse_program(
        "PROGRAM p VAR a AT %IX0.0 : BOOL; x AT %QX0.0 : BOOL; t : TOGGLE; END_VAR "
        "x := a AND t(); END_PROGRAM"
    )
    assert parse_program(print_program(program)) == program
    assert read_xml(write_xml(program)).program == program
    run = LaneRun(program)
    found = []
    for a in (0, 1, 1, 0, 1, 0):
        run.scan({"%IX0.0": [a] * 64})
        found.append(run.signals()["x"][63])
    assert found == [0, 1, 1, 1, 0, 0]


# -- a check -------------------------------------------------------------------------------------

HAPPENS = '''
"""``happens: P``: something that must not be missing in any scan, which is silly."""

from server.marking.check import Circuit, Pattern
from server.marking.expression import Expression
from server.scan.instructions import TRUE


class Happens(Pattern):
    menu = "happens: in each scan"
    draft = {"happens": ""}

    happens: Expression

    @property
    def judged(self):
        return self.happens

    def circuit(self, asm, compile_condition):
        happens = compile_condition(self.happens)
        return Circuit(asm.not_(happens), TRUE, happens)

    def describe(self):
        return "it must happen"

    def violation(self, run):
        return f"At {run.at} it did not happen."

    def never_came(self):
        return "did anything happen"

    def courses(self):
        return ((100, ("happens",)),), ((100, ()),)
'''


def test_a_check_is_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "happens.py").write_text(HAPPENS)
    monkeypatch.setattr(checks, "__path__", [str(tmp_path)])
    kind = kind_in("happens")
    monkeypatch.setitem(CHECKS, kind.key(), kind)
    check = TypeAdapter[object](AnyCheck).validate_python({"happens": "lamp", "fails": "No lamp."})
    assert isinstance(check, Pattern)
    assert list(check.conditions()) == ["happens"]
    asm = Assembler(10)
    lamp = asm.control()
    assert check.monitor(asm, lambda condition: lamp, TRUE).judged == lamp
    assert check.not_reached("R1") == "R1 not reached: in no scenario did anything happen."


# -- a page --------------------------------------------------------------------------------------


def test_a_page_is_a_route_with_a_rule(
    database: Database, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    router = APIRouter()

    @router.get("/tides")
    def tides(request: Request) -> Response:
        return page(request, "tides.html", height=7)

    template = '{% extends "base.html" %}{% block body %}<p>{{ height }} m</p>{% endblock %}'
    assert environment.loader is not None
    loader = ChoiceLoader([DictLoader({"tides.html": template}), environment.loader])
    monkeypatch.setattr(environment, "loader", loader)
    monkeypatch.setattr(application, "ROUTERS", (*application.ROUTERS, router))
    # What follows from ROUTERS when the application is imported.
    site = APIRouter(dependencies=[Depends(enforce)])
    site.include_router(router)
    monkeypatch.setattr("server.web.app._SITE", site)
    settings = Settings(
        database_url=database.place, public_urls=("http://testserver",), exercises=EXERCISES
    )
    with pytest.raises(RuntimeError, match=re.escape("look at ['tides']")):
        application.create_app(settings, database, clock)
    monkeypatch.setitem(RULES, "tides", ANYBODY)
    app = application.create_app(settings, database, clock)
    answer = TestClient(app).get("/tides")
    app.state.worker.stop()
    app.state.outside.close()
    assert answer.status_code == 200
    assert "<p>7 m</p>" in answer.text


# -- a table -------------------------------------------------------------------------------------


def test_a_table_is_a_class_and_a_migration(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tables = sa.MetaData(naming_convention=ALL_TABLES.naming_convention)
    for table in ALL_TABLES.sorted_tables:
        table.to_metadata(tables)
    sa.Table("tides", tables, sa.Column("height", sa.Integer(), primary_key=True))
    folder = shutil.copytree(MIGRATIONS, tmp_path / "migrations")
    (folder / "versions" / "9999_tides.py").write_text(
        dedent(f"""
        import sqlalchemy as sa
        from alembic import op

        revision = "9999"
        down_revision = "{migration.newest_revision()}"


        def upgrade() -> None:
            height = sa.Column("height", sa.Integer(), nullable=False)
            op.create_table("tides", height, sa.PrimaryKeyConstraint("height", name="pk_tides"))
        """)
    )
    monkeypatch.setattr(migration, "MIGRATIONS", folder)
    with database.engine.connect() as connection:
        context = MigrationContext.configure(connection)
        assert [change[0] for change in compare_metadata(context, tables)] == ["add_table"]
    migrate(database)
    with database.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), tables) == []


# -- a subcommand --------------------------------------------------------------------------------


def test_a_subcommand_is_a_file_and_a_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "tide.py").write_text(
        dedent('''
        """Tell the tide."""

        EXAMPLES = ("rungmark tide Larkmoor",)
        EXIT_STATUS = {0: "the tide is told"}


        def add_arguments(parser):
            parser.add_argument("harbor")


        def run(arguments):
            print(f"High water at {arguments.harbor}.")
            return 0
        ''')
    )
    monkeypatch.setattr(server.commands, "__path__", [*server.commands.__path__, str(tmp_path)])
    monkeypatch.setitem(COMMANDS, "tide", "Tell the tide.")
    assert main(["tide", "Larkmoor"]) == 0
    assert capsys.readouterr().out == "High water at Larkmoor.\n"
