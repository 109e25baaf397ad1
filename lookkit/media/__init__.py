"""Pictures in and out."""
