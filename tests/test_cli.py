"""The command's table of subcommands, and that naming none of them loads none."""

import ast
import importlib
import re
import shlex
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest

from server.cli import COMMANDS, build_parser, main
from server.paths import PACKAGE
from server.scan.engine_version import ENGINE_VERSION


@pytest.mark.parametrize("name", COMMANDS)
def test_help_is_the_first_line_of_the_file(name: str) -> None:
    source = (PACKAGE / "commands" / f"{name}.py").read_text()
    docstring = ast.get_docstring(ast.parse(source))
    assert docstring is not None
    assert docstring.splitlines()[0] == COMMANDS[name]


def test_help_loads_neither_compiler_nor_web() -> None:
    program = (
        "import sys; from server.cli import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: print(sorted({'numba', 'fastapi', 'sqlalchemy'} & sys.modules.keys()))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize("name", COMMANDS)
def test_help_has_examples_that_hold_and_every_exit_status(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    module = importlib.import_module(f"server.commands.{name}")
    for example in module.EXAMPLES:
        words = shlex.split(example.partition(">")[0])
        assert words[:2] == ["rungmark", name]
        build_parser([name]).parse_args(words[1:])
    with pytest.raises(SystemExit):
        main([name, "--help"])
    shown = capsys.readouterr().out
    assert all(example in shown for example in module.EXAMPLES)
    for status in {*module.EXIT_STATUS, 2}:
        assert re.search(rf"^  {status}  \w", shown, re.MULTILINE)


def test_the_version_names_the_engine(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--version"])
    assert ended.value.code == 0
    assert capsys.readouterr().out == f"rungmark {version('rungmark')} (engine {ENGINE_VERSION})\n"


def test_bash_completes_commands_options_and_tasks(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", "bash"]) == 0
    script = capsys.readouterr().out
    for typed, expected in (
        ("rungmark ser", ["serve"]),
        ("rungmark serve --de", ["--demo"]),
        ("rungmark account li", ["link", "list"]),
    ):
        ask = (
            f"{script}\nCOMP_WORDS=({typed}); COMP_CWORD=$((${{#COMP_WORDS[@]}} - 1))\n"
            '_shtab_rungmark; echo "${COMPREPLY[@]}"'
        )
        done = subprocess.run(["bash", "-c", ask], capture_output=True, text=True, check=True)
        assert done.stdout.split() == expected
    assert main(["completion", "zsh"]) == 0
    assert capsys.readouterr().out.startswith("#compdef rungmark")


def test_the_console_command_is_installed() -> None:
    command = Path(sys.executable).with_name("rungmark")
    done = subprocess.run([command, "--help"], capture_output=True, text=True, check=True)
    assert "Serve the course pages on this machine." in done.stdout
