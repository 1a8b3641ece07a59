"""A keeper's own table, whatever its columns are called: read, understood by proposal and question, brought in."""
