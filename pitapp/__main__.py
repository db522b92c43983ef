from pitapp.cli import main

main()
