"""A still on its way: read, seen through looks, written."""
