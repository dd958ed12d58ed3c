import math
from dataclasses import replace

import numpy as np
import pytest

from meter.capture.records import SourceInfo, SourceState, SourceStatus
from meter.chain import Chain
from meter.now import Now
from meter.sentence import sentence
from meter.sentence_kinds import Keeper, Kind, Sentence
from meter.soundings import Gap, Over
from meter.targets import Limit, Target, judge

RATE_HZ = 48_000
SYSTEM = SourceInfo(spec="system", name="what the system plays", rate_hz=RATE_HZ, channels=2)
CLUB = Target(
    name="club",
    title="Club",
    source="made up",
    limits={
        "loudest_30s_lufs": Limit(min=-8.0, max=-6.0),
        "true_peak_dbtp": Limit(max=0.0),
        "correlation": Limit(min=0.0),
        "fold_loss_db.below_crossover": Limit(min=-1.0),
    },
)


def heard(left, right, *, target=None, over_limit_dbtp=0.0, **how):
    """What is known at the end of two signals."""
    chain = Chain(rate_hz=RATE_HZ, channels=2, over_limit_dbtp=over_limit_dbtp)
    chain.process(np.stack([left, right], axis=1))
    reading = chain.reading()
    return Now(
        **{
            "state": state(volume_db=0.0, is_muted=False),
            "rate_hz": RATE_HZ,
            "channels": 2,
            "reading": reading,
            "recent": chain.recent.rows,
            "verdicts": {} if target is None else judge(target, reading, live=True),
            "target": target,
            "over_limit_dbtp": over_limit_dbtp,
            "last_over": chain.overs[-1] if chain.overs else None,
            "pass_number": 1,
        }
        | how
    )


def state(**how):
    return SourceState(**{"status": SourceStatus.RUNNING, "sentence": None, "info": SYSTEM} | how)


def sine(seconds, hz, level=0.2, phase_rad=0.0):
    at_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return level * np.sin(2 * np.pi * hz * at_s + phase_rad)


def noise(seconds, level=0.1, seed=1):
    return np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ)) * level


@pytest.fixture(scope="module")
def plain():
    """Four seconds of music in which nothing is wrong: the same noise on both sides, and a sub."""
    both = noise(4.0, 0.05) + sine(4.0, 50.0)
    return heard(both, both, target=CLUB)


# --- what keeps the readings from being true


@pytest.mark.parametrize(
    ("how", "kind", "text"),
    [
        ({"problem": "there are 9 channels"}, Kind.PROBLEM, "there are 9 channels"),
        ({"state": state(status=SourceStatus.OPENING)}, Kind.SOURCE, "opening what the system plays"),
        (
            {"state": state(status=SourceStatus.LOST)},
            Kind.SOURCE,
            "what the system plays is lost; listening goes on when it is back",
        ),
        ({"state": state(status=SourceStatus.LOST, sentence="it went")}, Kind.SOURCE, "it went"),
        ({"state": state(status=SourceStatus.ENDED)}, Kind.SOURCE, "what the system plays has ended"),
        ({"is_held": True}, Kind.HELD, "held: nothing is measured until you go on"),
        (
            {"state": state(volume_db=-6.02)},
            Kind.VOLUME,
            "the system volume is at -6.0 dB, so all levels read lower than the music is: set it to 0 dB "
            "(100 %), until then there is no verdict",
        ),
        (
            {"state": state(volume_db=0.02)},
            Kind.VOLUME,
            "the system volume is at +0.02 dB, so all levels read higher than the music is: set it to 0 dB "
            "(100 %), until then there is no verdict",
        ),
        (
            {"state": state(volume_db=0.0, is_muted=True)},
            Kind.MUTED,
            "the system's output is muted: unmute it and set it to 0 dB (100 %), until then "
            "there is no verdict",
        ),
        (
            {"state": state(volume_db=-math.inf, is_muted=False)},
            Kind.MUTED,
            "the system's output volume is at zero: unmute it and set it to 0 dB (100 %), until then "
            "there is no verdict",
        ),
        (
            {"state": state(sentence="it is back; 2.0 s were lost")},
            Kind.NOTICE,
            "it is back; 2.0 s were lost",
        ),
        ({"reading": None}, Kind.LOUDNESS, "listening"),
    ],
)
def test_what_keeps_the_readings_from_being_true_comes_first(plain, how, kind, text):
    assert sentence(replace(plain, **how)) == Sentence(kind=kind, text=text)


@pytest.mark.parametrize(
    ("spec", "text"),
    [
        (
            "system",
            "nothing is playing: start the music; what takes the sound device for itself is not heard",
        ),
        ("device:a", "nothing comes in through a: look at its cable and its gain"),
        ("file:a", "it is silent here"),
    ],
)
def test_silence_is_said_by_what_is_listened_to(spec, text):
    quiet = np.zeros(4 * RATE_HZ)
    info = SourceInfo(spec=spec, name="a")
    assert sentence(heard(quiet, quiet, state=state(info=info))) == Sentence(kind=Kind.SILENCE, text=text)


def test_silence_is_said_in_the_first_seconds_too_and_a_pause_in_music_is_none():
    second, music = np.zeros(RATE_HZ), noise(3.0, 0.05)
    assert sentence(heard(second, second)).kind is Kind.SILENCE
    paused = np.concatenate([music, second])
    assert sentence(heard(paused, paused)).kind is Kind.LOUDNESS


def test_a_gap_is_said_where_it_was_for_five_seconds(plain):
    gap = replace(plain, last_gap=Gap(at_s=2.0, frames=24_000))
    assert sentence(gap).text == "0.5 s were lost at 0:02.0; loudness and maxima start anew there"
    small = replace(plain, last_gap=Gap(at_s=2.0, frames=96))
    assert sentence(small).text.startswith("0.002 s were lost at 0:02.0")
    later = replace(gap, reading=replace(plain.reading, at_s=8.0))
    assert sentence(later).kind is not Kind.GAP


# --- what is wrong in the music


def test_an_over_is_said_with_its_place_and_amount_for_five_seconds(plain):
    over = Over(at_s=61.3, until_s=61.4, peak_dbtp=0.44, channel=1)
    now = replace(plain, last_over=over, reading=replace(plain.reading, at_s=62.0, overs=3))
    assert sentence(now).text == (
        "the true peak went 0.4 dB over 0.0 dBTP at 1:01.3, 3 overs so far: lower the ceiling by as much, "
        "unless it is meant to clip"
    )
    assert sentence(replace(now, reading=replace(now.reading, at_s=66.5))).kind is not Kind.OVER


def test_an_over_of_less_than_a_tenth_is_not_said_to_be_none(plain):
    over = Over(at_s=1.0, until_s=1.0, peak_dbtp=-0.96, channel=0)
    now = replace(plain, last_over=over, over_limit_dbtp=-1.0, reading=replace(plain.reading, overs=1))
    assert sentence(now).text.startswith("the true peak went 0.04 dB over -1.0 dBTP at 0:01.0: lower")


def test_a_sub_out_of_phase_is_said_to_differ_in_phase():
    # (1 + cos 120°)/2 = 0.25: -6.02 dB. CALC.
    now = heard(sine(4.0, 50.0), sine(4.0, 50.0, phase_rad=2 * np.pi / 3), target=CLUB)
    assert sentence(now).text == (
        "6.0 dB are lost in mono below 120 Hz (3 s, at most 1.0): left and right differ in phase there; "
        "make it narrower, or leave it if it never plays in mono"
    )


@pytest.mark.parametrize(
    ("right", "why"),
    [
        (0.0, "it is one-sided, right is silent beside left"),
        (0.1, "it is one-sided, right is 20 dB under left"),
        (0.3, "it is one-sided, right is 10 dB under left"),
        (0.32, "it is one-sided, right is 10 dB under left"),  # 9.9 dB apart, but alike
    ],
)
def test_a_sub_on_one_side_is_never_said_to_be_a_matter_of_phase(right, why):
    tone = sine(4.0, 50.0)
    found = sentence(heard(tone, right * tone))
    assert found.kind is Kind.MONO
    assert why in found.text and "phase" not in found.text


def test_a_quiet_side_in_any_phase_is_one_sided():
    tone = sine(4.0, 50.0)
    assert "right is silent" not in (text := sentence(heard(tone, -0.2 * tone)).text)
    assert "one-sided, right is 14 dB under left" in text
    assert "one-sided, left is 14 dB under right" in sentence(heard(0.2 * tone, -tone)).text


def test_the_band_that_loses_most_against_its_limit_is_named():
    target = replace(
        CLUB, limits={"fold_loss_db.60-120": Limit(min=-2.0), "fold_loss_db.120-250": Limit(min=-0.5)}
    )
    left = sine(4.0, 85.0) + sine(4.0, 175.0)
    right = sine(4.0, 85.0) + sine(4.0, 175.0, phase_rad=np.pi / 2)
    assert (
        "dB are lost in mono at 120 to 250 Hz (3 s, at most 0.5)"
        in sentence(heard(left, right, target=target)).text
    )


def test_sides_that_work_against_each_other_are_said():
    bass, left = sine(4.0, 50.0, 0.05), noise(4.0, 0.1)
    now = heard(bass + left, bass - 0.5 * left)
    assert sentence(now).kind is Kind.AGAINST
    assert sentence(now).text.startswith("left and right work against each other, r -0.")


def test_too_loud_now_is_said_by_short_term():
    loud = noise(4.0, 0.4)
    now = replace(heard(loud, loud, target=CLUB), last_over=None)
    short_term_lufs = now.reading.short_term_lufs
    amounts = f"short-term {short_term_lufs:.1f} LUFS, {short_term_lufs + 6.0:.1f} LU over"
    assert sentence(now).text == f"it is too loud for Club now: {amounts}"


def test_what_misses_the_target_is_said_with_its_amount(plain):
    target = replace(CLUB, limits={"peak_to_loudness_lu": Limit(min=8.0, max=12.0)})
    for plr_lu, text in [
        (7.0, "the PLR is 1.0 LU under Club: 7.0 LU, 8.0 to 12.0 wanted"),
        (12.04, "the PLR is 0.04 LU over Club: 12.04 LU, 8.0 to 12.0 wanted"),
    ]:
        reading = replace(plain.reading, peak_to_loudness_lu=plr_lu)
        now = replace(plain, target=target, reading=reading, verdicts=judge(target, reading, live=True))
        assert sentence(now) == Sentence(kind=Kind.MISSED, text=text)


# --- how loud it is


@pytest.mark.parametrize(
    ("loudest_lufs", "text"),
    [
        (None, "short-term {short} LUFS; the loudest 30 s, which Club limits, is not known yet"),
        (-7.0, "the loudest 30 s so far is -7.0 LUFS, inside Club (-8.0 to -6.0)"),
        (
            -11.2,
            "the loudest 30 s so far is -11.2 LUFS, 3.2 LU below where Club begins; it is judged at the end",
        ),
        (
            -8.04,
            "the loudest 30 s so far is -8.04 LUFS, 0.04 LU below where Club begins; it is judged at the end",
        ),
    ],
)
def test_loudness_is_held_against_the_target_and_never_called_under(plain, loudest_lufs, text):
    reading = replace(plain.reading, loudest_30s_lufs=loudest_lufs)
    now = replace(plain, reading=reading, verdicts=judge(CLUB, reading, live=True))
    assert sentence(now) == Sentence(
        kind=Kind.LOUDNESS, text=text.format(short=f"{reading.short_term_lufs:.1f}")
    )


def test_without_a_target_loudness_is_simply_said(plain):
    now = replace(plain, target=None, verdicts={}, reading=replace(plain.reading, loudest_30s_lufs=-9.0))
    short_term = f"{plain.reading.short_term_lufs:.1f}"
    assert sentence(now).text == (
        f"short-term {short_term} LUFS, the loudest 30 s so far -9.0; choose a target to hold it against"
    )


def test_in_the_first_three_seconds_it_is_said_that_it_listens():
    music = noise(1.0, 0.05)
    assert sentence(heard(music, music)).text == "listening; how loud it is can be said after 3 s"


def test_a_mono_source_has_nothing_to_lose_in_mono():
    chain = Chain(rate_hz=RATE_HZ, channels=1)
    chain.process(noise(4.0, 0.05)[:, None])
    now = Now(
        state=state(),
        rate_hz=RATE_HZ,
        channels=1,
        reading=chain.reading(),
        recent=chain.recent.rows,
        target=CLUB,
    )
    assert sentence(now).kind is Kind.LOUDNESS


# --- calm


def said(kind, text):
    return Sentence(kind=kind, text=text)


def test_a_more_urgent_sentence_comes_at_once_and_a_lesser_one_after_two_seconds():
    keeper = Keeper()
    assert keeper.keep(said(Kind.LOUDNESS, "a"), 0.0).text == "a"
    assert keeper.keep(said(Kind.OVER, "b"), 0.1).text == "b"
    assert keeper.keep(said(Kind.LOUDNESS, "c"), 2.0).text == "b"
    assert keeper.keep(said(Kind.LOUDNESS, "d"), 2.2).text == "d"


def test_what_is_no_longer_so_of_the_source_is_no_longer_said():
    keeper = Keeper()
    keeper.keep(said(Kind.SOURCE, "opening"), 0.0)
    assert keeper.keep(said(Kind.VOLUME, "at -6 dB"), 0.1).text == "at -6 dB"
    assert keeper.keep(said(Kind.LOUDNESS, "listening"), 0.2).text == "listening"


def test_a_sentence_that_still_holds_stands_two_seconds_longer():
    keeper = Keeper()
    keeper.keep(said(Kind.OVER, "a"), 0.0)
    keeper.keep(said(Kind.OVER, "a"), 1.5)
    assert keeper.keep(said(Kind.LOUDNESS, "b"), 3.0).text == "a"
    assert keeper.keep(said(Kind.LOUDNESS, "b"), 3.6).text == "b"


def test_numbers_in_a_sentence_change_once_a_second():
    keeper = Keeper()
    assert [keeper.keep(said(Kind.LOUDNESS, str(k)), 0.25 * k).text for k in range(9)] == [
        *["0"] * 4,
        *["4"] * 4,
        "8",
    ]
