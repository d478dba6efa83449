"""`python -m portdraw` is the command."""

from portdraw.cli.app import main

if __name__ == "__main__":
    main()
