"""The errors this program raises on purpose. Each says what happened, where, and what to do about it.

    PourcallError                exit code 1
    ├── BadInput       (2)       the caller typed or wrote something we cannot use
    │   ├── BadTemperature       a figure, a unit, or a figure in the wrong unit
    │   ├── FaultyFile           a file of tables: every fault in it is told at once
    │   │   └── BadSettings      the settings file
    │   ├── BadSheet             an alloy sheet or profile
    │   └── BadTrace             a file to replay has no usable columns
    ├── FrameError     (2)       bytes that are not a frame of the format they should be in
    ├── OutOfRange     (2)       a value beyond the stated domain of a formula
    ├── NotFound       (3)       no such melt, pour, alloy, probe, furnace
    ├── LinkError      (4)       a port: wrong, busy, not permitted; a person must act
    ├── StoreError     (5)       the record is at risk, or the file is not ours to touch
    ├── DaemonError    (6)       no daemon answers, or one runs already
    └── Refused        (7)       understood, and not done: the reason is said

Exit codes: 0 done, 1 unexpected, 2 to 7 as above, 130 interrupted from the keyboard.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:  # `pourcall --help` is quick because nothing is loaded for it
    from pourcall.contract.message import Message, Told


class PourcallError(Exception):
    """What happened (`what`), where, and what to do about it (`remedy`).

    Both are messages of the catalogue, never words of ours: `str(err)` says them with temperatures in degC,
    `err.said(...)` as the reader wants them. `where` is a file, a key, an option: the same in every language.
    """

    exit_code = 1

    def __init__(self, what: "Message", *, where: str = "", remedy: "Message | Literal['']" = "") -> None:
        super().__init__(what)
        self.what, self.where, self.remedy = what, where, remedy

    def __str__(self) -> str:
        return self.said(str)

    def said(self, in_words: "Callable[[Told], str]") -> str:
        """The whole error in one piece; `in_words` says what happened and what to do."""
        what, remedy = in_words(self.what), in_words(self.remedy)
        text = f"{what} ({self.where})" if self.where else what
        stop = "" if text.endswith("?") else "."
        return f"{text}{stop} {remedy}" if remedy else text


class BadInput(PourcallError, ValueError):
    """Something typed or written that we cannot use."""

    exit_code = 2


class BadTemperature(BadInput):
    """A temperature that is no number, has no known unit, or cannot be meant."""


class FaultyFile(BadInput):
    """A file of tables that a person wrote. `what` lists every fault, one a line."""

    def said(self, in_words: "Callable[[Told], str]") -> str:
        """A list of faults: where to look comes before it."""
        where = f"{self.where}: " if self.where else ""
        return f"{where}{in_words(self.what)}\n{in_words(self.remedy)}"


class BadSettings(FaultyFile):
    """The settings file."""


class BadSheet(BadInput):
    """An alloy sheet or a profile is refused, by file and key; the others load."""


class BadTrace(BadInput):
    """A file to replay or to learn from has no usable columns."""


class FrameError(PourcallError, ValueError):
    """Bytes that are not a frame of the format they should be in. Counted by the link, never fatal."""

    exit_code = 2


class OutOfRange(PourcallError, ValueError):
    """A value beyond the stated domain of a formula."""

    exit_code = 2


class NotFound(PourcallError, LookupError):
    """No melt, pour, alloy, probe or furnace of that name."""

    exit_code = 3


class LinkError(PourcallError):
    """A port that is not there, busy or not permitted. Retrying alone does not help: a person must act."""

    exit_code = 4


class StoreError(PourcallError):
    """The record is at risk, or the file is not ours to touch. Raises an alarm, never only a log line."""

    exit_code = 5


class DaemonError(PourcallError):
    """No daemon answers, or one is running already."""

    exit_code = 6


class Refused(PourcallError):
    """Understood, and not done; the reason is said."""

    exit_code = 7
