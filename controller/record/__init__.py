"""What is kept: the trend of every signal, every event, what people wrote down, and what the rig has done in its life.

One SQLite file, written by one process (the link), read by any. Numbers are compressed within a stated error, packed
and committed rarely, because a memory card wears with every commit; what happened is committed at once.
"""
