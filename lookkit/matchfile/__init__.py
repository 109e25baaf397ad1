"""A camera's match to the main camera: what its file says, and what it does to pixels."""
