"""Pages of the punch list: they parse what came, call one service or selector, and answer."""
