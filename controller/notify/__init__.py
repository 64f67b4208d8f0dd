"""Tells people when it matters: a process of its own, best on another machine than the rig's."""
