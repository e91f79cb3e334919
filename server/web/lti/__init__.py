"""Launches from an LMS, its rosters, and the registration of platforms (LTI 1.3)."""
