"""What a person types."""
