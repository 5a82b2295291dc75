"""What takes so long to load that nobody can wait for it."""

import time

time.sleep(3_600)
