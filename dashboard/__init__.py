"""The pages: read the board and the history, send operator actions. No physics, no SQL."""
