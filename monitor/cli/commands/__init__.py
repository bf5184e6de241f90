"""One module for each command of ``hang-monitor``.

What takes long to import is imported inside the functions that need it: measured on one processor, ``--help`` takes
0.25 s of its time this way, and 1.7 s with all imports at the top.
"""
