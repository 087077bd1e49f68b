"""All legal realizations of an exercise, exactly: the best, the number, what can follow."""
