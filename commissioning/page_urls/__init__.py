"""Addresses of the pages, one module for each group of pages; commissioning/urls.py gathers them.

Addresses under a project read `p/<str:code>/…`; a record is named by `<uuid:id>`.
"""
