"""What one sees and works in: one module a view."""
