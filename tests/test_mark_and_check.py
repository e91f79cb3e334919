"""The commands mark and check: what they print, and their exit status."""

import json
from pathlib import Path

import pytest

from server.cli import main
from server.paths import EXERCISES
from tests.marking.small_exercise import SLUG, TEXT

PROGRAMS = EXERCISES / "apple-wash-sump" / "programs"
RIGHT, WRONG = str(PROGRAMS / "right-seal-in.st"), str(PROGRAMS / "wrong-start-wins.st")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / SLUG
    (folder / "programs").mkdir(parents=True)
    (folder / "exercise.yaml").write_text(TEXT, "utf-8")
    return folder


@pytest.mark.parametrize(
    ("programs", "status"), [([RIGHT], 0), ([RIGHT, WRONG], 1), ([WRONG, "nowhere.st"], 2)]
)
def test_the_exit_status_is_that_of_the_worst(
    programs: list[str], status: int, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["mark", "apple-wash-sump", *programs]) == status
    told = capsys.readouterr()
    assert ("nowhere.st: The file can't be read: No such file" in told.err) == (status == 2)


def test_json_has_one_object_a_program(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["mark", str(EXERCISES / "apple-wash-sump"), RIGHT, WRONG, "--json"]) == 1
    right, wrong = json.loads(capsys.readouterr().out)
    fields = {"exercise", "program", "score", "max_score", "requirements", "second_look"}
    assert set(right) == fields
    assert right["second_look"] == []
    assert (right["exercise"], right["program"]) == ("apple-wash-sump", RIGHT)
    assert right["score"] == right["max_score"] == 14.0
    failed = [r for r in wrong["requirements"] if r["status"] == "not met"]
    assert [r["id"] for r in failed] == ["R2"]
    keys = {"id", "status", "known_by", "covers", "not_proved", "sentence", "scenario", "at_ms"}
    keys |= {"cause"}
    assert all(set(r) == keys for r in right["requirements"] + wrong["requirements"])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("PROGRAM p\nx := y;\nEND_PROGRAM\n", "p.st:2:6: y is not declared. Declare it."),
        ("PROGRAM p\nx := ;\nEND_PROGRAM\n", "p.st:2:6: Expected a contact"),
        (b"PROGRAM \xff", "p.st:1:1: The file is not UTF-8. Save it as UTF-8."),
    ],
)
def test_a_program_that_can_not_run_is_told_by_line(
    tmp_path: Path, text: str | bytes, message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "p.st"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    assert main(["mark", "apple-wash-sump", str(file)]) == 2
    assert message in capsys.readouterr().err


def test_an_unknown_exercise_is_told_with_the_known_ones(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for command in (["check", "pear-wash"], ["mark", "pear-wash", RIGHT]):
        assert main(command) == 2
        told = capsys.readouterr().err
        assert "There is no exercise 'pear-wash'" in told
        assert "apple-wash-sump" in told


def test_check_gives_advice_and_is_content(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(folder)]) == 0
    told = capsys.readouterr().out
    assert "The exercise has 0 right programs. 2 or more tell its quality." in told
    assert f"{folder / 'exercise.yaml'}:35:9: requirements.1.id: No wrong program fails R1" in told
    assert "small-tank 1: 2 requirements, 1 scenarios, 0 reference programs" in told


def test_check_finds_a_program_that_is_marked_otherwise(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = folder / "programs" / "right-nothing.st"
    file.write_text("PROGRAM p\n;\nEND_PROGRAM\n", "utf-8")
    assert main(["check", str(folder)]) == 1
    assert f"{file}: R1 is not met; it must be met." in capsys.readouterr().out


def test_check_refuses_a_broken_file(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "exercise.yaml").write_text(TEXT.replace("within: 50 ms", "within: 50"), "utf-8")
    assert main(["check", str(folder)]) == 2
    assert "exercise.yaml:42:17: requirements.1.checks.1.within:" in capsys.readouterr().err
