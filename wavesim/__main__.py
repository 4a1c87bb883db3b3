"""`python -m wavesim` is the command `wavesim`."""

from wavesim.cli import main

main()
