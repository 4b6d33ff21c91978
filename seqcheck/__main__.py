"""`python -m seqcheck` runs the command line."""

from seqcheck.cli.main import main

if __name__ == "__main__":
    main()
