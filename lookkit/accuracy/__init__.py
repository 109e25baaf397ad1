"""How far a delivered form is from the exact graph: colours, measures and their report."""
