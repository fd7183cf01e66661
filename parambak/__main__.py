"""`python -m parambak` is the command `parambak`."""

from parambak.cli.main import run

if __name__ == "__main__":
    run()
