"""Loaded last by the server that processes are forked from.

What it has loaded is kept out of every later search for what nobody holds any more: such a search
writes into each object's head, and so makes a copy of nearly all that the processes share.
"""

import gc

gc.freeze()
gc.enable()
