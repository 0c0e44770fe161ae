"""Pictures, the page and the bench sheet."""
