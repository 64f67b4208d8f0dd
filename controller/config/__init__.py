"""The rig file: read, judged with messages that name file, line and key, and compiled once into a frozen core rig.

The way of a file: `lines` and `units` (where a key stands, which unit it carries), `models` (shape and bounds),
`signals`, `limits` and `pins` (compiled), `contradictions` and `grades` (may it run, may it be left?), `load` (all).
Only `load`, `rigs` and `problems` are needed from outside.
"""
