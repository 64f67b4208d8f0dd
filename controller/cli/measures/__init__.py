"""What `lyewatch measure` measures, a module a subject. Each figure stands beside a baseline taken in the same run."""
