"""The command's table of subcommands, and that naming none of them loads none."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from server.cli import COMMANDS, main
from server.paths import PACKAGE


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


@pytest.mark.parametrize("words", [[], ["serves"], ["serve", "--port", "0"], ["serve", "--x"]])
def test_wrong_usage_ends_with_2(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(words)
    assert ended.value.code == 2
    assert "usage: rungmark" in capsys.readouterr().err


def test_the_console_command_is_installed() -> None:
    command = Path(sys.executable).with_name("rungmark")
    done = subprocess.run([command, "--help"], capture_output=True, text=True, check=True)
    assert "Serve the course pages on this machine." in done.stdout
