"""The tables of a trial folder: schemas, reading and typing of cells, and problems told with how to fix them."""
