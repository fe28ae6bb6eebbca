"""Everything out into one folder, and back: database, files, and the hashes that prove that nothing is missing."""
