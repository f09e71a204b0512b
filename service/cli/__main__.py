"""`python -m service.cli` is `ooid`."""

from service.cli.app import main

main()
