"""What was recorded: readings, additions, maintenance, stock changes; their courses, changes and audit trail."""
