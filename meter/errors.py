"""Every error that Leadline raises on purpose, in one tree.

::

    MeterError
    ├── UsageError          (also ValueError)   an argument that cannot be meant
    ├── AudioFileError      (also OSError)      a file that cannot be read as audio
    ├── SourceError         (also OSError)      a source that cannot be opened or has gone
    ├── SettingsError       (also ValueError)   a settings or targets file with problems
    ├── OutputError         (also OSError)      a file that cannot be written
    ├── JournalError        (also OSError)      the journal cannot be opened or written
    └── ProcessEndedError   (also RuntimeError) a process of ours was ended from outside

A message says what came, what was expected, and what to do. A broken promise inside
the program is an ``AssertionError``, not one of these.
"""

from __future__ import annotations


class MeterError(Exception):
    """A problem that the user can understand and act on."""


class UsageError(MeterError, ValueError):
    """An argument that cannot be meant."""


class AudioFileError(MeterError, OSError):
    """A file that cannot be read as audio."""


class SourceError(MeterError, OSError):
    """A source that cannot be opened, or that has gone."""


class SettingsError(MeterError, ValueError):
    """A settings or targets file with problems, all of them named at once."""


class OutputError(MeterError, OSError):
    """A file that the user asked for and that cannot be written."""


class JournalError(MeterError, OSError):
    """The journal cannot be opened or written."""


class ProcessEndedError(MeterError, RuntimeError):
    """A process that does a part of the work has ended before its time."""
