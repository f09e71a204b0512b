"""What is worked with: equipment, what is mounted on what, gas lines, and which reactor feeds which system."""
