"""Addresses of the punch list's API, under /api/v1/projects/{code}/."""
