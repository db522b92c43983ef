"""One tree of errors: what a racer can mend, in a sentence, with the status of the answer.

Anything that a racer cannot mend is not wrapped: it is a defect and should be seen as one.
"""

from __future__ import annotations

from typing import NamedTuple


class Question(NamedTuple):
    """What a racer has to say before a form can be saved: one of `choices`, sent as `field`.

    Each choice is its value and what it is called.
    """

    field: str
    label: str
    choices: tuple[tuple[str, str], ...]


class PitappError(Exception):
    """The root: `str(error)` is a sentence to show, `status` the HTTP status, `exit_code` the command's."""

    status = 500
    exit_code = 1
    title = "That did not work"


class NotThere(PitappError):
    """What was asked for does not exist, or was removed."""

    status = 404
    title = "Not there"


class Refused(PitappError):
    """A rule of the app forbids this, with the reason."""

    status = 409
    title = "Not done"


class ChangedMeanwhile(Refused):
    """Somebody else changed the same thing first."""

    title = "Changed meanwhile"


class AnotherDatabase(PitappError):
    """This was made for another database than the one that answers."""

    status = 412
    title = "Another database"


class Gone(Refused):
    """What a form is about was removed since its page was made; `question` asks for another."""

    title = "Removed since"

    def __init__(self, sentence: str, question: Question | None = None) -> None:
        super().__init__(sentence)
        self.question = question


class WhichOne(PitappError):
    """A form does not say what it is about, and that is not certain without; `question` asks."""

    status = 422
    title = "Not saved yet"

    def __init__(self, sentence: str, question: Question) -> None:
        super().__init__(sentence)
        self.question = question


class BadRequest(PitappError):
    """The request cannot be understood."""

    status = 400
    title = "Not understood"


class DataError(PitappError):
    """The data folder or the database cannot be used as it is."""

    status = 503
    exit_code = 3
    title = "The data cannot be used"


class NewerDatabase(DataError):
    """The database was written by a newer pitapp."""


class DamagedDatabase(DataError):
    """The database file is no longer what SQLite wrote."""


class AlreadyServed(DataError):
    """Another pitapp serves this data folder."""

    exit_code = 4


class DatabaseBusy(DataError):
    """Another writer held the database for too long."""

    title = "Busy"


class DiskFull(DataError):
    """There is no room left to write."""

    status = 507
    title = "No room left"
