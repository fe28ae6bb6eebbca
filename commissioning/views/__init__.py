"""Pages: they parse what came, call one service or selector, and answer. No rule lives here."""
