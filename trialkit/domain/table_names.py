"""Names of the files and tables in a trial folder."""

from typing import Literal

PROTOCOL_FILE, AMENDMENTS_FILE, COUNTY_FILE = "trial.toml", "amendments.csv", "county.toml"
FORMS_FOLDER = "forms"
TableName = Literal[
    "sites", "products", "layout", "solution", "visits", "heads", "weather", "amendments", "means", "people"
]
TABLE_NAMES: tuple[TableName, ...] = (
    "sites", "products", "layout", "solution", "visits", "heads", "weather", "amendments",
)  # fmt: skip
OPTIONAL_TABLES: tuple[TableName, ...] = ("weather", "amendments")
"""Tables that a trial may do without, and is not asked for."""
RECORD_TABLES: tuple[TableName, ...] = ("heads", "solution", "visits")
"""The tables that returns are merged into."""
