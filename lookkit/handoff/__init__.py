"""The folder that is handed over: built whole, verified, compared."""
