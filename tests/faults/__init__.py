"""Scripts that try the program hard, each with a `main` that prints its figures.

`python -m tests.faults` runs all of them at full length; tests run short versions.
"""
