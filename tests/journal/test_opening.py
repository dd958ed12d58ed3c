"""Opening the journal: nothing there, an older one, a newer one, something else, a disk that refuses."""

import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from meter.errors import JournalError
from meter.journal import opening
from meter.journal.schema import APPLICATION_ID, VERSION, bring_up_to, version_of
from meter.journal.store import open_journal, read_journal
from tests.journal.rows import heard_rows, start

ROOT = Path(__file__).resolve().parents[2]


def names_in(folder):
    return sorted(path.name for path in folder.iterdir())


def older_journal(path, version):
    """A journal as the program wrote it when that was the newest version."""
    connection = sqlite3.connect(path, isolation_level=None)
    bring_up_to(connection, version)
    return connection


def test_a_new_journal_lies_in_the_folder_of_the_settings(leadline_home):
    with open_journal() as journal:
        assert journal.path == leadline_home / "journal.db"
        assert journal.passes() == []
        assert journal.notes == []


def test_it_can_be_written_while_others_read(tmp_path):
    with open_journal(tmp_path) as journal:
        assert journal.rows_of("PRAGMA journal_mode") == [("wal",)]
        assert journal.rows_of("PRAGMA application_id") == [(APPLICATION_ID,)]
        assert journal.rows_of("PRAGMA foreign_keys") == [(1,)]


@pytest.mark.parametrize("version", range(1, VERSION))
def test_an_older_journal_is_brought_up_to_date_and_kept_as_it_was(tmp_path, version):
    path = tmp_path / "journal.db"
    rows = heard_rows(2.0)
    with closing(older_journal(path, version)) as connection:
        connection.execute(
            "INSERT INTO passes (began_unix_s, spec, name, rate_hz, channels, weights, crossover_hz, "
            "over_limit_dbtp, touched_unix_s) VALUES (5, 'system', 'all', 8000, 2, '[1, 1]', 120, 0, 5)"
        )
    with open_journal(tmp_path) as journal:
        assert version_of(journal._connection) == VERSION
        journal.add_rows(1, rows)
        assert journal.kept_pass(1).start.name == "all"
        assert journal.rows_of("SELECT * FROM shelf") == []
        backup = f"journal-of-version-{version}-1.db"
        assert journal.notes == [f"{path} was brought up to date; as it was it is kept as {backup}"]
    with closing(sqlite3.connect(tmp_path / backup)) as before:
        assert version_of(before) == version
        assert before.execute("SELECT name, rows FROM passes").fetchall() == [("all", 0)]
    with open_journal(tmp_path) as again:
        assert again.notes == []


def test_a_step_that_fails_leaves_the_older_journal_as_it_was(tmp_path, monkeypatch):
    path = tmp_path / "journal.db"
    older_journal(path, 1).close()
    from meter.journal import schema

    steps = (schema.STEPS[0], "CREATE TABLE half (id); CREATE TABLE passes (id)")
    monkeypatch.setattr(schema, "STEPS", steps)
    with pytest.raises(JournalError, match=r"table passes already exists.*please report this"):
        open_journal(tmp_path)
    with closing(sqlite3.connect(path)) as connection:
        assert version_of(connection) == 1
        names = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
        assert "half" not in names
    assert "journal-of-version-1-1.db" in names_in(tmp_path)


def test_a_newer_journal_is_set_aside_whole(tmp_path):
    path = tmp_path / "journal.db"
    with open_journal(tmp_path) as journal:
        journal.begin_pass(start(name="of tomorrow"))
        journal.rows_of(f"PRAGMA user_version = {VERSION + 1}")
    with open_journal(tmp_path) as journal:
        assert journal.passes() == []
        (note,) = journal.notes
    (aside,) = tmp_path.glob("journal-set-aside-*.db")
    assert note == (
        f"{path} was written by a newer version of the program; it is kept as {aside.name}, "
        "and a new journal was begun"
    )
    with closing(sqlite3.connect(aside)) as kept:
        assert kept.execute("SELECT name FROM passes").fetchall() == [("of tomorrow",)]


def test_what_a_killed_program_left_beside_it_goes_with_it(tmp_path):
    (tmp_path / "running").mkdir()
    (tmp_path / "killed").mkdir()
    with open_journal(tmp_path / "running") as journal:
        journal.begin_pass(start(name="in the log only"))
        journal.rows_of(f"PRAGMA user_version = {VERSION + 1}")
        for path in (tmp_path / "running").iterdir():  # as a kill at this moment leaves it
            shutil.copy(path, tmp_path / "killed")
    assert "journal.db-wal" in names_in(tmp_path / "killed")
    with open_journal(tmp_path / "killed") as journal:
        assert journal.passes() == []
    (aside,) = (tmp_path / "killed").glob("journal-set-aside-*.db")
    with closing(sqlite3.connect(aside)) as kept:
        assert kept.execute("SELECT name FROM passes").fetchall() == [("in the log only",)]


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"not a database, but long enough to look like one" * 40, "cannot be read as a journal"),
        (b"x", "cannot be read as a journal"),
        (b"y" * 511, "cannot be read as a journal"),
        (b"z" * 512, "cannot be read as a journal"),
        (b"SQLite format 3\0" + b"\xff" * 4080, "cannot be read as a journal"),
    ],
)
def test_what_cannot_be_read_is_set_aside_and_never_deleted(tmp_path, content, why):
    path = tmp_path / "journal.db"
    path.write_bytes(content)
    with open_journal(tmp_path) as journal:
        assert journal.passes() == []
        (note,) = journal.notes
    (aside,) = tmp_path.glob("journal-set-aside-*.db")
    assert aside.read_bytes() == content
    assert note == f"{path} {why}; it is kept as {aside.name}, and a new journal was begun"


def test_a_database_of_another_program_is_set_aside(tmp_path):
    with closing(sqlite3.connect(tmp_path / "journal.db")) as other:
        other.execute("CREATE TABLE recipes (name)")
        other.execute("INSERT INTO recipes VALUES ('soup')")
        other.commit()
    with open_journal(tmp_path) as journal:
        assert "holds something else than a journal" in journal.notes[0]
    (aside,) = tmp_path.glob("journal-set-aside-*.db")
    with closing(sqlite3.connect(aside)) as kept:
        assert kept.execute("SELECT name FROM recipes").fetchall() == [("soup",)]


def test_two_that_are_set_aside_in_one_second_have_two_names(tmp_path):
    for content in (b"first" * 300, b"second" * 300):
        (tmp_path / "journal.db").write_bytes(content)
        open_journal(tmp_path).close()
    found = {path.read_bytes()[:3] for path in tmp_path.glob("journal-set-aside-*.db")}
    assert found == {b"fir", b"sec"}


def test_a_folder_that_is_a_file_is_one_sentence(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(JournalError, match=r"the journal cannot be opened \(.*\); let its folder be written"):
        open_journal(tmp_path / "file" / "more")


def test_a_locked_journal_is_one_sentence(tmp_path):
    path = tmp_path / "journal.db"
    open_journal(tmp_path).close()
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with open_journal(tmp_path, patience_s=0.05) as journal:
            with pytest.raises(JournalError) as caught:
                journal.begin_pass(start())
            assert str(caught.value) == (
                f"{path}: another program is writing into the journal and does not let go; "
                "try again, or close what holds it"
            )
            other.execute("ROLLBACK")
            assert journal.begin_pass(start()) == 1


def test_a_full_disk_is_one_sentence_and_what_was_written_stays(tmp_path):
    with open_journal(tmp_path) as journal:
        number = journal.begin_pass(start())
        journal.add_rows(number, heard_rows(5.0))
        pages = journal.rows_of("PRAGMA page_count")[0][0]
        journal.rows_of(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(JournalError, match="the disk that holds the journal is full; free some space"):
            journal.add_rows(number, heard_rows(60.0, seed=1))
        journal.rows_of("PRAGMA max_page_count = 1000000")
        assert len(journal.rows(number)) == journal.kept_pass(number).soundings == 50


def test_a_journal_that_may_not_be_written_is_one_sentence(tmp_path):
    with open_journal(tmp_path) as journal:
        journal.rows_of("PRAGMA query_only = ON")
        with pytest.raises(JournalError, match="the journal can be read, but not written; allow it"):
            journal.begin_pass(start())


@pytest.mark.parametrize("error", [sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN])
def test_where_nothing_can_be_written_it_is_still_read(tmp_path, monkeypatch, error):
    with open_journal(tmp_path) as journal:
        journal.begin_pass(start(name="kept"))

    def refuse(connection, patience_s):
        failure = sqlite3.OperationalError("attempt to write a readonly database")
        failure.sqlite_errorcode = error
        raise failure

    monkeypatch.setattr(opening, "_use_wal", refuse)
    before = names_in(tmp_path)
    with read_journal(tmp_path) as journal:
        assert [kept.start.name for kept in journal.passes()] == ["kept"]
        with pytest.raises(JournalError, match="can be read, but not written"):
            journal.delete([1])
    assert names_in(tmp_path) == before


def test_to_read_makes_nothing_new(tmp_path):
    with read_journal(tmp_path / "none") as journal:
        assert journal.passes() == []
    assert names_in(tmp_path) == []


def test_many_programs_that_begin_one_journal_at_once_all_can(tmp_path):
    code = (
        "import sys; from pathlib import Path; from meter.journal.store import open_journal\n"
        "from meter.journal.records import PassStart\n"
        "start = PassStart(began_unix_s=1.0, spec='system', name='all', rate_hz=8000, channels=2,\n"
        "                  weights=(1.0, 1.0), crossover_hz=120.0, over_limit_dbtp=0.0)\n"
        "sys.stdin.read()\n"
        "with open_journal(Path(sys.argv[1])) as journal: journal.begin_pass(start); print(journal.notes)"
    )
    command = [sys.executable, "-c", code, str(tmp_path)]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    programs = [subprocess.Popen(command, cwd=ROOT, **pipes) for _ in range(4)]
    for one in programs:
        one.stdin.close()
        one.stdin = None
    said = [one.communicate() for one in programs]
    assert said == [("[]\n", "")] * 4
    assert names_in(tmp_path) == ["journal.db"]
    with read_journal(tmp_path) as journal:
        assert len(journal.passes()) == 4


def test_the_files_of_a_journal_are_set_aside_together(tmp_path):
    for ending in ("", "-wal", "-shm"):
        (tmp_path / f"journal.db{ending}").write_text(f"this is {ending}")
    to = opening.set_aside(tmp_path / "journal.db")
    assert names_in(tmp_path) == sorted(f"{to.name}{ending}" for ending in ("", "-wal", "-shm"))
    assert to.with_name(f"{to.name}-wal").read_text() == "this is -wal"
