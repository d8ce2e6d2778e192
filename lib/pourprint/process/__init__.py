"""The trade's arithmetic, one topic a file: pure functions of numbers, knowing nothing of routes or money."""
