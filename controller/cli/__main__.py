"""`python -m controller.cli` is `lyewatch`, by the interpreter that runs already: how processes start each other."""

from controller.cli import main

main()
