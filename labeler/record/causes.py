"""What a database says when something is wrong, as problems: the one place where its errors are understood."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError, SQLAlchemyError

from labeler.errors import LabelerError, Problem, Where

DAMAGED = ("the file is damaged", "restore the record from its latest copy")
FULL = ("the disk is full", "make room and run the command again; nothing of it was recorded")
BUSY = ("another program is writing to it", "wait for it to finish, then run the command again")
READ_ONLY = ("it may only be read", "give yourself write permission on the file and its folder")
UNREACHED = ("the database server cannot be reached", "see that it runs and that the network is there, then try again")

CAUSES = (  # what SQLite says, what that means, what to do
    ("full", *FULL),
    ("locked", *BUSY),
    ("readonly", *READ_ONLY),
    ("malformed", *DAMAGED),
    ("corrupt", *DAMAGED),
    ("not a database", *DAMAGED),
    ("no such", *DAMAGED),  # a table or a column
    ("has no column", *DAMAGED),
    ("decode", *DAMAGED),  # a text that is no UTF-8
    ("user-defined function", *DAMAGED),  # the same, where our own function is handed it
    ("disk i/o", "the disk does not take or give what it should", "see to the disk; nothing of this was recorded"),
    ("unable to open", "it cannot be opened", "check that its folder exists and may be written to"),
)

STATES = (  # how a state of PostgreSQL begins (its manual, appendix A), what that means, what to do
    ("08", *UNREACHED),
    ("57P", *UNREACHED),  # it is being shut down, or is starting
    ("28", "the server does not let you in", "check user and password in the URL"),
    ("3D000", "there is no such database on the server", "create it there, or correct the URL"),
    ("42501", "you may not write to it", "have the right given to you on the server"),
    ("25006", "it may only be read", "open it on the server that takes writing"),
    ("53100", *FULL),
    ("53", "the server has no room left for this", "try again later; nothing of it was recorded"),
    ("55P03", *BUSY),
    ("42P01", "a table is missing", "restore the record from its latest copy"),
    ("42703", "a column is missing", "restore the record from its latest copy"),
    ("22", "a text or a number cannot be kept", "leave unprintable characters out; nothing was recorded"),
)


@contextmanager
def told(name: str) -> Iterator[None]:
    """Turn every error of the database inside the block into a LabelerError with one problem."""
    try:
        yield
    except DBAPIError as error:
        raise LabelerError(_problem(name, error)) from error
    except SQLAlchemyError as error:
        message = f"the build record: {_one_line(error)}"
        raise LabelerError(Problem(Where(name), message, "nothing was recorded; see what it says")) from error
    except UnicodeDecodeError as error:  # a message that quotes damaged text
        raise LabelerError(cause(name, "decode")) from error
    except UnicodeEncodeError as error:
        message = f"a text holds a character that cannot be kept: {error.reason}"
        raise LabelerError(Problem(Where(name), message, "write it in UTF-8")) from error
    except OverflowError as error:
        message = f"a number is too large to be kept: {error}"
        raise LabelerError(Problem(Where(name), message, "use a smaller number")) from error


def _problem(name: str, error: DBAPIError) -> Problem:
    says, state = _one_line(error.orig), getattr(error.orig, "sqlstate", "")
    if isinstance(error, IntegrityError):
        message = f"the record refused a row ({says})"
        return Problem(Where(name), message, "run the command again; nothing of it was recorded")
    if error.connection_invalidated:
        return _known(name, *UNREACHED)
    if state is None and isinstance(error, OperationalError):  # PostgreSQL's driver, before there is a connection
        return _known(name, f"{UNREACHED[0]} ({says})", "see that it runs, and check the URL")
    for beginning, message, fix in STATES:
        if state and state.startswith(beginning):
            return _known(name, message, fix)
    return cause(name, says)


def cause(name: str, says: str) -> Problem:
    """Return the problem behind what SQLite says."""
    for word, message, fix in CAUSES:
        if word in says.lower():
            return _known(name, message, fix)
    return _known(name, says, "nothing was recorded; see what it says")


def _known(name: str, message: str, fix: str) -> Problem:
    return Problem(Where(name), f"the build record: {message}", fix)


def _one_line(error: object) -> str:
    return " ".join(str(error).split())
