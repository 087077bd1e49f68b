"""The log: what was played, as events, and what was judged of it."""
