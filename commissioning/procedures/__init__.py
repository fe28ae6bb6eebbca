"""Bundled commissioning procedures: versioned data files and the pure code that reads, checks and compares them.

Nothing here knows of Django or a database. A project copies a procedure and edits its copy; these files stay as issued.
"""
