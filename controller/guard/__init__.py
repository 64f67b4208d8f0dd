"""The guard process: reads, asks the core, drives, proves. It has no network, waits for nobody, and ends in power off.

`loop` is the scan; `threads` holds what may be slow (1-Wire, the disk); `latchfile` is what outlives the process;
`sockets` with `protocol` and `challenge` is how others ask; `ring` keeps events and frames until they are fetched.
"""
