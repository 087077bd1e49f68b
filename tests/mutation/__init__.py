"""Would the tests notice? Small changes made to a room of the program, one at a time.

`python -m tests.mutation` makes every change that `changes.py` knows in the rooms of `rooms.toml`
and runs that room's tests against each in a process of its own. A change that no test notices has
survived: either a test is missing, or the change makes no difference, which is then argued in
`equivalent.toml`.

Of the kept tools, mutmut 3 changes functions only, and here half of the rules are tables outside of
them; cosmic-ray and mutatest rewrite the checkout itself and start an interpreter for each change.
"""
