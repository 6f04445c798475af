"""`python -m quietseat`."""

from quietseat.cli import main

main()
