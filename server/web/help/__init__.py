"""The guides, one for each reader."""
