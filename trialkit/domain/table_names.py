"""Names of the files and tables in a trial folder."""

from typing import Literal

PROTOCOL_FILE = "trial.toml"
TableName = Literal["sites", "products", "layout", "solution", "visits", "heads", "weather", "means"]
TABLE_NAMES: tuple[TableName, ...] = ("sites", "products", "layout", "solution", "visits", "heads", "weather")
OPTIONAL_TABLES: tuple[TableName, ...] = ("weather",)
"""Tables that a trial may do without, and is not asked for."""
RECORD_TABLES: tuple[TableName, ...] = ("heads", "solution", "visits")
"""The tables that returns are merged into."""
