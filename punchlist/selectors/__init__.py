"""Reads of the punch list, each in a fixed number of queries."""
