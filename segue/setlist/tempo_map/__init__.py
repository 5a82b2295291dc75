"""The evening on one ruler: where every song and segue lies, and its tempo."""
