"""Ledgers' databases looked at past the program: plain SQL through each database's own driver."""

import sqlite3
from contextlib import closing, contextmanager
from pathlib import Path

import psycopg
from sqlalchemy import create_engine, inspect
from sqlalchemy.engine import make_url

KINDS = ("sqlite", "postgresql")


def execute(place, *statements, parameters=()):
    """Run statements in one transaction; give the rows of the last."""
    with closing(_connect(place)) as connection:
        for statement in statements:
            text = statement if isinstance(place, Path) else statement.replace("?", "%s")
            cursor = connection.execute(text, parameters)
        rows = cursor.fetchall() if cursor.description else []
        connection.commit()
        return rows


def count(place, table):
    query = f"SELECT count(*) FROM {table}"  # noqa: S608 - names from the tests alone
    return execute(place, query)[0][0]


def shape(place):
    """Tables with their columns, keys and indexes."""
    url = f"sqlite:///{place}" if isinstance(place, Path) else make_url(place)
    if not isinstance(place, Path):
        url = url.set(drivername="postgresql+psycopg")
    engine = create_engine(url)
    try:
        seen = inspect(engine)
        return {
            table: {
                "columns": {(one["name"], one["nullable"]) for one in seen.get_columns(table)},
                "key": seen.get_pk_constraint(table)["constrained_columns"],
                "indexes": {
                    (one["name"], *one["column_names"])
                    for one in seen.get_indexes(table)
                    if not one.get("duplicates_constraint")
                },
            }
            for table in seen.get_table_names()
        }
    finally:
        engine.dispose()


@contextmanager
def other_program_writes(place):
    """Hold what a writer needs, as another program does that is in the middle of writing."""
    begin = (
        "BEGIN IMMEDIATE" if isinstance(place, Path) else "LOCK TABLE runs, kept IN EXCLUSIVE MODE"
    )
    with closing(_connect(place)) as other:
        other.execute(begin)
        yield


def _connect(place):
    if isinstance(place, Path):
        return sqlite3.connect(place)
    return psycopg.connect(place)
