"""A proof for a client: one file with the film, its takes and what draws them, without a server."""
