import numpy as np
import pytest

from meter.capture.records import SourceInfo
from meter.chain import Chain
from meter.check_text import block
from meter.live_json import summary_object
from meter.live_pass import LivePass
from meter.live_summary import heard
from meter.passes import measure
from meter.soundings import Gap
from meter.target_file import shipped_targets
from meter.targets import judge

RATE_HZ = 48_000
CLUB = shipped_targets()["club"]


@pytest.fixture
def sound():
    return np.random.default_rng(1).standard_normal((4 * RATE_HZ, 2)) * 0.1


@pytest.fixture
def live_pass(sound):
    chain = Chain(rate_hz=RATE_HZ, channels=2)
    made = LivePass(
        number=1,
        info=SourceInfo(spec="system", name="what the system plays"),
        rate_hz=RATE_HZ,
        channels=2,
        weights=chain.weights,
        crossover_hz=120.0,
        over_limit_dbtp=0.0,
    )
    made.add(chain.process(sound), is_withheld=False)
    made.add(chain.flush(), is_withheld=False)
    return made


def test_a_pass_that_was_heard_has_the_numbers_and_verdicts_of_a_file(live_pass, sound):
    checked = heard(live_pass, target=CLUB)
    assert checked.summary == measure(sound, rate_hz=RATE_HZ)
    assert checked.verdicts == judge(CLUB, checked.summary)
    assert checked.notes == ()
    assert block(checked).startswith(
        "what the system plays\n0:04.0 · stereo · 48 kHz · heard live\nheld against Club"
    )


def test_what_was_lost_held_and_withheld_is_noted(live_pass):
    live_pass.gaps += [Gap(at_s=1.0, frames=24_000), Gap(at_s=2.0, frames=480)]
    live_pass.holds.append(Gap(at_s=3.0, frames=72_000))
    live_pass.withheld_rows = 12
    checked = heard(live_pass, target=CLUB, note="the file is cut short")
    assert checked.notes == (
        "the file is cut short",
        "0.51 s were lost in 2 gaps; no window holds both sides of one",
        "1.5 s of it were held and not measured",
        "the system volume was not 0 dB for 1.2 s of it, so no verdict is given",
    )
    assert checked.verdicts == {}
    assert checked.summary.lost_frames == 24_480


def test_a_chosen_pair_is_named(live_pass):
    assert heard(live_pass, target=None, pair=(3, 4)).channels_text == "channels 3 and 4"


@pytest.mark.parametrize(
    ("spec", "path"), [("system", None), ("device:file:x", None), ("demo", None), ("file:a b.wav", "a b.wav")]
)
def test_the_summary_names_its_source_and_a_file_by_its_path(live_pass, spec, path):
    made = summary_object(heard(live_pass, target=None), spec=spec, is_judged=True)
    assert next(iter(made)) == "type"
    assert (made["type"], made["source"], made["path"]) == ("summary", spec, path)
    assert ("path" in made["why_null"]) is (path is None)


def test_a_summary_without_verdicts_says_that_they_are_withheld(live_pass):
    live_pass.withheld_rows = 1
    made = summary_object(heard(live_pass, target=CLUB), spec="system", is_judged=live_pass.has_verdict)
    assert made["verdicts"] == {}
    assert made["why_null"]["verdicts"] == "withheld"


def test_what_was_found_is_told_as_of_a_file_but_silence_at_the_ends_is_not(sound):
    samples = np.pad(np.concatenate([sound, 20.0 * sound]), ((2 * RATE_HZ, 6 * RATE_HZ), (0, 0)))

    def kinds(spec, withheld=False):
        chain = Chain(rate_hz=RATE_HZ, channels=2)
        made = LivePass(
            number=1,
            info=SourceInfo(spec=spec, name="music"),
            rate_hz=RATE_HZ,
            channels=2,
            weights=chain.weights,
            crossover_hz=120.0,
            over_limit_dbtp=0.0,
        )
        made.add(chain.process(np.clip(samples, -2.0, 2.0)), is_withheld=withheld)
        made.add(chain.flush(), is_withheld=withheld)
        checked = heard(made, target=None)
        assert summary_object(checked, spec=spec, is_judged=True)["findings"] or not checked.findings
        return checked.kind, {one.kind for one in checked.findings} - {"lost in mono"}

    assert kinds("file:a.wav") == ("played", {"over", "flat tops", "silent end"})
    assert kinds("system") == ("heard live", {"over", "flat tops"})
    assert kinds("system", withheld=True) == ("heard live", set())
