"""One search box over everything that has a page: kept by the database's own triggers, rebuilt by `find_rebuild`."""
