"""Who may do what here: people and their roles, tokens for scripts, sessions for browsers."""
