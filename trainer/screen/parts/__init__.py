"""What several views share."""
