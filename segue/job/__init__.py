"""What makes a run, put in order: from a `Request` to a run folder."""
