"""The recipe: its model, its loader, the lines of its keys."""
