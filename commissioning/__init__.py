"""The plant, its stages and its record."""
