"""The tables of the build record, schema 5. Rows are only ever added; a correction is another row.

What units share is kept once: a face, a marker as it was resolved, and the whole content of a sheet
are known by the digest of what they say, so that the second unit of a harness adds a few rows.

Times are UTC in ISO 8601 with milliseconds. Digests are 16 bytes of BLAKE2b (see `faces`, `write`),
those of harness files and fonts SHA-256 in hexadecimal.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

VERSION = 5

metadata = MetaData()

schema_version = Table("schema_version", metadata, Column("version", Integer, primary_key=True, autoincrement=False))


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False)


def _known_by_digest(name: str, *columns: Column[str]) -> Table:
    """Return a table of texts that are known by the digest of what they say."""
    digest = Column("digest", LargeBinary, primary_key=True)
    return Table(name, metadata, digest, *columns, sqlite_with_rowid=False)


def _of_job(name: str, *columns: Column[str] | Column[int]) -> Table:
    """Return a table of what is kept of a job, one row for each key within it."""
    job_id: Column[int] = Column("job_id", ForeignKey("job.id"), primary_key=True)
    return Table(name, metadata, job_id, *columns, sqlite_with_rowid=False)


# One row for each distinct content of a harness file. "text" is what was read, deflated by zlib.
harness = Table(
    "harness",
    metadata,
    Column("id", Integer, primary_key=True),
    _text("name"),
    _text("part_number"),
    _text("revision"),
    _text("sha256"),
    Column("text", LargeBinary, nullable=False),
    UniqueConstraint("sha256", "name", "part_number", "revision"),
)

# "part_number" is the harness's name where it has no part number. "name" is the serial as names are
# compared, "full_name" that with the part number before it. "number" is the serial read as a number,
# so that 13 and 0013 cannot both exist; NULL where it is not one that is counted.
unit = Table(
    "unit",
    metadata,
    Column("id", Integer, primary_key=True),
    _text("part_number"),
    _text("serial"),
    Column("name", Text, nullable=False, index=True),
    Column("full_name", Text, nullable=False, index=True),
    Column("number", BigInteger, index=True),
    _text("time"),
    UniqueConstraint("part_number", "name"),
    UniqueConstraint("part_number", "number"),
)

# "uid" is what a job is known by in every record that it is carried to, its number only in this one.
# "kind" is print, reprint, or revision: what a newer revision changes on a unit that was built.
# "repeats_job" is the print that a reprint repeats or a revision changes. "date" is the day that stands on
# the sheets, "paper" the size of the bench sheet, "printer" the profile as JSON, "" where none was named.
# Jobs of one "run" were printed together: what they have on sheets of one number is on one sheet. "output" is
# the JSON object of the folder, and where asked for of the pictures, their dots, and the printers sent to; or "".
job = Table(
    "job",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("uid", Text, nullable=False, unique=True),
    _text("kind"),
    Column("unit_id", ForeignKey("unit.id"), nullable=False, index=True),
    Column("harness_id", ForeignKey("harness.id"), nullable=False, index=True),
    Column("repeats_job", ForeignKey("job.id")),
    _text("time"),
    _text("user"),
    _text("version"),
    _text("reason"),
    _text("date"),
    _text("paper"),
    _text("printer"),
    Column("run", Text, nullable=False, index=True),
    _text("output"),
)

# pending, drawn, then printed or cancelled, or first one and then the other; each at most once. "note" is
# for pending the JSON list of markers that are void once the job is printed, or "", for drawn the JSON
# object of paths of files and their SHA-256, for printed the JSON list of files, for cancelled the reason.
job_event = _of_job("job_event", Column("state", Text, primary_key=True), _text("time"), _text("user"), _text("note"))
job_font = _of_job("job_font", Column("font", Text, primary_key=True), _text("digest"))

stock = _known_by_digest("stock", _text("text"))
face = _known_by_digest("face", _text("text"))

# A marker as it was resolved. "face" is NULL where it is on no sheet, with the reason in "omit_reason", or
# NULL there too (a blank sleeve). "words" holds its names as they are compared where SQL's
# lower() does not give them: where they are not ASCII.
marker = _known_by_digest(
    "marker",
    *map(_text, ("marker", "kind", "role", "place", "branch", "circuit", "text", "tube", "colour")),
    Column("cut_length_mm", Float, nullable=False),
    *map(_text, ("heating", "installation", "load")),
    Column("face", ForeignKey("face.digest")),
    Column("omit_reason", Text),
    Column("words", Text),
)

# What stands on a sheet; or what stands on none, where "stock" is NULL.
content = Table(
    "content",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("digest", LargeBinary, nullable=False, unique=True),
    Column("stock", ForeignKey("stock.digest")),
    Column("width_mm", Float, nullable=False),
    Column("height_mm", Float, nullable=False),
    _text("load"),
)

piece = Table(
    "piece",
    metadata,
    Column("content_id", ForeignKey("content.id"), primary_key=True),
    Column("line", Integer, primary_key=True, autoincrement=False),
    Column("marker", ForeignKey("marker.digest"), nullable=False, index=True),
    _text("cell"),
    Column("x_mm", Float, nullable=False),
    Column("y_mm", Float, nullable=False),
    sqlite_with_rowid=False,
)

# Sheet 0 is no sheet: omitted markers and blank sleeves.
sheet = _of_job(
    "sheet",
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("content_id", ForeignKey("content.id"), nullable=False, index=True),
)

# What a sheet says of what is cut from it, where it says that.
sheet_about = _of_job("sheet_about", Column("number", Integer, primary_key=True, autoincrement=False), _text("about"))

# The cells of the last sheet of a stock that are used once a job is printed: names, separated by blanks; "": it is
# full. The latest row of a stock whose job was not cancelled is what holds.
partial_sheet = Table(
    "partial_sheet",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("job_id", ForeignKey("job.id"), nullable=False, index=True),
    _text("stock"),
    _text("used_cells"),
)

# A marker that is not to be used; prints up to "after_job" are meant, a later one is good again. Where "of_job"
# and "of_sheet" are given, only the copy on that sheet is meant. "by_job" is the job of a newer revision that took
# the marker off its unit.
void = Table(
    "void",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("uid", Text, nullable=False, unique=True),
    Column("unit_id", ForeignKey("unit.id"), nullable=False, index=True),
    _text("marker"),
    _text("time"),
    _text("user"),
    _text("reason"),
    Column("after_job", Integer, nullable=False),
    Column("by_job", ForeignKey("job.id")),
    Column("of_job", ForeignKey("job.id")),
    Column("of_sheet", Integer),
)
