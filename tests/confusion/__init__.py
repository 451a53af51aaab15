"""Faults put on the simulated board, measured, and what diagnose makes of them: the confusion table.

`python -m tests.confusion` measures every case through the monitor, as at the bench, and prints the table.
The test in this folder takes the same cases on the board's memory without the monitor, and a few through it.
"""
