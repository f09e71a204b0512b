"""What can be measured and how: quantities, methods and lots, shared by the whole installation."""
