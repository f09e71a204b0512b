"""What changed on a site since the last handover that somebody took note of."""
