"""Fuzzing: whatever a file, the wire or a user brings is read or refused in plain words, never otherwise.

    python -m tests.fuzz                      every target for 10 s each, by mutation of its samples
    python -m tests.fuzz --seconds 600 trace  one target, longer
    python -m tests.fuzz --atheris trace      the same guided by coverage, where atheris is installed

targets.py is the table: what is fed, what may be raised. The suite feeds every target with hypothesis.
A find is written to the folder of --finds and printed as a line for test_finds.py.
"""
