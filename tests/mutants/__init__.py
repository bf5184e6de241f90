"""Small mistakes made on purpose, to see whether the tests notice: ``python -m tests.mutants --of measures --n 60``.

A survey by hand, not a check: it is no part of ``.ci/run``. The tree is copied and only the copy is mutated.
"""
