"""Drills: what goes wrong one day, done on purpose on servers of their own, with the counts that come of it."""
