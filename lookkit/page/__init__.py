"""The page on which a look is built by eye: a local server, and what it shows."""
