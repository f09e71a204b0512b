"""Imports: a table somebody kept becomes records, each row stored or rejected with its reason.

files (rows of cells) > guessing (a mapping) > rows (drafts of records) > recording (records) > running (an import)
"""
