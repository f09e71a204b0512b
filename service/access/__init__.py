"""Who may do what: people, tokens, sessions, roles and scopes. Tables and rules; knows nothing of the web."""
