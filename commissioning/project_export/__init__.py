"""A whole project in open formats: JSON Lines, CSV, PDF and photos with their hashes; and back, the same as it was."""
