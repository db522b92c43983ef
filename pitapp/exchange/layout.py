"""The file of everything as a pydantic model, made from the schema so that no table is forgotten."""

from __future__ import annotations

import sqlite3
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, create_model

from pitapp.dates import from_db, read_day
from pitapp.db.identity import MOST_ORIGINS
from pitapp.exchange import store

FORMAT = "pitapp everything"
VERSION = 1
LONGEST_TEXT = 1_000_000
MOST_ROWS = 500_000


class Row(BaseModel):
    """A row of a table: no column that the table has not, no value of another kind."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


class Head(BaseModel):
    """How a file of everything begins."""

    model_config = ConfigDict(extra="allow")

    format: Literal["pitapp everything"]
    version: int
    schema_version: int


def _moment(text: str) -> str:
    from_db(text)
    return text


def _day(text: str) -> str:
    read_day(text)
    return text


LARGEST = 2**53
"""The largest whole number that a script on a page still knows exactly."""
INTEGER = Annotated[int, Field(ge=-LARGEST, le=LARGEST)]
KEY = Annotated[int, Field(ge=1, le=LARGEST)]
REAL = Annotated[float, Field()]
TEXT = Annotated[str, Field(max_length=LONGEST_TEXT)]
MOMENT = Annotated[str, Field(max_length=40), AfterValidator(_moment)]
DAY = Annotated[str, Field(max_length=10), AfterValidator(_day)]
UUID = r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$"
MAKE: Any = create_model
KINDS: dict[str, Any] = {"INTEGER": INTEGER, "REAL": REAL, "TEXT": TEXT}


class WriteKey(Row):
    """A write whose rows are in the file: where it comes again from a phone, it is not done again."""

    key: Annotated[str, Field(max_length=36, pattern=UUID)]
    made_at: MOMENT


def row_of(connection: sqlite3.Connection, table: str) -> Any:
    """The model of a row of a table as this database's schema has it."""
    columns = {column.name: _field(column) for column in store.columns(connection, table)}
    return MAKE(f"row_of_{table}", __base__=Row, **columns)


def everything(connection: sqlite3.Connection) -> type[BaseModel]:
    """The model of a file of everything for this database's schema."""
    fields: dict[str, Any] = {}
    for table in store.tables(connection):
        row: Any = row_of(connection, table)
        fields[table] = (Annotated[list[row], Field(max_length=MOST_ROWS)], Field([]))
    content = MAKE("Tables", __config__=ConfigDict(extra="forbid"), **fields)
    made: type[BaseModel] = MAKE(
        "Everything",
        __config__=ConfigDict(extra="forbid", strict=True),
        __doc__="All that pitapp keeps of one racer, table by table.",
        format=(Literal["pitapp everything"], Field(description="What this file is.")),
        version=(Literal[1], Field(description="The version of this layout.")),
        schema_version=(
            Annotated[int, Field(ge=1)],
            Field(description="The version of the tables that the rows were taken from."),
        ),
        written_at=(MOMENT, Field(description="When it was written, in UTC.")),
        written_by=(Annotated[str, Field(max_length=60)], Field(description="What wrote it.")),
        origin=(
            Annotated[str, Field(max_length=64)],
            Field("", description="The database that it was written from."),
        ),
        earlier_origins=(
            Annotated[list[Annotated[str, Field(max_length=64)]], Field(max_length=MOST_ORIGINS)],
            Field([], description="The databases that that one held a copy of."),
        ),
        tables=(content, Field(description="The rows of each table, in the order of their keys.")),
        write_keys=(
            Annotated[list[WriteKey], Field(max_length=MOST_ROWS)],
            Field([], description="The keys by which the writes of these rows were sent."),
        ),
    )
    return made


def json_schema(connection: sqlite3.Connection) -> dict[str, Any]:
    """The published schema of the file of everything (JSON Schema 2020-12)."""
    schema = everything(connection).model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def _field(column: store.Column) -> tuple[Any, Any]:
    kind = KINDS[column.kind]
    if column.kind == "INTEGER" and column.name == "id":
        kind = KEY
    elif column.kind == "TEXT" and (column.name.endswith("_at") or column.name == "since"):
        kind = MOMENT
    elif column.name in ("day", "bought_on"):
        kind = DAY
    if column.may_be_null:
        kind = kind | None
    return kind, ... if column.needed else Field(None)
