"""Broken command lines and settings: each is refused with exit status 2 and one clear sentence."""

import shutil
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from server.cli import main
from server.store.database import Database
from tests.factories import EXERCISES, make_user

SUMP = str(EXERCISES / "wash-sump")
EMAIL = "ada@larkmoor.example"

USAGE = [
    ("", "the following arguments are required: COMMAND"),
    ("serves", "invalid choice: 'serves'"),
    ("serve now", "unrecognized arguments: now"),
    ("serve --prot 80", "unrecognized arguments: --prot 80"),
    ("serve --port", "argument --port: expected one argument"),
    ("serve --port 0", "argument --port: '0' is no port; name a number from 1 to 65535"),
    ("serve --port 70000", "'70000' is no port"),
    ("serve --port http", "'http' is no port"),
    ("prepare demo", "unrecognized arguments: demo"),
    ("work --port 80", "unrecognized arguments: --port 80"),
    ("backup", "the following arguments are required: FILE"),
    ("backup a b", "unrecognized arguments: b"),
    ("restore", "the following arguments are required: FILE"),
    ("copy sqlite:///a.db", "the following arguments are required: TO"),
    ("retention --erase now", "unrecognized arguments: now"),
    ("audit --from yesterday", "argument --from: 'yesterday' is not a day like 2026-10-05"),
    ("audit --to 2026-13-01", "argument --to: '2026-13-01' is not a day"),
    ("audit --expect 5", "argument --expect: write LINE:HASH as an earlier check printed it"),
    ("account", "the following arguments are required: TASK"),
    ("account make", "invalid choice: 'make'"),
    ("account add", "the following arguments are required: EMAIL"),
    ("account add ada", "argument EMAIL: ada is not an email address"),
    (f"account add {EMAIL} --role boss", "argument --role: invalid choice: 'boss'"),
    (f"account add {EMAIL} --port x", "argument --port: 'x' is no port"),
    ("mark", "the following arguments are required: EXERCISE, PROGRAM"),
    ("mark settling-tank", "the following arguments are required: PROGRAM"),
    ("check", "the following arguments are required: EXERCISE"),
    ("prove settling-tank", "the following arguments are required: PROGRAM"),
    ("adequacy", "the following arguments are required: EXERCISE"),
    ("bench --fast", "unrecognized arguments: --fast"),
    ("completion", "the following arguments are required: SHELL"),
    ("completion fish", "argument SHELL: invalid choice: 'fish'"),
]

FILES = [
    ("mark pear-wash a.st", "pear-wash: There is no exercise 'pear-wash'"),
    (f"mark {SUMP} nowhere.st", "nowhere.st: The file can't be read: No such file or directory."),
    (f"mark {SUMP} .", ".: The file can't be read: Is a directory."),
    (f"mark {SUMP} latin.st", "latin.st:1:1: The file is not UTF-8. Save it as UTF-8."),
    (f"mark {SUMP} empty.st", "empty.st:"),
    ("check pear-wash", "pear-wash: There is no exercise 'pear-wash'"),
    ("check empty", "empty/exercise.yaml:1:1: The file is empty. Write the exercise into it."),
    (f"prove {SUMP} nowhere.st", "nowhere.st: The file can't be read: No such file"),
    ("prove pear-wash a.st", "pear-wash: There is no exercise 'pear-wash'"),
    ("bench pear-wash", "pear-wash: There is no exercise 'pear-wash'"),
    ("adequacy pear-wash", "pear-wash: There is no exercise 'pear-wash'"),
]

DATABASES = [
    ("backup latin.st", "The file latin.st exists already. Name another for the backup."),
    ("backup missing/a.backup", "The backup missing/a.backup can't be written"),
    ("backup a.backup --data missing", "There is no database sqlite:///"),
    ("restore nowhere --data new", "There is no backup nowhere. Name the file that was written."),
    ("restore latin.st --data new", "The backup latin.st can't be read"),
    ("restore good.backup", "holds something already, so nothing was copied into it."),
    ("restore good.backup --data missing/data", "The data folder missing/data can't be made"),
    ("copy mysql://lab@db/x sqlite:///a.db", "The database's URL begins with mysql."),
    ("copy data sqlite:///a.db", "The database's URL can't be read."),
    ("copy sqlite:///nowhere.db sqlite:///a.db", "There is no database sqlite:///nowhere.db."),
    ("audit --data missing", "There is no database sqlite:///"),
    ("retention --data missing", "There is no database sqlite:///"),
    ("account list --data missing", "There is no database sqlite:///"),
    ("account link nobody@larkmoor.example", "There is no account with the address nobody@"),
    (f"account add {EMAIL} --data missing/data", "The data folder missing/data can't be made"),
    ("work", "On SQLite `rungmark serve` marks by itself."),
    ("serve --host a..b", "There is no address a..b. Name another with --host."),
    ("serve --data latin.st", "latin.st"),
]

SETTINGS = [
    ("UPLOADLIMIT", "5", "There is no setting RUNGMARK_UPLOADLIMIT. Did you mean RUNGMARK_UPLOAD_"),
    ("STAY_DAYS", "0", "stay_days is '0'. Write a whole number from 1 to 365."),
    ("IDLE_MINUTES", "ten", "idle_minutes is 'ten'. Write a whole number from 1 to 43200."),
    ("SESSION_HOURS", "1e3", "session_hours is '1e3'. Write a whole number from 1 to 720."),
    ("UPLOAD_LIMIT", "-1", "upload_limit is '-1'. Write a whole number from 1 to 100000000."),
    ("SECOND_FACTOR", "yes", "second_factor is 'yes'. Write one of optional, administrators."),
    ("LOG_LEVEL", "loud", "log_level is 'loud'. Write one of debug, info, warning, error."),
    ("TIME_ZONE", "Mars", "time_zone is 'Mars'. Write a name of the IANA's time-zone database"),
    ("EXERCISES", "missing", "exercises: there is no folder missing. Make it, or name another."),
    ("DATABASE_URL", "mysql://db/x", "The database's URL begins with mysql. Write sqlite:///FILE"),
    ("DATABASE_URL", "postgres://db:x/y", "The database's URL can't be read. Write sqlite:///FILE"),
    ("PUBLIC_URLS", "lab.example", "public_urls: lab.example is not an address of this server."),
    ("PUBLIC_URLS", "https://a.example/x", "public_urls: https://a.example/x has the path /x"),
    ("OPENID_ISSUER", "https://id.example", "openid_issuer and openid_client_id belong together."),
    ("OPENID_CLIENT_ID", "lab", "openid_issuer and openid_client_id belong together. Set both."),
    ("MAIL_SERVER", "mail.example:25", "mail_server can't be read. Write smtp://USER:PASSWORD@"),
    ("MAIL_SERVER", "smtp://mail.example", "mail_from is 'rungmark@localhost'. Write the address"),
    ("SETTINGS", "nowhere.toml", "The settings nowhere.toml can't be read: "),
    ("SETTINGS", "latin.st", "The settings latin.st can't be read: "),
    ("SETTINGS", "unknown.toml", "unknown.toml: there is no setting port. The settings are "),
]


def refusal(words: list[str], capsys: pytest.CaptureFixture[str]) -> list[str]:
    """The lines on standard error, of a command that ends with 2."""
    try:
        status = main(words)
    except SystemExit as ended:
        status = ended.code if isinstance(ended.code, int) else -1
    told = capsys.readouterr().err
    assert status == 2, told
    return told.splitlines()


@pytest.fixture(scope="module")
def prepared(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a database of one person, its backup, and files that are nothing."""
    folder = tmp_path_factory.mktemp("broken")
    data = folder / "data"
    data.mkdir(mode=0o700)
    shutil.copy(migrated_file, data / "rungmark.db")
    database = Database(f"sqlite:///{data}/rungmark.db")
    with database.write() as session:
        make_user(session)
    database.close()
    shutil.copy(data / "rungmark.db", folder / "good.backup")
    (folder / "latin.st").write_bytes(b"PROGRAM \xff " * 100)
    (folder / "empty.st").write_text("")
    (folder / "unknown.toml").write_text("port = 80\n")
    (folder / "empty").mkdir()
    (folder / "empty" / "exercise.yaml").write_text("")
    return folder


@pytest.fixture
def here(prepared: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The prepared folder as the current one; it must be left with the files that it had."""
    monkeypatch.chdir(prepared)

    def files() -> list[Path]:
        beside = ("-wal", "-shm", ".lock")
        return [each for each in sorted(prepared.rglob("*")) if not each.name.endswith(beside)]

    before = files()
    yield prepared
    assert files() == before


@pytest.mark.parametrize(("line", "sentence"), USAGE)
def test_a_wrong_command_line(line: str, sentence: str, capsys: pytest.CaptureFixture[str]) -> None:
    *usage, told = refusal(line.split(), capsys)
    assert usage[0].startswith("usage: rungmark")
    assert sentence in told


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize(("line", "sentence"), FILES)
def test_a_file_that_cannot_be_used(
    line: str, sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (told,) = refusal(line.split(), capsys)
    assert told.startswith(sentence)


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize(("line", "sentence"), DATABASES)
def test_a_database_that_cannot_be_used(
    line: str, sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = str(free.getsockname()[1])
    words = line.split()
    (told,) = refusal([*words, "--port", port] if words[0] == "serve" else words, capsys)
    assert told.startswith(f"rungmark {words[0]}: ")
    assert sentence in told


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize(("name", "value", "sentence"), SETTINGS)
def test_a_setting_that_cannot_be_used(
    name: str,
    value: str,
    sentence: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv(f"RUNGMARK_{name}", value)
    (told,) = refusal(["account", "list"], capsys)
    assert told.startswith(f"rungmark account: {sentence}")
