"""JSON for scripts: routes under /api/v1, and the page on which tokens for them are made."""
