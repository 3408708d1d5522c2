"""What is known of stills and what was chosen for them, kept in one file beside them."""
