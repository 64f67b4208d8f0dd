"""What stands in for the hardware: plant, instruments, boards, faults, and the rehearsals played on them."""
