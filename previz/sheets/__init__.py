"""Paper and open files for the bench: what is cut, built and shot by."""
