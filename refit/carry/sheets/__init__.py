"""Spreadsheets from outside, read into plain rows: xlsx, csv, tsv. What the rows mean is decided elsewhere."""
