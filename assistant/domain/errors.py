"""Every fault this program raises on purpose, in one tree. Each names the place and the remedy.

    AftercareError
      SettingsError        a setting is missing or wrong; the program does not start
      KnowledgeError       files of knowledge/ or business.toml have problems (carries them all)
      ImportRefused        a spreadsheet has bad cells (carries them all); nothing was taken over
      SlotTaken            the wanted time was taken by someone else between offer and pick
      CarrierError         the carrier was asked to send
        CarrierRefused     it said no; never again for this text
        CarrierBusy        it said later (or was not reached); safe to try again
        CarrierUnknown     nobody knows whether the text left; reconcile, never resend blindly

Refusals that a client should hear are values (see `conversation.decision`), not exceptions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in a file a person edits: where, what, and how to mend it."""

    file: str
    line: int | None
    problem: str
    remedy: str

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        return f"{place}: {self.problem}. {self.remedy}"


class AftercareError(Exception):
    """The root: everything below is expected trouble with a remedy."""


class SettingsError(AftercareError):
    """A setting is missing or wrong; the message names it and the remedy."""


class ProblemsError(AftercareError):
    """Carries every problem found, so that a person mends them in one go."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class KnowledgeError(ProblemsError):
    """Files of knowledge/ or business.toml have problems; the last good knowledge stays in use."""


class ImportRefused(ProblemsError):
    """A spreadsheet has bad cells; nothing of it was taken over."""


class SlotTaken(AftercareError):
    """Somebody else took the time between offer and pick."""


class CarrierError(AftercareError):
    """The carrier was asked to send a text. `code` is the carrier's own error number, if it gave one."""

    def __init__(self, message: str, code: int | None = None) -> None:
        self.code = code
        super().__init__(message)


class CarrierRefused(CarrierError):
    """The carrier said no to this text for good."""


class CarrierBusy(CarrierError):
    """Not sent for certain (connection refused, too many requests): try again later."""


class CarrierUnknown(CarrierError):
    """The answer was lost: the text may or may not have left."""
