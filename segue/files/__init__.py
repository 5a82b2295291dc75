"""Files on the disk: whole or not at all, plain, of one writer."""
