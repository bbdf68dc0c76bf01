"""Change one thing in ``methods`` at a time and see whether the tests notice: ``python -m tests.mutants``."""
