"""What a comparison says: numbers with unit and place, a cause, one thing to try, why it may be fine."""

import json
import re

import pytest

from meter.shelf.compare import compare
from meter.shelf.store import ShelfItem
from meter.shelf.text import comparison_object, comparison_text, reference_object, shelf_text
from meter.shelf.words import band_sentences, sentences, trim_sentence
from meter.standards import iec_61260_1_2014 as iec
from tests.shelf.sounds import PLAIN, like

NOMINAL_HZ = [iec.nominal_hz(index) for index in iec.indices()]


def at(hz):
    return NOMINAL_HZ.index(hz)


def test_the_trim_says_which_way_how_much_and_where_the_peaks_end():
    assert trim_sentence(compare(like(louder_db=-6.0), [PLAIN])) == (
        'turn it up by 6.0 dB to make its loudest 30 s as loud as those of "plain"; '
        "its true peak is -0.5 dBTP then"
    )
    text = trim_sentence(compare(like(louder_db=2.0), [PLAIN, like("b"), like("c")]))
    assert text.startswith("turn it down by 2.0 dB to make its loudest 30 s as loud as those of your 3 ref")
    over = trim_sentence(compare(like(louder_db=-6.0, true_peak_dbtp=-1.0), [PLAIN]))
    assert over.endswith("+5.0 dBTP then, over full scale: as a gain on the way to the ears only")
    assert "no trim needed" in trim_sentence(compare(PLAIN, [PLAIN]))


def test_a_band_that_stands_out_is_told_with_the_spread_of_the_references():
    shelf = [like("a", bands={at(50): 0.8}), like("b", bands={at(50): -1.0}), like("c")]
    (text,) = band_sentences(compare(like(bands={at(50): 2.4}), shelf))
    assert text == (
        "+2.4 dB at 50 Hz in the loudest 30 s (from 1:00.0) against your 3 references, level-matched (they "
        "lie from -1.0 to +0.8 dB of their middle there): more of the sub, perhaps a louder sub, or a note "
        "that lies there; try 1.2 dB less there and listen equally loud, or leave it if the tune is meant so"
    )


def test_neighbours_are_one_sentence_and_a_change_of_side_is_two():
    bands = {at(50): 2.0, at(63): 3.0, at(80): 1.6, at(100): -2.0}
    first, second = band_sentences(compare(like(bands=bands), [PLAIN]))
    assert first.startswith("+3.0 dB at 63 Hz (50 Hz to 80 Hz) in the loudest 30 s (from 1:00.0) against")
    assert second.startswith("-2.0 dB at 100 Hz in the loudest 30 s")
    assert "less of the body of kick and bass" in second
    assert "try 1.0 dB more" in second


def test_a_tune_shorter_than_thirty_seconds_is_told_whole():
    (text,) = band_sentences(compare(like(bands={at(50): 2.0}, loudest_30s_is_whole=True), [PLAIN]))
    assert text.startswith('+2.0 dB at 50 Hz in all of it against "plain", level-matched')


def test_more_than_three_decibels_are_never_advised():
    (text,) = band_sentences(compare(like(bands={at(50): -16.8}), [PLAIN]))
    assert text.startswith("-16.8 dB at 50 Hz")
    assert "try 3.0 dB more there" in text


def test_at_most_three_are_told_the_largest_first():
    bands = {at(25): 1.6, at(63): -4.0, at(315): 3.0, at(2000): 2.0, at(8000): -1.7}
    told = band_sentences(compare(like(bands=bands), [PLAIN]))
    said = [text.split(" in ")[0] for text in told]
    assert said == ["-4.0 dB at 63 Hz", "+3.0 dB at 315 Hz", "+2.0 dB at 2 kHz"]


def test_little_and_what_some_reference_has_too_is_not_told():
    assert band_sentences(compare(like(bands={at(50): 1.4}), [PLAIN])) == ()
    shelf = [like("a", bands={at(50): 3.0}), like("b"), like("c")]
    assert band_sentences(compare(like(bands={at(50): 2.9}), shelf)) == ()


@pytest.mark.parametrize("band", range(31))
@pytest.mark.parametrize("side", [-4.0, 4.0])
def test_every_band_has_words_and_no_number_is_without_unit(band, side):
    for text in sentences(compare(like(bands={band: side}, louder_db=1.0), [PLAIN])):
        text = text.replace("(from 1:00.0)", "")
        for number in re.finditer(r"[+-]?\d+(\.\d+)?", text):
            after = text[number.end() :]
            assert re.match(r" (dB|Hz|kHz|s|dBTP)\b", after), (number.group(), text)
    assert len(text) > 100


# --- blocks


def test_the_block_shows_each_measure_its_neighbours_and_a_plot():
    shelf = [PLAIN, like("other", peak_to_loudness_lu=9.5)]
    text = comparison_text(compare(like("new.wav", bands={at(50): 3.0, at(1000): -20.0}), shelf))
    lines = text.splitlines()
    assert lines[0] == "new.wav against your 2 references, equally loud"
    plr = r" +PLR, peak to loudness +8\.0 +8\.8 LU +-0\.8 LU  nearest: plain 8\.0, other 9\.5"
    assert any(re.fullmatch(plr, line) for line in lines)
    assert "     50 Hz    +3.0                  |######" in lines
    assert "     1 kHz   -20.0  <###############|" in lines
    assert "     2 kHz     0.0                  |" in lines
    assert all(ord(character) < 128 for character in text)


def test_ten_are_told_as_a_rank():
    shelf = [like(f"no {n}", peak_to_loudness_lu=float(n)) for n in range(1, 11)]
    text = comparison_text(compare(like(peak_to_loudness_lu=6.2), shelf))
    assert "above 6 of 10; of such records 31 to 83 %" in text
    assert "nearest" not in text


def test_a_line_adds_up_as_it_is_shown_and_sentences_are_wrapped():
    text = comparison_text(compare(like(peak_to_loudness_lu=12.44), [like(peak_to_loudness_lu=13.06)]))
    assert re.search(r"PLR, peak to loudness +12\.4 +13\.1 LU +-0\.7 LU", text)
    loud = comparison_text(compare(like(bands={at(50): 9.0}), [PLAIN, like("other")]))
    said = loud.partition("\n  * ")[2]
    assert said and all(len(line) <= 100 for line in said.splitlines())


def test_without_a_spectrum_it_says_why():
    assert "No spectrum: a pass that was heard live keeps none" in comparison_text(
        compare(like(spectrum_db=None), [PLAIN])
    )


def test_the_object_holds_the_same():
    shelf = [like(f"no {n}", peak_to_loudness_lu=float(n)) for n in range(1, 11)]
    found = compare(like("new.wav", louder_db=-1.0), shelf)
    made = json.loads(json.dumps(comparison_object(found), allow_nan=False))
    assert made["type"] == "comparison"
    assert made["path"] == "new.wav"
    assert made["trim_db"] == 1.0
    assert made["differences"]["peak_to_loudness_lu"]["rank"]["of"] == 10
    assert made["differences"]["integrated_lufs"]["unit"] == "LUFS"
    assert len(made["bands"]) == 31
    assert made["sentences"] == list(sentences(found))


def test_the_list_of_the_shelf():
    items = [ShelfItem(reference=like("one"), added_unix_s=0.0)]
    items.append(ShelfItem(reference=like("a longer name", spectrum_db=None), added_unix_s=0.0))
    heading, units, one, other = shelf_text(items).splitlines()
    assert one.split()[:6] == ["one", "-7.0", "-8.0", "8.0", "4.0", "-0.5"]
    assert other.endswith("heard live, no spectrum")
    assert heading.index("loudest") < units.index("LUFS")
    assert "nothing is on the shelf yet" in shelf_text([])
    assert json.loads(json.dumps(reference_object(items[0])))["loudest_30s_lufs"] == -7.0
