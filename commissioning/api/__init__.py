"""The API under /api/v1/: thin views that parse, call one service or selector, and answer in JSON."""
