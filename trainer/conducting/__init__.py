"""What drives a session: keys in, effects out, the plan that says what comes next."""
