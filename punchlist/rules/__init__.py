"""Decisions about punch items as pure functions: no database, no framework."""
