"""Answers to the questions keepers ask: one package an answer, gathered from records, computed by `science`."""
