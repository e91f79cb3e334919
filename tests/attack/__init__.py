"""Attacks on a server of their own on this machine: what was tried, and what came of it."""
