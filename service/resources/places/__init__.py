"""Where things are: sites, rooms, systems of water and tanks, and what is set for them over time."""
