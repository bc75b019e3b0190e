"""The tables of the build record. Rows are only ever added; a correction is another row.

Times are UTC in ISO 8601 with milliseconds. Digests of faces and stock are 16 bytes of BLAKE2b
over their text (see `faces`), those of harness files SHA-256 in hexadecimal.
"""

from __future__ import annotations

from sqlalchemy import (
    Column,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

VERSION = 1

metadata = MetaData()

schema_version = Table("schema_version", metadata, Column("version", Integer, primary_key=True))


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False)


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

# "part_number" is the harness's name where it has no part number. "number" is the serial read as
# a number, so that 13 and 0013 cannot both exist; NULL where the serial is not one.
unit = Table(
    "unit",
    metadata,
    Column("id", Integer, primary_key=True),
    _text("part_number"),
    _text("serial"),
    Column("number", Integer),
    _text("at"),
    UniqueConstraint("part_number", "serial"),
    UniqueConstraint("part_number", "number"),
)

job = Table(
    "job",
    metadata,
    Column("id", Integer, primary_key=True),
    _text("kind"),
    Column("unit_id", ForeignKey("unit.id"), nullable=False, index=True),
    Column("harness_id", ForeignKey("harness.id"), nullable=False),
    _text("at"),
    _text("who"),
    _text("version"),
    _text("reason"),
)

# prepared, then printed or withdrawn, or first one and then the other; each at most once.
# "note" is the JSON list of files for printed, the reason for withdrawn.
job_event = Table(
    "job_event",
    metadata,
    Column("job_id", ForeignKey("job.id"), primary_key=True),
    Column("state", Text, primary_key=True),
    _text("at"),
    _text("note"),
)

job_font = Table(
    "job_font",
    metadata,
    Column("job_id", ForeignKey("job.id"), primary_key=True),
    Column("font", Text, primary_key=True),
    _text("digest"),
)

stock = Table(
    "stock", metadata, Column("digest", LargeBinary, primary_key=True), _text("text"), sqlite_with_rowid=False
)
face = Table("face", metadata, Column("digest", LargeBinary, primary_key=True), _text("text"), sqlite_with_rowid=False)

sheet = Table(
    "sheet",
    metadata,
    Column("job_id", ForeignKey("job.id"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("stock", ForeignKey("stock.digest"), nullable=False),
    Column("width_mm", Float, nullable=False),
    Column("height_mm", Float, nullable=False),
    _text("group_name"),
)

# One row for each piece on a sheet, and one for each marker that is on none ("sheet" and "face"
# NULL), with the reason in "left_out". "group_name" is NULL where it is the sheet's.
marker = Table(
    "marker",
    metadata,
    Column("job_id", ForeignKey("job.id"), primary_key=True),
    Column("line", Integer, primary_key=True, autoincrement=False),
    _text("marker"),
    _text("kind"),
    _text("role"),
    _text("at"),
    _text("branch"),
    _text("circuit"),
    _text("label"),
    _text("tube"),
    Column("cut_length_mm", Float, nullable=False),
    Column("face", ForeignKey("face.digest")),
    Column("sheet", Integer),
    Column("cell", Text),
    Column("x_mm", Float),
    Column("y_mm", Float),
    Column("group_name", Text),
    Column("left_out", Text),
    ForeignKeyConstraint(["job_id", "sheet"], ["sheet.job_id", "sheet.number"]),
    sqlite_with_rowid=False,
)

# A marker that is not to be used; prints up to "after_job" are meant, a later one is good again.
void = Table(
    "void",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("unit_id", ForeignKey("unit.id"), nullable=False, index=True),
    _text("marker"),
    _text("at"),
    _text("who"),
    _text("reason"),
    Column("after_job", Integer, nullable=False),
)
