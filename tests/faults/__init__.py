"""Faults on purpose, against the application as it is run for real: ``python -m tests.faults`` (see ``__main__``)."""
