"""`leadline check`: what is measured of a file, and what is said of it as text and as JSON.

Levels of sines: ITU-R BS.1770-5 (11/2023), Annex 1: a 997 Hz sine of 0 dBFS on one of L, C, R
reads -3.01 LKFS (SEEN-P), so on both of a pair 0.0. Real music is held to pyloudnorm with the
coefficients of the recommendation (filter class DeMan).
"""

import dataclasses
import json
import math

import numpy as np
import pytest
import soundfile

from meter.check import Checked, Failed, Options, channels_text, check_file, check_one, kind_of
from meter.check_json import as_line, error_object, file_object
from meter.check_part import Part
from meter.check_text import block, closing, problem
from meter.soundings import BANDS, Gap
from meter.target_file import shipped_targets
from meter.targets import Limit, Target, Verdict, judge
from tests.support.hearing import write_float
from tests.support.sound import noise
from tests.support.summaries import a_summary

RATE_HZ = 48_000
CLUB = shipped_targets()["club"]
EBU = shipped_targets()["ebu-r128"]

KEYS = [
    "type", "path", "seconds", "sample_rate_hz", "channels", "integrated_lufs", "loudness_range_lu",
    "loudness_range_stable", "momentary_max_lufs", "short_term_max_lufs", "loudest_30s_lufs",
    "loudest_30s_at_s", "true_peak_dbtp", "sample_peak_dbfs", "peak_to_loudness_lu", "correlation",
    "fold_loss_db", "low_correlation", "lost_frames", "gaps", "nonfinite_samples", "overs",
    "flat_top_runs", "dropouts", "dc_offset", "target", "verdicts", "findings", "suggestions", "why_null",
]  # fmt: skip


def checked(target=None, crossover_hz=120.0, notes=(), channels_text="stereo", name="night.wav", **changed):
    summary = a_summary(**changed)
    return Checked(
        name=name,
        kind="WAV, 16 bit",
        channels_text=channels_text,
        summary=summary,
        options=Options(target=target, crossover_hz=crossover_hz),
        verdicts={} if target is None else judge(target, summary),
        notes=notes,
    )


def mono(target=None, **changed):
    return checked(
        target,
        channels_text="mono",
        channels=1,
        correlation=None,
        low_correlation=None,
        fold_loss_db=dict.fromkeys(BANDS),
        why_null=dict.fromkeys(("correlation", "low_correlation", "fold_loss_db"), "does not apply"),
        **changed,
    )


def silent(target=None):
    nothing = dict.fromkeys(("loudness_range_lu", "peak_to_loudness_lu", "correlation", "low_correlation"))
    levels = ("integrated_lufs", "momentary_max_lufs", "short_term_max_lufs", "loudest_30s_lufs")
    peaks = ("true_peak_dbtp", "sample_peak_dbfs")
    return checked(
        target,
        **nothing,
        **dict.fromkeys((*levels, *peaks), -math.inf),
        fold_loss_db=dict.fromkeys(BANDS),
        why_null=dict.fromkeys((*nothing, "fold_loss_db", *levels, *peaks), "silence"),
    )


def line_of(text, start):
    found = [line.strip() for line in text.splitlines() if line.strip().startswith(start)]
    assert len(found) == 1, f"{start!r} in {text}"
    return found[0]


def sine(seconds, level_dbfs=-23.0, channels=2, hz=997.0, rate_hz=RATE_HZ):
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    wave = 10.0 ** (level_dbfs / 20.0) * np.sin(2.0 * np.pi * hz * t)
    return np.repeat(wave[:, None], channels, axis=1)


def write(path, samples, rate_hz=RATE_HZ, **how):
    with soundfile.SoundFile(path, "w", rate_hz, samples.shape[1], **how) as file:
        for start in range(0, len(samples), rate_hz):
            file.write(samples[start : start + rate_hz])
    return str(path)


# --- text -----------------------------------------------------------------------------------


def test_a_block_says_in_plain_words_what_was_measured():
    text = block(checked(CLUB, true_peak_dbtp=0.04, overs=3, notes=("it was found in a drawer",)))
    assert text == (
        "night.wav\n"
        "4:00.0 · stereo · 44.1 kHz · WAV, 16 bit\n"
        "held against Club (common practice, no source)\n"
        "\n"
        "  How loud?\n"
        "    loudest 30 s                  -6.5 LUFS   ✓ inside   -8.0 to -6.0; 1:28.0 to 1:58.0\n"
        "    integrated, all of it         -8.4 LUFS\n"
        "    highest short-term, 3 s       -5.9 LUFS\n"
        "    highest momentary, 400 ms     -4.8 LUFS\n"
        "    loudness range                 6.1 LU\n"
        "  Any overs?\n"
        "    true peak                    +0.04 dBTP   ▲ over     at most 0.0; 3 peaks above 0.0 dBTP\n"
        "    sample peak                   -0.4 dBFS\n"
        "    PLR, peak to loudness          8.1 LU\n"
        "  Left and right?\n"
        "    correlation r                 0.62        ✓ inside   at least 0.00\n"
        "    r below 120 Hz                0.97\n"
        "  Lost in mono?\n"
        "    20 to 60 Hz                   -0.4 dB\n"
        "    60 to 120 Hz                  -0.4 dB\n"
        "    120 to 250 Hz                 -0.4 dB\n"
        "    below 120 Hz                  -0.4 dB     ✓ inside   at least -1.0\n"
        "    all of it                     -0.4 dB\n"
        "\n"
        "  Note: it was found in a drawer.\n"
        "  Not inside Club: the true peak is 0.04 dB over."
    )


def test_without_a_target_nothing_is_judged():
    text = block(checked())
    assert "held against" not in text
    assert "inside" not in text
    assert text.endswith("all of it                     -0.4 dB")


@pytest.mark.parametrize(
    ("target", "changed", "words"),
    [
        (CLUB, {}, "Inside Club, in all it limits."),
        (CLUB, {"loudest_30s_lufs": -8.5}, "Not inside Club: the loudest 30 s is 0.5 LU under."),
        (CLUB, {"loudest_30s_lufs": -5.96}, "Not inside Club: the loudest 30 s is 0.04 LU over."),
        (
            CLUB,
            {"loudest_30s_lufs": None},
            "Not inside Club: the loudest 30 s cannot be told, there is too little sound.",
        ),
        (CLUB, {"correlation": -0.2}, "Not inside Club: the correlation is 0.20 under."),
        (
            CLUB,
            {"fold_loss_db": dict.fromkeys(BANDS, -5.1), "true_peak_dbtp": 1.0},
            "Not inside Club: the true peak is 1.0 dB over; 4.1 dB too much is lost in mono below 120 Hz.",
        ),
        (EBU, {"integrated_lufs": -23.3}, "Not inside EBU R 128: the integrated loudness is 0.1 LU under"),
    ],
)
def test_the_last_line_says_what_it_comes_to(target, changed, words):
    assert words in block(checked(target, **changed)).splitlines()[-1]


@pytest.mark.parametrize(
    ("key", "limit", "changed", "words"),
    [
        ("short_term_max_lufs", Limit(max=-6.0), {}, "the highest short-term loudness is 0.1 LU over"),
        ("momentary_max_lufs", Limit(max=-5.0), {}, "the highest momentary loudness is 0.2 LU over"),
        ("loudness_range_lu", Limit(min=7.0), {}, "the loudness range is 0.9 LU under"),
        ("sample_peak_dbfs", Limit(max=-0.5), {}, "the sample peak is 0.1 dB over"),
        ("peak_to_loudness_lu", Limit(min=9.0), {}, "the PLR is 0.9 LU under"),
        ("low_correlation", Limit(min=0.99), {}, "the correlation below 120 Hz is 0.02 under"),
        ("fold_loss_db.20-60", Limit(min=-0.2), {}, "0.2 dB too much is lost in mono 20 to 60 Hz"),
        ("fold_loss_db.full", Limit(min=-0.2), {}, "0.2 dB too much is lost in mono over the whole range"),
        ("fold_loss_db.full", Limit(max=-1.0), {}, "0.6 dB too little is lost in mono over the whole range"),
        (
            "integrated_lufs",
            Limit(min=-9.0),
            {"integrated_lufs": -math.inf},
            "the integrated loudness is silence",
        ),
    ],
)
def test_every_measure_has_words_for_a_miss(key, limit, changed, words):
    target = Target(name="t", title="T", source="a test", limits={key: limit})
    assert words in block(checked(target, **changed))


def test_nothing_to_hold_against_a_target_is_said():
    target = Target(name="t", title="T", source="a test", limits={"correlation": Limit(min=0.0)})
    assert block(mono(target)).endswith("Nothing here can be held against T.")


def test_a_mono_file_is_also_shown_as_played_on_two_speakers():
    text = block(mono(CLUB))
    assert line_of(text, "played on two") == "played on two speakers      -5.4 LUFS              +3.01 LU"
    assert "one channel: nothing to compare, and nothing is lost in mono" in text
    assert "Lost in mono?" not in text


def test_silence_is_said_to_be_silence():
    text = block(silent(CLUB))
    assert line_of(text, "integrated, all").split() == ["integrated,", "all", "of", "it", "-∞", "LUFS"]
    assert line_of(text, "correlation r").split() == ["correlation", "r", "--", "silence"]
    assert "played on two" not in text


def test_a_pass_too_short_for_a_measure_says_so():
    text = block(checked(short_term_max_lufs=None, loudness_range_lu=None, loudness_range_stable=False))
    assert line_of(text, "highest short-term").endswith("--                   too short to tell")
    assert line_of(text, "loudness range").endswith("too short to tell")


def test_what_is_not_what_it_seems_is_remarked_upon():
    text = block(checked(loudest_30s_is_whole=True, loudness_range_stable=False, channels=6, overs=1))
    assert line_of(text, "loudest 30 s").endswith("all of it: shorter than 30 s")
    assert line_of(text, "loudness range").endswith("not steady in less than a minute")
    assert line_of(text, "correlation r").endswith("left and right only")
    assert line_of(text, "true peak").endswith("1 peak above 0.0 dBTP")


def test_the_users_crossover_is_named_where_it_counts():
    text = block(checked(CLUB, crossover_hz=90.0, fold_loss_db=dict.fromkeys(BANDS, -2.0)))
    assert line_of(text, "below 90 Hz")
    assert line_of(text, "r below 90 Hz")
    assert "lost in mono below 90 Hz." in text


def test_a_run_over_several_files_ends_with_what_it_comes_to():
    results = [
        checked(CLUB),
        checked(CLUB, name="b.wav", true_peak_dbtp=1.0),
        Failed(name="c", message="c: gone"),
    ]
    assert closing(results, CLUB) == (
        "3 files; 1 inside Club, 1 not; 1 could not be read.\nNot inside: b.wav"
    )
    assert closing([checked(), checked()], None) == "2 files."
    assert problem(results[2]) == "error: c: gone"


@pytest.mark.parametrize(
    ("format_", "subtype", "words"),
    [
        ("WAV", "PCM_24", "WAV, 24 bit"),
        ("WAVEX", "FLOAT", "WAV, 32-bit float"),
        ("OGG", "VORBIS", "Ogg Vorbis"),
        ("OGG", "OPUS", "Opus"),
        ("MP3", "MPEG_LAYER_III", "MP3"),
        ("WAV", "MS_ADPCM", "WAV, ms adpcm"),
    ],
)
def test_the_kind_of_a_file_is_said_in_plain_words(format_, subtype, words):
    assert kind_of(format_, subtype) == words


def test_channels_are_said_with_their_weights_where_those_differ():
    assert channels_text(1, (1.0,), None, 1) == "mono"
    assert channels_text(2, (1.0, 1.0), None, 2) == "stereo"
    assert channels_text(2, (1.0, 1.0), (3, 4), 8) == "channels 3 and 4 of 8"
    assert channels_text(3, (1.0, 1.0, 1.0), None, 3) == "3 channels"
    assert channels_text(4, (1.0, 1.0, 1.41, 1.41), None, 4) == "4 channels weighted 1, 1, 1.41, 1.41"


# --- JSON -----------------------------------------------------------------------------------


def test_an_object_has_the_keys_of_the_design_in_their_order():
    assert list(file_object(checked(CLUB))) == KEYS


def test_an_object_says_what_was_measured_unrounded():
    made = file_object(
        checked(CLUB, integrated_lufs=-8.123456789, gaps=(Gap(at_s=1.5, frames=7),), lost_frames=7)
    )
    assert made["integrated_lufs"] == -8.123456789
    assert made["gaps"] == [{"at_s": 1.5, "frames": 7}]
    assert made["fold_loss_db"] == dict.fromkeys(BANDS, -0.4)
    assert made["target"] == "club"
    assert made["verdicts"] == dict.fromkeys(CLUB.limits, "inside")
    assert made["why_null"] == {}


def nulls_of(made):
    named = [key for key, value in made.items() if value is None]
    return {
        *named,
        *(f"fold_loss_db.{band}" for band, value in made["fold_loss_db"].items() if value is None),
    }


@pytest.mark.parametrize("result", [checked(), mono(), silent(), checked(EBU, loudness_range_lu=None)])
def test_every_null_has_its_reason_and_nothing_else_has(result):
    made = file_object(result)
    assert set(made["why_null"]) == nulls_of(made)
    assert set(made["why_null"].values()) <= {"silence", "not yet", "does not apply"}


def test_silence_is_null_and_says_so():
    made = file_object(silent(CLUB))
    assert made["integrated_lufs"] is None
    assert made["true_peak_dbtp"] is None
    assert made["why_null"]["integrated_lufs"] == made["why_null"]["true_peak_dbtp"] == "silence"


def test_what_a_mono_file_cannot_have_does_not_apply():
    made = file_object(mono())
    assert made["why_null"] == {
        "correlation": "does not apply",
        "low_correlation": "does not apply",
        "target": "does not apply",
        **{f"fold_loss_db.{band}": "does not apply" for band in BANDS},
    }


def test_a_line_is_one_line_of_ascii_whatever_the_name():
    line = as_line(error_object(Failed(name="tür\n\udcff.wav", message="x")))
    assert line.isascii()
    assert "\n" not in line
    assert json.loads(line) == {"type": "error", "path": "tür\n\udcff.wav", "message": "x"}


def test_what_json_cannot_say_is_never_written():
    with pytest.raises(ValueError, match="not JSON compliant"):
        as_line({"x": math.nan})


# --- files ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "how", "within_lu", "within_db"),
    [
        ("a.wav", {"subtype": "PCM_16"}, 0.01, 0.02),
        ("a.wav", {"subtype": "FLOAT"}, 0.01, 0.02),
        ("a.aiff", {"subtype": "PCM_24"}, 0.01, 0.02),
        ("a.flac", {"subtype": "PCM_24"}, 0.01, 0.02),
        ("a.ogg", {}, 0.1, 0.5),  # a lossy encoder overshoots where the tone begins
        ("a.mp3", {}, 0.02, 0.5),
    ],
)
def test_a_sine_reads_its_level_from_every_format(tmp_path, name, how, within_lu, within_db):
    found = check_file(write(tmp_path / name, sine(5.0), **how), Options(target=EBU))
    assert found.summary.integrated_lufs == pytest.approx(-23.0, abs=within_lu)
    assert found.summary.loudest_30s_lufs == pytest.approx(-23.0, abs=within_lu)
    assert found.summary.true_peak_dbtp == pytest.approx(-23.0, abs=within_db)
    assert found.summary.correlation == pytest.approx(1.0, abs=1e-3)
    assert found.summary.seconds == pytest.approx(5.0, abs=1e-3)
    assert found.verdicts == {"integrated_lufs": Verdict.INSIDE, "true_peak_dbtp": Verdict.INSIDE}
    assert found.is_inside


def test_mono_reads_three_less_than_the_same_on_two_channels(tmp_path):
    found = check_file(write(tmp_path / "a.wav", sine(5.0, 0.0, channels=1), subtype="FLOAT"), Options())
    assert found.summary.integrated_lufs == pytest.approx(-3.01, abs=0.01)
    assert line_of(block(found), "played on two").split()[4] in ("0.0", "-0.0")
    assert found.channels_text == "mono"


def test_the_channel_mask_of_a_file_counts(tmp_path):
    """Two channels as side left and right (mask 0x600) weigh 1.41: 10·log10(1.41) = 1.49 LU."""
    path = tmp_path / "a.wav"
    write(path, sine(5.0), subtype="PCM_16", format="WAVEX")
    data = bytearray(path.read_bytes())
    at = data.index(b"fmt ") + 8 + 20
    data[at : at + 4] = (0x600).to_bytes(4, "little")
    path.write_bytes(data)
    summary = check_file(str(path), Options()).summary
    expected = pytest.approx(-23.0 + 10.0 * math.log10(1.41), abs=0.01)
    assert (summary.integrated_lufs, summary.short_term_max_lufs) == (expected, expected)


def test_a_chosen_pair_is_what_is_measured(tmp_path):
    samples = np.concatenate([sine(5.0, -10.0), sine(5.0, -23.0)], axis=1)
    found = check_file(write(tmp_path / "a.wav", samples, subtype="FLOAT"), Options(pair=(3, 4)))
    assert found.summary.integrated_lufs == pytest.approx(-23.0, abs=0.01)
    assert found.summary.channels == 2
    assert found.channels_text == "channels 3 and 4 of 4"


@pytest.mark.parametrize("name", ["a.wav", "a.flac", "a.ogg", "a.mp3"])
def test_one_thread_and_several_measure_the_same(tmp_path, name):
    samples = 0.2 * np.random.default_rng(3).standard_normal((7 * RATE_HZ + 123, 2))
    path = write(tmp_path / name, samples)
    beside = check_file(path, Options(beside=True))
    alone = check_file(path, Options(beside=False))
    assert beside.summary == alone.summary


def test_overs_begin_at_the_limit_of_the_target(tmp_path):
    samples = np.concatenate([sine(1.0, -23.0), sine(0.05, -0.5), sine(1.0, -23.0)])
    path = write(tmp_path / "a.wav", samples, subtype="FLOAT")
    assert check_file(path, Options(target=CLUB)).summary.overs == 0
    found = check_file(path, Options(target=EBU))
    assert found.summary.overs == 1
    assert found.verdicts["true_peak_dbtp"] is Verdict.OVER


def test_the_crossover_reaches_the_measure(tmp_path):
    """100 Hz in opposite phase is lost below 120 Hz, and is not there below 40 Hz."""
    samples = sine(5.0, -12.0, hz=100.0) * [1.0, -1.0] + sine(5.0, -12.0, hz=30.0)
    path = write(tmp_path / "a.wav", samples, subtype="FLOAT")
    lost = [
        check_file(path, Options(crossover_hz=hz)).summary.fold_loss_db["below_crossover"]
        for hz in (40.0, 120.0)
    ]
    assert lost[0] > -0.2
    assert lost[1] < -1.0


def test_what_a_header_promised_and_did_not_hold_is_lost(tmp_path):
    path = tmp_path / "a.wav"
    write(path, sine(4.0), subtype="PCM_16")
    path.write_bytes(path.read_bytes()[: 44 + 2 * RATE_HZ * 4])
    found = check_file(str(path), Options())
    assert found.summary.lost_frames == 2 * RATE_HZ
    assert found.summary.gaps == (Gap(at_s=2.0, frames=2 * RATE_HZ),)
    assert found.notes == ("the header promises 192000 frames (0:04.0), 96000 came (0:02.0)",)
    assert found.summary.integrated_lufs == pytest.approx(-23.0, abs=0.01)


def test_samples_that_are_no_numbers_are_noted(tmp_path):
    samples = sine(3.0)
    samples[RATE_HZ, 0] = math.nan
    samples[RATE_HZ + 1] = math.inf
    found = check_file(write(tmp_path / "a.wav", samples, subtype="FLOAT"), Options())
    assert found.summary.nonfinite_samples == 3
    assert found.notes == ("3 samples were no numbers and were taken as silence",)


def test_digital_silence_and_a_single_frame_are_measured(tmp_path):
    quiet = check_file(
        write(tmp_path / "a.wav", np.zeros((RATE_HZ, 2)), subtype="PCM_16"), Options(target=CLUB)
    )
    one = check_file(write(tmp_path / "b.wav", np.full((1, 2), 0.5), subtype="PCM_16"), Options(target=CLUB))
    for found in (quiet, one):
        made = json.loads(as_line(file_object(found)))
        assert set(made["why_null"]) == nulls_of(made)
        assert block(found)
        assert not found.is_inside
    assert file_object(quiet)["why_null"]["true_peak_dbtp"] == "silence"
    assert one.summary.sample_peak_dbfs == pytest.approx(-6.02, abs=0.01)


def test_progress_is_told_to_the_end(tmp_path):
    told = []
    check_file(
        write(tmp_path / "a.wav", sine(10.0), subtype="PCM_16"),
        Options(),
        progress=lambda done_s, whole_s: told.append((done_s, whole_s)),
    )
    assert told == [(6.0, 10.0), (10.0, 10.0)]


def test_a_bad_file_never_stops_the_rest(tmp_path):
    good = write(tmp_path / "a.wav", sine(1.0), subtype="PCM_16")
    bad = str(tmp_path / "none.wav")
    found = [check_one(name, Options()) for name in (bad, good, bad)]
    assert [type(result) for result in found] == [Failed, Checked, Failed]
    assert found[0] == Failed(name=bad, message=f"{bad}: there is no such file")


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OSError(5, "Input/output error"), "reading it failed (Input/output error); copy it to this machine"),
        (MemoryError(), "reading it failed (out of memory)"),
        (IndexError("list index\nout of range"), "(IndexError: list index out of range); please report this"),
    ],
)
def test_whatever_happens_to_a_file_is_one_sentence(monkeypatch, error, words):
    def fail(*_args, **_kwargs):
        raise error

    monkeypatch.setattr("meter.check.check_file", fail)
    found = check_one("a.wav", Options())
    assert found.message.startswith("a.wav: ")
    assert words in found.message
    assert "\n" not in found.message


def test_soundings_are_kept_when_asked_for(tmp_path):
    path = write(tmp_path / "a.wav", sine(1.0), subtype="PCM_16")
    assert check_file(path, Options()).soundings is None
    assert len(check_file(path, Options(keep_soundings=True)).soundings) == 10


def test_options_are_the_same_for_every_file_and_cannot_change():
    with pytest.raises(dataclasses.FrozenInstanceError):
        Options().pair = (1, 2)


def test_real_music_reads_as_a_second_opinion_reads_it(music):
    """pyloudnorm, filter class DeMan, whole 100 ms: within 0.05 LU at any rate."""
    import pyloudnorm

    chosen = {}
    for path in music:
        info = soundfile.info(path)
        if 6.0 < info.duration < 60.0:
            chosen.setdefault((info.format, info.samplerate, info.channels), path)
    assert {"OGG", "FLAC", "WAV"} <= {kind[0] for kind in chosen}
    for path in chosen.values():
        samples, rate_hz = soundfile.read(path, always_2d=True)
        samples = samples[: len(samples) // (rate_hz // 10) * (rate_hz // 10)]
        expected = pyloudnorm.Meter(rate_hz, filter_class="DeMan").integrated_loudness(samples)
        found = check_file(str(path), Options(target=CLUB))
        assert found.summary.integrated_lufs == pytest.approx(expected, abs=0.05), path.name
        assert set(json.loads(as_line(file_object(found)))) == set(KEYS)


def test_what_may_not_belong_to_a_file_is_suggested_with_the_number_without_it(tmp_path, capsys):
    """A quieter tune in front, then silence: CALC, I of the second tune alone."""
    first, second = noise(25.0, seed=1, level_dbfs=-30.0), noise(30.0, seed=2, level_dbfs=-16.0)
    both = np.concatenate([first, np.zeros((96_000, 2), np.float32), second])
    alone = check_file(str(write_float(tmp_path / "alone.wav", second, 48_000)), Options())
    path = write_float(tmp_path / "both.wav", both, 48_000)
    found = check_file(str(path), Options())
    (one,) = found.suggestions
    assert one.kind == "another tune"
    assert one.integrated_lufs == pytest.approx(alone.summary.integrated_lufs, abs=0.1)
    assert "What may not belong to it?" in block(found)
    made = file_object(found)["suggestions"]
    assert made[0]["text"] == one.text and made[0]["spans_s"][0][0] == 0.0
    assert not check_file(str(path), Options(part=Part(from_s=10.0))).suggestions


def test_sentences_are_wrapped_to_the_width_that_is_asked_for():
    note = "the header promises 441000 frames (0:10.0), 22050 came (0:00.5)"
    made = checked(CLUB, notes=(note,), integrated_lufs=-20.0)
    text = block(made, width=50)
    end = text[text.index("  Note") :]
    assert all(len(line) <= 50 for line in end.splitlines())
    assert note in " ".join(end.split())
