"""What order of an evening costs least, and what would be better."""
