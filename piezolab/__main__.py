"""``python -m piezolab``: the same commands as ``piezolab``, where its script is not on the path."""

from piezolab.cli import main

if __name__ == "__main__":
    main(prog_name="piezolab")
