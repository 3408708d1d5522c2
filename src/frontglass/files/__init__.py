"""Picture files: the only room that knows formats."""
