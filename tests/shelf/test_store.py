"""References on the shelf: kept, taken away, brought back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.errors import JournalError, UsageError
from meter.journal.opening import in_memory
from meter.journal.store import Journal
from meter.shelf import measure, store
from meter.shelf.reference import from_text, to_text
from tests.journal.rows import Clock, heard_rows, start
from tests.shelf.sounds import PLAIN, like

numbers = st.none() | st.floats(-100, 100)


@pytest.fixture
def journal():
    with Journal(in_memory(), "memory") as one:
        yield one


def names(journal):
    return [item.reference.name for item in store.items(journal)]


@given(level=numbers, spectrum=st.none() | st.lists(numbers, min_size=31, max_size=31).map(tuple))
def test_a_reference_comes_back_from_its_text_exactly(level, spectrum):
    one = like(integrated_lufs=level, fold_loss_db={"full": level}, spectrum_db=spectrum)
    assert from_text("plain", to_text(one)) == one


def test_what_is_kept_is_small_and_holds_no_audio():
    assert len(to_text(PLAIN)) < 2000


def test_references_come_back_by_name(journal):
    for name in ("b", "a", "ç"):
        store.add(journal, like(name, louder_db=len(name)))
    assert names(journal) == ["a", "b", "ç"]
    assert store.chosen(journal, ["b"]) == [like("b", louder_db=1)]
    assert len(store.chosen(journal)) == 3


def test_a_name_stands_for_one_reference(journal):
    store.add(journal, like("one"))
    with pytest.raises(UsageError, match="there is a reference named 'one' on the shelf already"):
        store.add(journal, like("one"))
    with pytest.raises(UsageError, match="an empty name came"):
        store.add(journal, like("  "))


def test_a_name_of_characters_that_cannot_be_shown_is_made_plain(journal):
    assert store.add(journal, like("broken \udcff\nname")) == "broken ??name"
    assert names(journal) == ["broken ??name"]


def test_an_unknown_name_is_answered_with_those_there_are(journal):
    store.add(journal, like("one"))
    for ask in (store.chosen, store.remove):
        with pytest.raises(UsageError, match="there is no reference named 'on' on the shelf; on it: one"):
            ask(journal, ["on"])
    store.remove(journal, ["one"])
    with pytest.raises(UsageError, match="on it: nothing yet"):
        store.chosen(journal, ["one"])


def test_what_was_taken_away_comes_back_exactly_last_first(journal):
    for name in ("a", "b", "c"):
        store.add(journal, like(name))
    before = journal.rows_of("SELECT * FROM shelf")
    store.remove(journal, ["a", "b"])
    store.remove(journal, ["c"])
    assert names(journal) == []
    assert store.undo(journal) == ["c"]
    assert store.undo(journal) == ["a", "b"]
    assert store.undo(journal) == []
    assert journal.rows_of("SELECT * FROM shelf") == before


def test_a_name_that_was_given_away_meanwhile_gets_a_number(journal):
    store.add(journal, like("one", louder_db=1.0))
    store.remove(journal, ["one"])
    store.add(journal, like("one", louder_db=2.0))
    assert store.undo(journal) == ["one (2)"]
    assert store.chosen(journal, ["one (2)"])[0].loudest_30s_lufs == -6.0


def test_passes_and_references_are_undone_apart(journal):
    store.add(journal, like("one"))
    journal.begin_pass(start())
    store.remove(journal, ["one"])
    journal.delete([1])
    assert store.undo(journal) == ["one"]
    assert journal.undo() == [1]


def test_after_a_week_what_was_taken_away_is_gone():
    clock = Clock()
    with Journal(in_memory(), "memory", clock=clock) as journal:
        store.add(journal, like("one"))
        store.remove(journal, ["one"])
        clock.now_s += 8 * 86_400
        assert store.undo(journal) == []
        journal.tidy()
        assert journal.rows_of("SELECT * FROM shelf") == []


@pytest.mark.parametrize("data", ["", "[]", "{}", '{"form": 2}', '{"form": 1, "spectrum_db": null}'])
def test_a_reference_that_cannot_be_read_is_one_sentence(journal, data):
    journal.rows_of("INSERT INTO shelf (name, added_unix_s, data) VALUES ('odd', 0, ?)", data)
    with pytest.raises(JournalError, match="the reference 'odd' on the shelf cannot be read"):
        store.items(journal)


def test_a_pass_of_the_journal_has_all_but_a_spectrum(journal):
    number = journal.begin_pass(start())
    journal.add_rows(number, heard_rows(33.0))
    made = measure.of_pass(journal, journal.kept_pass(number))
    assert made.name == "pass 1"
    assert made.origin == "heard live"
    assert made.spectrum_db is None
    assert made.loudest_30s_lufs == pytest.approx(-15, abs=3)
    assert made.share_db["20-60"] < made.share_db["60-120"] < -10.0


def test_a_file_and_the_same_heard_live_agree(journal, tmp_path):
    from tests.shelf.sounds import tune, write

    sound = tune(12.0)
    path = write(tmp_path / "one.wav", sound)
    from meter.chain import Chain

    chain = Chain(rate_hz=48_000, channels=2, over_limit_dbtp=0.0)
    number = journal.begin_pass(start(rate_hz=48_000))
    journal.add_rows(number, chain.process(sound.astype("float32")))
    journal.add_rows(number, chain.flush())
    live = measure.of_pass(journal, journal.kept_pass(number), name="one")
    file = measure.of_file(path)
    for key in ("integrated_lufs", "loudest_30s_lufs", "loudness_range_lu", "true_peak_dbtp", "share_db"):
        assert getattr(live, key) == getattr(file, key)
