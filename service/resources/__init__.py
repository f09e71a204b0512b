"""What the service keeps: the catalogue, people, places, equipment and records."""
