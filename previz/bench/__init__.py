"""The page at the bench: the scene file edited in a browser, its light computed by the same engine as the files."""
