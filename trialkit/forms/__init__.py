"""What volunteers are given: a printed pack, a record workbook and a phone form."""
