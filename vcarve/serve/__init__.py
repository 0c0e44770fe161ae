"""The bench page: a job tried out in the browser, served to this machine alone."""
