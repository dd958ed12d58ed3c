"""References and files for tests of the shelf."""

from dataclasses import replace

import numpy as np
import soundfile

from meter.shelf.reference import Reference
from meter.soundings import BANDS

RATE_HZ = 48_000

PLAIN = Reference(
    name="plain",
    origin="file",
    seconds=200.0,
    integrated_lufs=-8.0,
    loudest_30s_lufs=-7.0,
    loudest_30s_at_s=60.0,
    loudest_30s_is_whole=False,
    loudness_range_lu=4.0,
    peak_to_loudness_lu=8.0,
    true_peak_dbtp=-0.5,
    fold_loss_db=dict.fromkeys(BANDS, -0.1),
    share_db={"20-60": -6.0, "60-120": -9.0},
    spectrum_db=tuple(-20.0 - 0.5 * band for band in range(31)),
)


def like(name="plain", *, louder_db=0.0, bands=None, **changes):
    """A reference like the plain one, all of it so much louder, and some bands more."""
    spectrum = np.array(PLAIN.spectrum_db) + louder_db
    for band, more_db in (bands or {}).items():
        spectrum[band] += more_db
    known = {
        "integrated_lufs": PLAIN.integrated_lufs + louder_db,
        "loudest_30s_lufs": PLAIN.loudest_30s_lufs + louder_db,
        "true_peak_dbtp": PLAIN.true_peak_dbtp + louder_db,
        "spectrum_db": tuple(spectrum.tolist()),
    }
    return replace(PLAIN, name=name, **(known | changes))


def tune(seconds=8.0, *, seed=1, rate_hz=RATE_HZ, sub_db=0.0):
    """Noise over a sub of 50 Hz."""
    rng, frames = np.random.default_rng(seed), round(seconds * rate_hz)
    t_s = np.arange(frames) / rate_hz
    sub = 0.2 * 10.0 ** (sub_db / 20.0) * np.sin(2 * np.pi * 50.0 * t_s)
    return rng.standard_normal((frames, 2)) * 0.03 + sub[:, None]


def write(path, sound, *, rate_hz=RATE_HZ, subtype="FLOAT"):
    soundfile.write(path, sound, rate_hz, subtype=subtype)
    return path
