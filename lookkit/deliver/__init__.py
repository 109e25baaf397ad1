"""What a build delivers, one format a file."""
