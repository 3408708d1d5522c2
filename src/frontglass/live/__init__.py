"""The live page: a server on this machine, and the page on which a strength is chosen."""
