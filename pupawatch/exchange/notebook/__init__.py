"""The keeper's notebook, a table of one row a pupa: in and out."""
