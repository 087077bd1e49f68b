"""From score to picture and print."""
