"""What holds for all code: imports go down only, one name is one class, functions stay short."""

import ast
import sys
from collections import defaultdict
from collections.abc import Collection, Iterator
from pathlib import Path

import pytest

from server.paths import PACKAGE

# From the top down: a layer imports from itself and from those after it.
LAYERS = ("web", "jobs", "remote", "store", "marking", "plant", "scan", "ladder")

LONGEST = 60
"""Lines of a function."""

# What is in no layer: a name here may be imported from these layers, all others from none.
SHARED = {
    "paths": {"web", "store", "marking", "scan"},
    "settings": {"web", "remote"},
    "sealing": {"remote", "store"},
    "logs": {"web"},
}

# Third-party packages that a layer may use beside the standard library.
PACKAGES = {
    "ladder": {"pydantic", "pydantic_core"},
    "scan": {"numpy", "numba"},
    "plant": {"numpy", "numba", "pydantic"},
    "marking": {"numpy", "numba", "pydantic", "pydantic_core", "ruamel"},
    "store": {"sqlalchemy", "alembic", "pwdlib", "pyotp"},
    "remote": {"anyio", "httpx2", "joserfc", "pydantic", "sqlalchemy"},
    "jobs": {"procrastinate", "psycopg", "sqlalchemy"},
    "web": {
        "anyio",
        "fastapi",
        "icalendar",
        "jinja2",
        "markdown_it",
        "markupsafe",
        "numpy",
        "openpyxl",
        "prometheus_client",
        "pydantic",
        "pydantic_core",
        "pyotp",
        "segno",
        "sqlalchemy",
        "starlette",
        "zxcvbn",
    },
}

# Rows from the bottom up: a file imports from rows before its own.
STORE = (
    {"database"},
    {
        "audit_chain",
        "claims",
        "college",
        "connections",
        "guesses",
        "local_time",
        "people",
        "statistics",
    },
    {"api_tokens", "audit", "second_factors", "sessions"},
    {"authored", "courses", "openid"},
    {
        "correction_requests",
        "disclosures",
        "holidays",
        "join_codes",
        "retention",
        "section_roles",
        "outcomes",
        "mail_outbox",
        "signatures",
    },
    {"roster_file"},
    {"roster"},
    {"attempts", "allowances", "audit_lines", "outcome_actions", "lti", "roster_log"},
    {"sittings"},
    {"programs"},
    {"standings", "corrections", "addresses", "course_changes"},
    {
        "passwords",
        "regrades",
        "submissions",
        "gauges",
        "gradebook",
        "trials",
        "versions",
        "live_class",
        "lab_seats",
        "comment_snippets",
        "hand_marks",
        "released_runs",
        "grading_queue",
        "report_work",
        "assignment_policy",
    },
    {"author_sandbox", "calendar_links", "due_soon", "roll_over", "supervised_labs"},
    {"accounts", "lti_outbox", "lti_platforms", "lti_roles", "person_export", "privacy", "reports"},
    {"student_changes", "lti_choices", "lti_entry", "lti_registration", "openid_entry"},
    {"lti_members"},
    {"migration"},
    {"transfer"},
)


def imports(file: Path) -> Iterator[str]:
    """Full names of the modules that a file imports, wherever in it."""
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}: imports are absolute here"
            yield node.module or ""
            # `from server.store import people` imports a module, too.
            yield from (f"{node.module}.{name.name}" for name in node.names)


def ours(file: Path) -> Iterator[tuple[str, ...]]:
    for name in imports(file):
        parts = tuple(name.split("."))
        if parts[0] == "server" and len(parts) > 1:
            yield parts[1:]


def files_of(layer: str) -> list[Path]:
    return sorted((PACKAGE / layer).rglob("*.py"))


@pytest.mark.parametrize("layer", LAYERS)
def test_a_layer_imports_only_lower_layers(layer: str) -> None:
    permitted = set(LAYERS[LAYERS.index(layer) :])
    permitted |= {name for name, layers in SHARED.items() if layer in layers}
    wrong = [
        f"{file.relative_to(PACKAGE)} imports server.{'.'.join(parts)}"
        for file in files_of(layer)
        for parts in ours(file)
        if parts[0] not in permitted
    ]
    assert wrong == [], "Move what is needed down, or hand it over as an argument."


@pytest.mark.parametrize("name", SHARED)
def test_what_a_layer_shares_is_below_it(name: str) -> None:
    """A file beside the layers imports only what is below every layer that imports it."""
    lowest = max(LAYERS.index(layer) for layer in SHARED[name])
    permitted = {*LAYERS[lowest + 1 :], *SHARED}
    assert {parts[0] for parts in ours(PACKAGE / f"{name}.py")} <= permitted


@pytest.mark.parametrize("layer", LAYERS)
def test_a_layer_uses_only_its_third_party_packages(layer: str) -> None:
    permitted = PACKAGES[layer] | sys.stdlib_module_names | {"server"}
    wrong = [
        f"{file.relative_to(PACKAGE)} imports {name}"
        for file in files_of(layer)
        for name in imports(file)
        if name.split(".")[0] not in permitted
    ]
    assert wrong == []


def test_the_store_knows_of_the_core_only_programs_and_verdicts() -> None:
    wrong = [
        f"{file.name} imports server.{'.'.join(parts)}"
        for file in files_of("store")
        for parts in ours(file)
        if parts[0] in LAYERS and parts[0] not in ("store", "ladder")
        if parts[:2] != ("marking", "verdict")
    ]
    assert wrong == []


def test_files_of_the_store_import_downwards() -> None:
    rows = {name: row for row, names in enumerate(STORE) for name in names}
    assert {file.stem for file in files_of("store")} - {"__init__"} == rows.keys()
    wrong = [
        f"{file.name} imports store.{parts[1]}"
        for file in files_of("store")
        for parts in ours(file)
        if parts[0] == "store" and len(parts) > 1 and rows[parts[1]] >= rows[file.stem]
    ]
    assert wrong == []


def test_the_web_asks_the_store_for_what_it_reads_and_writes() -> None:
    """Units of work are opened in ``dependencies`` and by ``Database``; all else is the store's."""
    wrong = []
    for file in files_of("web"):
        if file.name == "dependencies.py":
            continue
        for name in imports(file):
            if name.startswith("sqlalchemy") and not name.startswith(
                ("sqlalchemy.exc", "sqlalchemy.orm")
            ):
                wrong.append(f"{file.relative_to(PACKAGE)} imports {name}")
        for node in ast.walk(ast.parse(file.read_text())):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                receiver = ast.unparse(node.func.value)
                if receiver.split(".")[-1] in ("session", "writing"):
                    wrong.append(f"{file.relative_to(PACKAGE)}:{node.lineno}: {ast.unparse(node)}")
    assert wrong == [], "Make it a function of the file of server/store that has the table."


def web_module(parts: tuple[str, ...], known: Collection[str]) -> str | None:
    """Return which module of the web a full name is in: accounts.sign_in, app."""
    for length in (3, 2):
        name = ".".join(parts[1:length])
        if parts[0] == "web" and name in known:
            return name
    return None


def test_files_of_the_web_import_downwards() -> None:
    """Foundations, then pages, then the application; a page may use another, but in no circle."""
    foundations = ["time_zone", "dependencies", "cookies", "access", "rendering", "security"]
    files = {
        ".".join(file.relative_to(PACKAGE / "web").with_suffix("").parts): file
        for file in files_of("web")
        if file.stem != "__init__"
    }
    above: dict[str, set[str]] = {}
    for name, file in files.items():
        used = (web_module(parts, files) for parts in ours(file))
        above[name] = {other for other in used if other is not None} - {name}
    for name, below in above.items():
        if name in foundations:
            assert below <= set(foundations[: foundations.index(name)]), name
        elif name != "app":
            assert "app" not in below, name
    while above:
        free = {name for name, below in above.items() if not below & above.keys()}
        assert free, f"a circle of imports among {sorted(above)}"
        above = {name: below for name, below in above.items() if name not in free}


def test_no_two_classes_have_one_name() -> None:
    places = defaultdict(list)
    for file in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text())):
            if isinstance(node, ast.ClassDef):
                places[node.name].append(f"{file.relative_to(PACKAGE)}:{node.lineno}")
    twice = {name: found for name, found in places.items() if len(found) > 1}
    assert twice == {}, "Name each class after what only it is: RosterLine, not Line."


def test_no_function_is_longer_than_a_page() -> None:
    long = [
        f"{file.relative_to(PACKAGE)}:{node.lineno}: {node.name}"
        for file in sorted(PACKAGE.rglob("*.py"))
        for node in ast.walk(ast.parse(file.read_text()))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        if (node.end_lineno or 0) - node.lineno >= LONGEST
    ]
    assert long == [], f"Split it where a part has a name of its own; {LONGEST} lines at most."
