"""``python -m stationsim``: the command line."""

from stationsim.cli import main

main(prog_name="stationsim")
