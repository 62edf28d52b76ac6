"""What can go wrong, the exit code it leads to, and what the person can do about it.

Standard library only. Every error that a person can cause or mend derives from
:class:`TraymorphError`; anything else that escapes is a bug and ends with exit code 1.
"""

from enum import IntEnum
from typing import ClassVar


class ExitCode(IntEnum):
    """Exit codes of the ``traymorph`` command."""

    DONE = 0
    BUG = 1
    USAGE = 2
    LISTS = 3
    PHOTO = 4
    CARD = 5
    DESIGN = 6
    STORE = 7
    MISSING_DEPENDENCY = 8
    SOME_FAILED = 9
    INTERRUPTED = 130


class TraymorphError(Exception):
    """Root of all errors that a person can cause or mend.

    Parameters
    ----------
    message : str
        One sentence: what is wrong and where.
    hint : str
        One sentence: what to do about it.
    """

    exit_code: ClassVar[ExitCode] = ExitCode.BUG

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message} {self.hint}".strip()

    def __reduce__(self) -> tuple[object, ...]:
        # Errors travel back from worker processes; keyword arguments need this to survive pickling.
        return _rebuild, (type(self), self.message, self.hint)


def _rebuild(kind: type[TraymorphError], message: str, hint: str) -> TraymorphError:
    return kind(message, hint=hint)


class SettingsError(TraymorphError):
    """``trial.toml`` cannot be read or holds a value that cannot be meant."""

    exit_code = ExitCode.LISTS


class ListError(TraymorphError):
    """``trays.csv`` or ``photos.csv`` holds rows that cannot be used; all are named at once."""

    exit_code = ExitCode.LISTS


class PhotoError(TraymorphError):
    """A photo cannot be used."""

    exit_code = ExitCode.PHOTO


class UnreadablePhotoError(PhotoError):
    """The file is damaged, cut short, or no picture at all."""


class UnsupportedFormatError(PhotoError):
    """The file is a picture of a kind that is not read."""


class PhotoSizeError(PhotoError):
    """The picture has too many or too few pixels to measure in."""


class PhotoContradictionError(PhotoError):
    """Card, label and list say different things about one photo."""


class CardError(TraymorphError):
    """The reference card cannot be used."""

    exit_code = ExitCode.CARD


class CardNotFoundError(CardError):
    """No reference card is seen in the photo."""


class CardPartlyHiddenError(CardError):
    """Too little of the card is seen: cut off by the photo's edge or covered."""


class TwoCardsError(CardError):
    """More than one card of the role wanted lies in the photo."""


class WrongCardRoleError(CardError):
    """The card in the photo belongs to another view."""


class CardTooTiltedError(CardError):
    """The camera looks at the card at too flat an angle."""


class CardColourError(CardError):
    """The printed colours cannot be read off a photo of the card."""


class TrayNotFoundError(PhotoError):
    """The tray's opening or front wall cannot be found in the photo."""


class BoardError(PhotoError):
    """What lies under the cut plants is no plain board, or nothing can be told on it."""


class DesignError(TraymorphError):
    """The trial's design cannot answer the question."""

    exit_code = ExitCode.DESIGN


class StoreError(TraymorphError):
    """A result, a card or the ledger cannot be written, or the ledger cannot be read."""

    exit_code = ExitCode.STORE


class MissingDependencyError(TraymorphError):
    """A library that this needs is not installed."""

    exit_code = ExitCode.MISSING_DEPENDENCY
