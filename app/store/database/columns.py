"""How a table of the store is written down: its columns by what they hold."""

from typing import Any

from sqlalchemy import BigInteger, Column, Double, ForeignKey, LargeBinary, MetaData, Table, Text

metadata = MetaData()


def table(name: str, *columns: Column[Any]) -> Table:
    """A table of the store."""
    return Table(name, metadata, *columns)


def key() -> Column[int]:
    """The number of a row."""
    return Column("id", BigInteger, primary_key=True)


def to(name: str, target: str, nullable: bool = False) -> Column[int]:
    """The number of a row in another table."""
    return Column(name, BigInteger, ForeignKey(f"{target}.id"), nullable=nullable)


def owned(name: str, target: str) -> Column[int]:
    """The number of the row in another table that this one belongs to: its key, or a part of it."""
    return Column(name, BigInteger, ForeignKey(f"{target}.id"), primary_key=True)


def text(name: str, nullable: bool = False) -> Column[str]:
    """Words."""
    return Column(name, Text, nullable=nullable)


def real(name: str, nullable: bool = True) -> Column[float]:
    """A number."""
    return Column(name, Double, nullable=nullable)


def whole(name: str, nullable: bool = False) -> Column[int]:
    """A whole number."""
    return Column(name, BigInteger, nullable=nullable)


def body() -> Column[bytes]:
    """Content, packed."""
    return Column("body", LargeBinary, nullable=False)
