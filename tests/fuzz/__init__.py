"""Plain mutation fuzzing: valid files with pieces changed, read in-process.

    python -m tests.fuzz.run luts --cases 100000 --seed 1

A harness names its seeds and reads one case; whatever it raises but `LookkitError`, a reading
of over ten seconds or one that takes over 1 GB is a find. The test run takes a slice of each.
"""
