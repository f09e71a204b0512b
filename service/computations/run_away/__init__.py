"""Gas that runs away: how soon a tank's pH falls, how far, and what a low-pH cut-off can do about it."""
