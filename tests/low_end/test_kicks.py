"""Kicks in a mix: each found, none invented, and what is said of them."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from demo_signals import faults
from demo_signals.pattern import RATE_HZ, kicks
from meter.cli import main
from meter.dsp.kick_body import Body
from meter.findings.records import KINDS
from meter.low_end.kick_findings import kick_findings
from meter.low_end.kick_records import Hit
from meter.low_end.kick_text import kick_lines
from meter.low_end.kicks import KickHits, adds_db, kicks_of, sub_under_db
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from tests.support import drum_patterns as patterns
from tests.support.bare_bass import bare_bass
from tests.support.drum_patterns import kicks_of_kits
from tests.support.low_end import hits_in, low_of

NEAR_S = 0.047
"""Some samples take 40 ms from their click to their low end."""


def missed_and_false(pattern: patterns.Pattern) -> tuple[int, int]:
    at_s = np.array([hit.at_s for hit in hits_in(pattern.samples)] or [np.inf])
    off_s = np.abs(at_s[:, None] - pattern.kicks_s[None])
    return int((off_s.min(axis=0) > NEAR_S).sum()), int((off_s.min(axis=1) > NEAR_S).sum())


def counted(seeds: range, **changes: bool) -> tuple[int, int, int]:
    found = np.zeros(3, int)
    for seed in seeds:
        pattern = patterns.make(replace(patterns.any_style(seed), **changes))
        found += len(pattern.kicks_s), *missed_and_false(pattern)
    return tuple(found)


@pytest.mark.packages("sonic-pi-samples")
def test_kicks_under_bass_and_breaks_are_found_and_none_invented():
    count, missed, false = counted(range(1000, 1004), ducked=True)
    assert count > 55 and missed <= 0.02 * count and false <= 0.02 * count


@pytest.mark.long
@pytest.mark.packages("sonic-pi-samples")
def test_98_in_100_are_found_where_the_bass_ducks():
    count, missed, false = counted(range(2000, 2060), ducked=True)
    assert count > 900 and missed <= 0.02 * count and false <= 0.02 * count


@pytest.mark.long
@pytest.mark.packages("sonic-pi-samples")
def test_where_the_bass_does_not_duck_nine_of_ten_are_found():
    count, missed, false = counted(range(3000, 3030), ducked=False)
    assert count > 400 and missed <= 0.1 * count and false <= 0.02 * count


@pytest.mark.long
@pytest.mark.packages("hydrogen-drumkits", "sonic-pi-samples")
def test_kicks_of_kits_that_the_network_never_heard_are_found():
    found = {True: np.zeros(3, int), False: np.zeros(3, int)}
    for number, path in enumerate(kicks_of_kits()):
        for ducked, counts in found.items():
            style = replace(patterns.any_style(4000 + number), kick=patterns.one_shot(path), ducked=ducked)
            pattern = patterns.make(style)
            counts += len(pattern.kicks_s), *missed_and_false(pattern)
    for ducked, most_missed in ((True, 0.08), (False, 0.14)):
        count, missed, false = found[ducked]
        assert count > 700 and missed <= most_missed * count and false <= 0.01 * count


@pytest.mark.parametrize(
    "seeds", [range(500, 505), pytest.param(range(505, 600), marks=pytest.mark.long)], ids=["few", "many"]
)
def test_a_bare_bass_line_holds_no_kick(seeds):
    """Sines, harmonics, a driven sine, a saw, fading notes: 12 s of each."""
    found = [len(hits_in(bare_bass(seed))) for seed in seeds]
    assert sum(found) <= 0.1 * len(seeds), found


@pytest.mark.packages("sonic-pi-samples")
def test_snares_and_bass_alone_are_no_kicks():
    silent = [replace(patterns.any_style(seed), with_kicks=False) for seed in (1000, 1002)]
    found = [len(hits_in(patterns.make(style).samples)) for style in silent]
    assert sum(found) <= 2, found  # of some 50 beginnings in 17 s


def test_a_single_kick_is_found_at_any_level():
    sound = np.concatenate([np.zeros(RATE_HZ // 2), patterns.swept_kick(55.0, decay_s=0.05)])
    for gain in (1.0, 0.01):
        (hit,) = hits_in(gain * np.stack([sound, sound], axis=1))
        assert hit.at_s == pytest.approx(0.5, abs=0.01)
        assert hit.body.hz == pytest.approx(55.0, abs=2.0)
        assert hit.is_alone


def test_silence_and_a_steady_tone_hold_no_kick():
    assert hits_in(np.zeros((RATE_HZ, 2))) == []
    tone = 0.5 * np.sin(2.0 * np.pi * 50.0 * np.arange(4 * RATE_HZ) / RATE_HZ)
    assert len(hits_in(np.stack([tone, tone], axis=1))) <= 1  # where it begins and is cut off


@pytest.mark.packages("sonic-pi-samples")
def test_any_cutting_gives_the_same_hits():
    low, clock = low_of(patterns.make(patterns.Style(seed=4, kick=patterns.swept_kick(80.0))).samples)
    whole, cut = KickHits(clock), KickHits(clock)
    whole.process(low, 0)
    rng, at = np.random.Generator(np.random.PCG64(1)), 0
    while at < len(low):
        stop = at + int(rng.integers(0, 2000))
        cut.process(low[at:stop], at)
        at = min(stop, len(low))
    for one in (whole, cut):
        one.flush()
    assert whole.reading().count > 5
    assert whole.reading() == cut.reading()


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_all_at_once_and_100_ms_at_a_time_give_the_same_hits(rate_hz):
    low, clock = low_of(bare_bass(505), rate_hz)
    kick = patterns.swept_kick(52.0)[:: clock.factor]
    low = 0.1 * np.tile(low, (3, 1))
    for k, at in enumerate(range(1000, len(low) - len(kick), round(0.45 * clock.rate_hz))):
        low[at : at + len(kick)] += (0.5 + 0.5 * (k % 3)) * kick[:, None]
    whole, cut = KickHits(clock), KickHits(clock)
    whole.process(low, 0)
    for at in range(0, len(low), 300):
        cut.process(low[at : at + 300], at)
    for one in (whole, cut):
        one.flush()
    assert whole.reading().count > 40
    assert whole.reading() == cut.reading()


def test_behind_a_gap_the_time_goes_on():
    sound = np.concatenate([np.zeros(RATE_HZ // 2), patterns.swept_kick(80.0), np.zeros(RATE_HZ)])
    low, clock = low_of(np.stack([sound, sound], axis=1))
    found = KickHits(clock)
    found.process(low, 0)
    found.gap()
    found.process(low, clock.count(100.0))
    found.flush()
    first, second = found.reading().hits
    assert second.at_s - first.at_s == pytest.approx(100.0, abs=0.001)


# --- the demo tune ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo() -> LowEnd:
    from demo_signals import render

    low, clock = low_of(render())
    found = KickHits(clock)
    found.process(low, 0)
    found.flush()
    return LowEnd(kicks=found.reading())


def test_every_kick_of_the_demo_is_found_and_no_other(demo):
    at_s = np.array([hit.at_s for hit in demo.kicks.hits])
    planted_s = np.array([hit.at_s for hit in kicks()])
    assert len(at_s) == len(planted_s)
    assert np.abs(at_s - planted_s).max() < 0.025


def test_the_bodies_of_the_demo_are_those_it_was_made_with(demo):
    low = [hit.body.hz for hit in demo.kicks.hits if is_low(hit)]
    high = [hit.body.hz for hit in demo.kicks.hits if not is_low(hit)]
    assert np.median(low) == pytest.approx(faults.LOW_KICK_BODY_HZ, abs=faults.LOW_KICK.tolerance)
    assert np.median(high) == pytest.approx(faults.KICK_BODY_HZ, abs=2.0)


def is_low(hit: Hit) -> bool:
    return faults.LOW_KICK.start_s - 0.1 <= hit.at_s < faults.LOW_KICK.end_s - 0.1


def test_only_the_planted_kicks_are_a_finding(demo):
    (found,) = kick_findings(demo, LowEndSettings(), from_s=0.0)
    assert found.kind == "kick in sub"
    assert found.at_s == pytest.approx(faults.LOW_KICK.start_s, abs=0.1)
    assert faults.LOW_KICK.end_s - 1.0 < found.until_s < faults.LOW_KICK.end_s
    assert "from 1:06.7 to 1:17.2 the kick settles at 53 Hz (16 hits), where a sub plays (30 to" in found.text


def test_the_sub_of_the_demo_ducks_under_its_kicks(demo):
    assert demo.kicks.sub_under_db > 10.0
    lines = list(kick_lines(demo, LowEndSettings()))
    assert lines[0] == "  Is the kick clear of the sub?"
    assert "    160 kicks" in lines
    assert any("inside your 90 to 100 Hz" in line for line in lines)


# --- what is made of hits -----------------------------------------------------------------------


def hit(
    at_s: float, hz: float | None = 95.0, *, share: float = 0.05, sub_db: float = -12.0, energy: float = 30.0
) -> Hit:
    body = Body(
        hz=hz, seconds=None, level_dbfs=-4.0, sub_share=share, crest_db=6.0, energy=energy, fall_energy=10.0
    )
    return Hit(
        at_s=at_s, body=body, sub_before_db=sub_db, sub_during_db=sub_db, sub_after_db=sub_db, fall_before=0.1
    )


def found_in(hits: list[Hit], **settings: tuple[float, float]) -> list[str]:
    made = LowEnd(kicks=kicks_of(hits, rate_hz=3000.0))
    return [one.kind for one in kick_findings(made, LowEndSettings(**settings), from_s=0.0)]


def test_a_kick_inside_the_users_band_is_no_finding():
    assert found_in([hit(0.5 * k, 95.0) for k in range(20)]) == []
    assert found_in([hit(0.5 * k, 55.0) for k in range(20)], kick_band_hz=(50.0, 60.0)) == []


def test_a_kick_outside_it_is_told_once():
    assert found_in([hit(0.5 * k, 80.0) for k in range(20)]) == ["kick body"]


def test_kicks_that_are_no_one_kick_are_held_against_nothing():
    assert found_in([hit(0.5 * k, 75.0 + 2.0 * k) for k in range(20)]) == []
    assert found_in([hit(0.5 * k, 80.0 if k % 3 == 0 else None) for k in range(30)]) == []


def test_a_low_kick_is_in_the_sub_only_where_a_sub_sounds():
    with_sub = [hit(0.5 * k, 55.0, share=0.8) for k in range(10)]
    assert found_in(with_sub) == ["kick in sub"]
    without = [hit(0.5 * k, 55.0, share=0.8, sub_db=-60.0) for k in range(10)]
    assert found_in(without) == ["kick body"]


def test_all_kinds_are_known():
    assert {"kick in sub", "kick body", "kick cancels"} <= set(KINDS)


def alone(count: int, *, energy: float = 30.0) -> list[Hit]:
    return [hit(100.0 + k, sub_db=-60.0, energy=energy) for k in range(count)]


def test_adding_and_cancelling_are_told_only_where_nothing_else_could_be():
    """The kick alone has an energy of 30; a sub of -12 dBFS adds 0.12 s · 3000 Hz · 10^(-1.2) / 2 = 11.4."""
    over = [hit(0.5 * k, energy=60.0) for k in range(6)]
    assert adds_db([*over, *alone(6)], rate_hz=3000.0) == pytest.approx(
        10.0 * np.log10(60.0 / 41.36), abs=0.01
    )
    under = [hit(0.5 * k, energy=15.0) for k in range(6)]
    assert adds_db([*under, *alone(6)], rate_hz=3000.0) == pytest.approx(-3.01, abs=0.01)
    between = [hit(0.5 * k, energy=35.0) for k in range(6)]  # a sub that ducks, or one that cancels
    assert adds_db([*between, *alone(6)], rate_hz=3000.0) is None
    assert adds_db(under, rate_hz=3000.0) is None  # what the kick is alone is not known
    assert "kick cancels" in found_in([*under, *alone(6)])


def test_the_sub_under_kicks_is_told_only_where_their_own_part_is_known():
    ducked = [replace(hit(0.5 * k), sub_during_db=-24.0) for k in range(6)]
    assert sub_under_db([*ducked, *alone(6)]) == pytest.approx(12.0, abs=0.1)
    assert sub_under_db(ducked) is None
    loud = [replace(one, sub_during_db=-5.0) for one in alone(6)]  # the kick itself is in the sub's band
    assert sub_under_db([*ducked, *loud]) is None


# --- as a user sees it ------------------------------------------------------------------------


@pytest.mark.packages("sonic-pi-samples")
def test_check_tells_of_kicks_in_text_and_json(tmp_path, capsys):
    made = patterns.make(patterns.Style(seed=4, kick=patterns.swept_kick(80.0), bars=4))
    name = str(tmp_path / "loop.wav")
    soundfile.write(name, made.samples, RATE_HZ, subtype="FLOAT")
    assert main(["check", name, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["kicks"]
    assert told["count"] == len(told["hits"]) == len(made.kicks_s)
    assert told["body_hz"] == pytest.approx(80.0, abs=2.0)
    assert [one["at_s"] for one in told["hits"]] == pytest.approx(made.kicks_s, abs=0.02)
    assert main(["check", name, "--kick-band", "75-85"]) == 0
    assert "inside your 75 to 85 Hz" in capsys.readouterr().out
    assert main(["check", name, "--kick-band", "85-75"]) == 2
    assert "the lower one first, such as --kick-band 90-100" in capsys.readouterr().err


def test_a_file_without_kicks_says_so(tmp_path, capsys):
    name = str(tmp_path / "silence.wav")
    soundfile.write(name, np.zeros((RATE_HZ, 2)), RATE_HZ)
    assert main(["check", name, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["kicks"] is None and told["why_null"]["kicks"] == "does not apply"
