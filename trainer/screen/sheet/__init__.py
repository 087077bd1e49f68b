"""What stands on a page with music."""
