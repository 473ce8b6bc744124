"""The trial folder: protocol, tables, checking, randomising, writing."""
