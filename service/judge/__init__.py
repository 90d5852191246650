"""Decisions, pure: from readings and actions to verdicts and alarms. Nothing here asks a clock."""
