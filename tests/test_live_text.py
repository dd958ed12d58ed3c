import math
from dataclasses import replace

import numpy as np
import pytest

from meter.capture.records import SourceInfo, SourceState, SourceStatus
from meter.chain import Chain
from meter.live_text import BLOCK_LINES, block, line
from meter.now import Now
from meter.soundings import BANDS
from meter.target_file import shipped_targets
from meter.targets import judge

RATE_HZ = 48_000
CLUB = shipped_targets()["club"]
INFO = SourceInfo(spec="system", name="what the system plays")
RUNNING = SourceState(status=SourceStatus.RUNNING, sentence=None, info=INFO, volume_db=0.0, is_muted=False)


@pytest.fixture(scope="module")
def music():
    """Four seconds of music, and values as they stand in the middle of a tune."""
    chain = Chain(rate_hz=RATE_HZ, channels=2)
    chain.process(np.random.default_rng(1).standard_normal((4 * RATE_HZ, 2)) * 0.1)
    losses = dict(zip(BANDS, (-0.21, -0.12, None, -0.32, -3.0)))
    reading = replace(
        chain.reading(),
        at_s=83.44,
        momentary_lufs=-6.13,
        short_term_lufs=-5.97,
        integrated_lufs=-9.02,
        loudest_30s_lufs=-8.01,
        true_peak_max_dbtp=(-0.4, 0.31),
        correlation_3s=0.624,
        fold_loss_3s_db=losses,
        overs=3,
        lost_frames=960,
    )
    recent = chain.recent.rows.copy()
    recent["true_peak"] = 0.5
    return Now(
        state=RUNNING,
        rate_hz=RATE_HZ,
        channels=2,
        reading=reading,
        recent=recent,
        verdicts=judge(CLUB, reading, live=True),
        target=CLUB,
        pass_number=2,
    )


SENTENCE = "the true peak went 0.3 dB over 0.0 dBTP at 1:21.3, 3 overs so far: lower the ceiling by as much"


def test_the_block_answers_the_four_questions(music):
    assert block(music, SENTENCE) == [
        "what the system plays · 48 kHz · stereo · 1:23 · pass 2       held against Club",
        "> the true peak went 0.3 dB over 0.0 dBTP at 1:21.3, 3 overs so far: lower the",
        "  ceiling by as much",
        "",
        " How loud?         ~~~~~~~~~~~~o~~~~~~~~~~~o~~~~~I~L~~~S               LUFS",
        "                  -24         -18         -12         -6           0",
        "                   S short-term    -5.97 ▲ over    M momentary      -6.1",
        "                   L loudest 30 s  -8.01 … not yet I integrated     -9.0",
        " Any overs?        true peak  -6.0, highest  +0.3 dBTP ▲ over    3 overs",
        " Left and right?   r  0.62 ✓ inside",
        " Lost in mono?     below 120 Hz  -0.3 dB ✓ inside",
        "                   20-60  -0.2  60-120  -0.1  120-250 Hz    --  all  -3.0 dB",
        " 960 frames lost · system volume 0.0 dB                         Ctrl-C ends it",
    ]


@pytest.mark.parametrize("columns", [20, 40, 60, 80, 200])
def test_the_block_fits_the_terminal_and_has_as_many_lines_whatever_happens(music, columns):
    states = [
        music,
        Now(state=replace(RUNNING, status=SourceStatus.OPENING)),
        replace(
            music, state=replace(RUNNING, info=SourceInfo(spec="device:x", name="低音" * 60), is_muted=True)
        ),
        replace(music, channels=1, rate_hz=44_100),
        replace(music, is_held=True),
    ]
    for now in states:
        for sentence in ("", SENTENCE, SENTENCE * 5, "x" * 500):
            lines = block(now, sentence, columns=columns)
            assert len(lines) == BLOCK_LINES
            assert all(len(one) < min(columns, 80) for one in lines)


def test_nothing_moves_when_values_change(music):
    quiet = replace(
        music.reading,
        momentary_lufs=-math.inf,
        short_term_lufs=-45.17,
        integrated_lufs=None,
        loudest_30s_lufs=None,
        true_peak_max_dbtp=(-math.inf, -math.inf),
        correlation_3s=None,
    )
    one, other = (
        block(replace(music, reading=reading, verdicts={}), "") for reading in (music.reading, quiet)
    )
    for word in ("LUFS", "M momentary", "I integrated", "dBTP", "120-250 Hz", "all"):
        places = [[text.find(word) for text in lines] for lines in (one, other)]
        assert places[0] == places[1]


def test_what_is_true_of_this_moment_only_goes_when_nothing_is_heard(music):
    lost = replace(music, state=replace(RUNNING, status=SourceStatus.LOST))
    text = "\n".join(block(lost, ""))
    assert "S short-term       --" in text and "M momentary        --" in text
    assert "r    --" in text and "true peak    --, highest  +0.3 dBTP" in text
    assert "I integrated     -9.0" in text
    assert "S" not in block(lost, "")[4].replace("LUFS", "")


def test_without_verdicts_no_glyph_is_shown(music):
    text = "\n".join(block(replace(music, verdicts={}), ""))
    assert not set("✓▲▼") & set(text)


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"volume_db": -6.02}, "system volume -6.0 dB"),
        ({"volume_db": 0.04}, "system volume +0.04 dB"),
        ({"volume_db": -math.inf}, "system volume -∞ dB"),
        ({"is_muted": True}, "system muted"),
        ({"volume_db": None, "is_muted": None}, "960 frames lost  "),
    ],
)
def test_the_foot_tells_the_system_volume(music, how, said):
    assert said in block(replace(music, state=replace(RUNNING, **how)), "")[-1]


def test_one_channel_has_nothing_to_compare(music):
    lines = block(replace(music, channels=1), "")
    assert lines[9] == " Left and right?   one channel: nothing to compare"


def test_one_line_tells_it_all(music):
    assert line(music, SENTENCE) == (
        "1:23.4  S -5.97  I -9.0  L -8.01 LUFS  peak -6.0 dBTP  r 0.62  mono -0.3 dB  " + SENTENCE
    )


def test_one_line_before_anything_was_heard():
    now = Now(state=replace(RUNNING, status=SourceStatus.OPENING))
    assert line(now, "opening") == "0:00.0  S --  I --  L -- LUFS  peak -- dBTP  r --  mono -- dB  opening"
