"""/v1/rounds: what is due on a site today, system by system, in the order it is walked."""
