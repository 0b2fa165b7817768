"""`python -m wearstats_cli` is the command line."""

from wearstats_cli.main import main

main()
