from controller.cli import main

main()
