"""Checks before a version goes out: its migrations, what it is made of, and the files that it is run with."""
