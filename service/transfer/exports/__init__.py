"""Exports: a whole site as one archive of CSV files that any spreadsheet reads, and that makes an equal site again."""
