"""The only importers of hardware libraries: ports, and one driver a file.

A driver owns no thread and no clock. It is asked (`read_once`, `poll`), and clock and wait are arguments, so that the
same code runs on a Pi, against the bench process, and on a virtual clock.
"""
