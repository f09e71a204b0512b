"""Records in and out of the service as files: imports of tables, exports of a whole site."""
