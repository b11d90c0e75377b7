"""A proved copy of the database while people work, and the way back from it."""
