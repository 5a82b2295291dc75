"""The desk: a folder of songs in, one page on this machine on which the whole job is done.

It is a house for what there is: every button calls what the commands call, and what it makes is
an ordinary run folder. `segue.desk.desk_server` serves it; the server comes with ``segue[desk]``.
"""
