"""Loaded first by the server that processes are forked from: Ctrl-C is not for it.

It would break off its loading with a traceback. The server ends when its parent does. It is
started with the signal blocked, for it may come before this is loaded; whoever else imports
this has it not blocked, and keeps what it has.

Nor is looking for what nobody holds any more while it loads: an eighth of the time goes into that.
"""

import gc
import signal

if hasattr(signal, "pthread_sigmask") and signal.SIGINT in signal.pthread_sigmask(
    signal.SIG_BLOCK, ()
):
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    gc.disable()  # until the processes begin
