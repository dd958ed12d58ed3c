"""The published limits of exposure to sound, each with its document and what of it was seen.

The three ways of counting are never mixed: energy (ITU-T H.870 and Directive 2003/10/EC), and 3 dB for a
doubling, which is not quite the same (NIOSH).
"""

from __future__ import annotations

from typing import Final

REFERENCE_PA: Final = 20e-6
"""0 dB. ISO 1683, from memory."""

# --- ITU-T H.870 (03/2022), WHO-ITU standard for listening devices

H870: Final = "ITU-T H.870 (03/2022)"
H870_ADULT_DBA: Final = 80.0
"""Mode 1: 80 dBA for 40 h in 7 days, 1.6 Pa²h. SEEN-P in the summary of H.871; the body of H.870 not seen."""
H870_SENSITIVE_DBA: Final = 75.0
"""Mode 2: 75 dBA for 40 h in 7 days. SEEN-S; printed as 0.51 Pa²h from memory, 0.506 CALC."""
H870_HOURS: Final = 40.0

# --- NIOSH publication 98-126 (1998), chapter 1

NIOSH: Final = "NIOSH 98-126 (1998)"
NIOSH_REL_DBA: Final = 85.0
NIOSH_HOURS: Final = 8.0
NIOSH_EXCHANGE_DB: Final = 3.0
NIOSH_CEILING_DBA: Final = 115.0
"""§1.1. SEEN-S: two independent transcriptions of the official pages."""
NIOSH_THRESHOLD_DBA: Final = 80.0
"""Levels below it are not counted in. From memory."""

# --- Directive 2003/10/EC, Article 3

EU: Final = "Directive 2003/10/EC, Art. 3"
EU_LOWER_ACTION_DBA: Final = 80.0
EU_UPPER_ACTION_DBA: Final = 85.0
EU_LIMIT_DBA: Final = 87.0
"""SEEN-P. The limit value is of what reaches the ear behind hearing protection; the two others are not."""
EU_PEAKS_DBC: Final = (135.0, 137.0, 140.0)
"""112, 140 and 200 Pa. SEEN-P."""
EU_DAY_HOURS: Final = 8.0
EU_WEEK_DAYS: Final = 5
"""Weekly average of five 8-hour days. SEEN-P that it is allowed; five days: ISO 1999, from memory."""
