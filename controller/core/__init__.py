"""Decisions only: what a reading means, which limit it breaks, what the outputs must be.

Nothing here does I/O, reads a clock, starts a thread or draws a random number; time is an argument. The way of a
reading: `signals` (is it to be believed?), `limits` with `timers` and `voting` (does it break a limit?), `trips`
(first-out and the latch), `sequence` (which state follows), `outputs` (what each output does in it), `step` (all of
them, once a scan). `margins` and `explain` say the same in numbers and in words, outside the scan.
"""
