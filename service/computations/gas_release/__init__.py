"""What carbon dioxide let into a room would come to."""
