"""Loads the fixtures that several test modules share."""

pytest_plugins = ("tests.browser", "tests.command_line", "tests.log_places")
