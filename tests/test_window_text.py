import math
from dataclasses import replace

import pytest

from meter.capture.records import SourceInfo, SourceState, SourceStatus
from meter.dsp.kick_body import Body
from meter.low_end.kick_findings import kick_findings
from meter.low_end.kick_records import Hit
from meter.low_end.kicks import kicks_of
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.now import Now
from meter.soundings import Reading
from meter.window_text import capital, empty_state, for_window, status, together


def a_reading(**known):
    values = dict.fromkeys(Reading.__dataclass_fields__)
    values |= {
        "at_s": 9.0,
        "loudness_range_stable": False,
        "true_peak_dbtp": (-1.0, -2.0),
        "true_peak_max_dbtp": (-1.0, -2.0),
        "sample_peak_max_dbfs": (-1.0, -2.0),
        "fold_loss_db": {},
        "fold_loss_3s_db": {},
        "overs": 0,
        "lost_frames": 0,
        "nonfinite_samples": 0,
    }
    return Reading(**(values | known))


def a_now(status=SourceStatus.RUNNING, sentence=None, spec="system", name="what the system plays", **known):
    state_known = {key: known.pop(key) for key in ("volume_db", "is_muted") if key in known}
    info = SourceInfo(spec=spec, name=name)
    return Now(state=SourceState(status=status, sentence=sentence, info=info, **state_known), **known)


HEARD = a_now(rate_hz=48_000, channels=2, reading=a_reading())


def test_the_status_names_rate_channels_loss_load_and_volume():
    state = replace(HEARD.state, volume_db=0.0)
    said = status(replace(HEARD, state=state), 1.14)
    assert (said.form, said.lost) == ("48 kHz stereo", "0 frames lost")
    assert (said.load, said.volume) == ("1.1 % of one core", "system volume 0.0 dB")


@pytest.mark.parametrize(
    ("rate_hz", "channels", "said"),
    [(44_100, 1, "44.1 kHz mono"), (96_000, 6, "96 kHz 6 channels"), (None, None, None)],
)
def test_the_form_of_the_sound_is_said_when_it_is_known(rate_hz, channels, said):
    assert status(replace(HEARD, rate_hz=rate_hz, channels=channels), None).form == said


def test_lost_frames_are_said_with_their_time():
    assert (
        status(replace(HEARD, reading=a_reading(lost_frames=24_000)), None).lost
        == "24000 frames lost (0.5 s)"
    )


@pytest.mark.parametrize(
    ("volume_db", "is_muted", "said"),
    [
        (-12.0, False, "system volume −12.0 dB"),
        (-0.02, False, "system volume −0.02 dB"),
        (3.0, False, "system volume +3.0 dB"),
        (-math.inf, False, "system volume at zero"),
        (0.0, True, "system muted"),
        (None, None, None),
    ],
)
def test_the_system_volume_is_never_rounded_to_what_it_is_not(volume_db, is_muted, said):
    state = replace(HEARD.state, volume_db=volume_db, is_muted=is_muted)
    assert status(replace(HEARD, state=state), None).volume == said


# --- when there is nothing to draw


def test_no_source_says_why_and_offers_a_way_out():
    now = a_now(SourceStatus.ENDED, "no source: the sound server does not answer; start it")
    empty = empty_state(now)
    assert empty is not None
    assert (empty.title, empty.text) == ("No source", "The sound server does not answer; start it.")
    assert empty.offers_demo and empty.offers_source


@pytest.mark.parametrize(
    ("now", "title"),
    [
        (a_now(SourceStatus.OPENING), "Opening the source"),
        (a_now(SourceStatus.LOST, "unplugged"), "The source is lost"),
        (a_now(SourceStatus.ENDED), "The source has ended"),
        (replace(HEARD, reading=a_reading(short_term_lufs=-math.inf)), "Nothing is playing"),
        (
            replace(
                a_now(spec="device:mic", name="mic"), rate_hz=1, reading=a_reading(short_term_lufs=-80.0)
            ),
            "It is silent",
        ),
        (a_now(volume_db=-12.0), "System volume −12.0 dB"),
        (a_now(volume_db=-math.inf), "The system volume at zero"),
        (a_now(is_muted=True), "System muted"),
        (replace(HEARD, is_held=True), "Held"),
        (replace(HEARD, problem="a rate of 1 Hz cannot be measured"), "This cannot be measured"),
    ],
)
def test_each_state_without_sound_has_its_words(now, title):
    empty = empty_state(now)
    assert empty is not None and empty.title == title
    assert empty.text[0] == empty.text[0].upper() and empty.text.endswith(".")


def test_while_music_is_heard_no_help_is_needed():
    assert empty_state(replace(HEARD, reading=a_reading(short_term_lufs=-9.0))) is None
    assert empty_state(a_now()) is None


def test_a_sentence_begins_with_a_capital_but_the_name_of_a_file_or_device_stays_as_it_is():
    assert capital("the demo tune has ended", SourceInfo(spec="demo", name="the demo tune")) == (
        "The demo tune has ended"
    )
    assert capital("tune.wav has ended", SourceInfo(spec="file:/x/tune.wav", name="tune.wav")) == (
        "tune.wav has ended"
    )
    assert capital("opening tune.wav", SourceInfo(spec="file:/x/tune.wav", name="tune.wav")) == (
        "Opening tune.wav"
    )
    assert capital("held: nothing is measured") == "Held: nothing is measured"


@pytest.mark.parametrize(
    "said",
    [
        "bad/empty.wav: this file is empty (0 bytes)",
        "my tune.wav: there is no such file",
        "tune.wav is out of the list",
        "c:\\tunes\\a.wav: there is no such file",
        "/x/journal.db: the disk that holds the journal is full",
    ],
)
def test_the_name_of_a_file_keeps_its_letters(said):
    assert capital(said) == said
    assert capital(f"at the end there is a name: {said}").startswith("At the")


def test_several_sentences_stand_in_lines_of_their_own():
    said = together("one is wrong", None, "/x/two.toml is not used")
    assert said == "One is wrong\n/x/two.toml is not used"
    assert together(None, None) == ""


def test_keys_stand_in_the_window_for_what_is_written_in_a_terminal():
    under, alone = ([a_hit(k, *how) for k in range(6)] for how in ((-12.0, 15.0), (-60.0, 30.0)))
    hits = [*under, *(replace(one, at_s=one.at_s + 100.0) for one in alone)]
    low_end = LowEnd(kicks=kicks_of(hits, rate_hz=3000.0))
    found = kick_findings(low_end, LowEndSettings(kick_band_hz=(120.0, 125.0)), from_s=0.0)
    assert {one.kind for one in found} == {"kick body", "kick cancels"}
    said = for_window(" ".join(one.text for one in found))
    assert "(Ctrl+L)" in said and "(Ctrl+K) says what helps" in said
    assert "--" not in said and "`" not in said


def a_hit(at_s, sub_db, energy):
    """A kick over a sub, whose body holds so much energy."""
    body = Body(
        hz=95.0, seconds=None, level_dbfs=-4.0, sub_share=0.05, crest_db=6.0, energy=energy, fall_energy=10.0
    )
    levels = {"sub_before_db": sub_db, "sub_during_db": sub_db, "sub_after_db": sub_db}
    return Hit(at_s=float(at_s), body=body, fall_before=0.1, **levels)
