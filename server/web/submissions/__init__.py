"""Submitting, waiting for the verdict, the verdict and its diagnosis."""
