"""Pictures in linear light: what they are, not where they come from."""
