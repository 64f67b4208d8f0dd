"""What can go wrong, as a table: each fault with its parameters, its onset, and how it shows in practice."""
