"""/v1/procedures: what is done step by step, as data."""
