"""`python -m trainer` is the same program as `mittelstimme`."""

from trainer.commands import main

if __name__ == "__main__":
    main()
